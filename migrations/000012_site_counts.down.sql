drop index shared_cost_spread;
create index entry_counted on entry (coop_id, site_id, occurred_on) where kind in ('tally', 'labour', 'crop', 'use');
create index entry_watered on entry (coop_id, site_id, occurred_on) where kind = 'water' and body ? 'litres_added';
drop table site_day;
