-- Deaths of a batch against its own level, through the day before risk_on. Derived
-- rows of journals that are older have none of this: "verify --repair" adds it.
alter table batch_sum
  add column apart_until  date,
  add column apart_dead   bigint not null default 0,
  add column apart_fish   bigint not null default 0,
  add column watched_on   date,
  add column watch        double precision[] not null default '{0,0,0,0}',
  add column alarm_on     date,
  add column signal_on    date,
  add column alarm_dead   bigint not null default 0;
alter table batch_day
  add column apart_until  date,
  add column apart_dead   bigint not null default 0,
  add column apart_fish   bigint not null default 0,
  add column watched_on   date,
  add column watch        double precision[] not null default '{0,0,0,0}',
  add column alarm_on     date,
  add column signal_on    date,
  add column alarm_dead   bigint not null default 0;
comment on column batch_day.apart_until is 'deaths up to this day are of transport and handling';
comment on column batch_day.apart_fish is 'fish there were when they came or were moved';
comment on column batch_day.watched_on is 'the last day whose deaths are in watch';
comment on column batch_day.watch is 'cumulative sum since the last signal; deaths, fish-days and squared errors of the days that the level is learned from';
comment on column batch_day.alarm_on is 'the first day of the last mortality alarm';
comment on column batch_day.signal_on is 'the last day on which the sum reached its limit';

-- What advice looks up in the journal: the last visit of a site, from whom a product
-- was last bought, and what is owed.
create index entry_visit on entry (coop_id, site_id, occurred_on, id) where kind = 'visit';
create index entry_seller on entry (coop_id, product_id, occurred_on, id) where kind = 'receipt' and party_id is not null;
create index entry_owed on entry (coop_id, party_id, occurred_on, id) include (site_id, kind, owed) where owed <> 0;
-- The batches that were closed last are what forecasts learn from.
create index batch_sum_closed on batch_sum (coop_id, closed_on desc, batch_id) where closed_on is not null;
