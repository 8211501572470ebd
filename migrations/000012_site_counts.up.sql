-- What was counted at a site and what was spent for it on single days, since ever, at the
-- end of each day on which that changed: so that a report adds up two rows of a site and
-- not a year of entries.

create table site_day (
  coop_id    uuid not null,
  site_id    uuid not null,
  day        date not null,
  counted    bigint[] not null,
  told       bigint[] not null,
  day_costs  bigint[] not null,
  present_on date,
  present    bigint[] not null,
  constraint site_day_pk primary key (coop_id, site_id, day),
  constraint site_day_site_fk foreign key (coop_id, site_id) references site (coop_id, id)
);
comment on table site_day is 'What follows from the journal of a site of the site itself, at the end of each day on which that changed.';
comment on column site_day.counted is 'since ever: hours of work, grams picked, watt-hours, millilitres added, people trained, of them women and men, meals, days of school, days with meals';
comment on column site_day.told is 'in how many entries each was counted';
comment on column site_day.day_costs is 'minor units since ever by category, of what covers the day it is dated only';
comment on column site_day.present_on is 'the last day on which those who are there were counted';
comment on column site_day.present is 'on that day: learners, of them women and men, jobs, of them women and men; -1: nobody said';

alter table site_day enable row level security;
alter table site_day force row level security;
create policy site_day_of_coop on site_day using (coop_id = current_coop());
create policy site_day_of_site on site_day as restrictive using (sees_site(site_id));
grant select, insert, update, delete on site_day to shoalbook_service;

-- A report still reads one by one how many were there, of which the most count, and what was
-- spent for longer than a day.
drop index entry_watered;
drop index entry_counted;
create index site_day_present on site_day (coop_id, site_id, day) include (present) where present_on = day;
create index shared_cost_spread on shared_cost (coop_id, site_id, occurred_on) where covers_from <> occurred_on or covers_to <> occurred_on;

-- The rows of journals that are there. Those who migrate need not be above row security.
alter table entry no force row level security;
alter table product no force row level security;
alter table shared_cost no force row level security;
alter table site_day no force row level security;

insert into site_day (coop_id, site_id, day, counted, told, day_costs, present_on, present)
with standing as (
  select e.coop_id, e.site_id, e.occurred_on as day, e.kind, e.product_id, e.body from entry e
  where e.kind in ('labour', 'crop', 'use', 'water', 'tally')
  and not exists (select from entry r where r.coop_id = e.coop_id and r.reverses_id = e.id)
), parts (coop_id, site_id, day, place, n) as (
  select coop_id, site_id, day, 1, (body ->> 'hours')::numeric * 1000 from standing where kind = 'labour'
  union all
  select coop_id, site_id, day, 2, (body ->> 'weight_kg')::numeric * 1000 from standing where kind = 'crop'
  union all
  select s.coop_id, s.site_id, s.day, 3, (s.body ->> 'quantity')::numeric * 1000 from standing s
  join product p on p.coop_id = s.coop_id and p.id = s.product_id and p.unit = 'kwh' where s.kind = 'use'
  union all
  select coop_id, site_id, day, 4, (body ->> 'litres_added')::numeric * 1000 from standing where kind = 'water' and body ? 'litres_added'
  union all
  select s.coop_id, s.site_id, s.day, t.place, (s.body ->> t.member)::numeric from standing s
  join (values ('trained', 'count', 5), ('trained', 'female', 6), ('trained', 'male', 7), ('meals', 'count', 8), ('school_days', 'count', 9), ('feeding_days', 'count', 10))
    t (measure, member, place) on s.body ->> 'measure' = t.measure and s.body ? t.member
  where s.kind = 'tally'
  union all
  select coop_id, site_id, occurred_on, 11 + category, amount from shared_cost where covers_from = occurred_on and covers_to = occurred_on
), counts as (
  select coop_id, site_id, day, body ->> 'measure' as measure, (body ->> 'count')::bigint as n, coalesce((body ->> 'female')::bigint, -1) as women,
    coalesce((body ->> 'male')::bigint, -1) as men
  from standing where kind = 'tally' and body ->> 'measure' in ('learners', 'jobs')
), largest as (
  select distinct on (coop_id, site_id, day, measure) coop_id, site_id, day, measure, array[n, women, men] as present
  from counts order by coop_id, site_id, day, measure, n desc, women desc, men desc
), there as (
  select coop_id, site_id, day, coalesce(l.present, '{-1,-1,-1}') || coalesce(j.present, '{-1,-1,-1}') as present
  from (select * from largest where measure = 'learners') l
  full join (select * from largest where measure = 'jobs') j using (coop_id, site_id, day)
), days as (
  select coop_id, site_id, day from parts union select coop_id, site_id, day from there
), changes as (
  select d.coop_id, d.site_id, d.day, place, coalesce(sum(p.n), 0) as n, count(p.n) as told
  from days d cross join generate_series(1, 28) place left join parts p using (coop_id, site_id, day, place)
  group by d.coop_id, d.site_id, d.day, place
), running as (
  select coop_id, site_id, day, place, (sum(n) over so_far)::bigint as n, (sum(told) over so_far)::bigint as told
  from changes window so_far as (partition by coop_id, site_id, place order by day)
), summed as (
  select coop_id, site_id, day, array_agg(n order by place) filter (where place <= 10) as counted,
    array_agg(told order by place) filter (where place <= 10) as told, array_agg(n order by place) filter (where place > 10) as day_costs
  from running group by coop_id, site_id, day
), dated as (
  select s.*, max(t.day) over (partition by s.coop_id, s.site_id order by s.day) as present_on
  from summed s left join there t using (coop_id, site_id, day)
)
select d.coop_id, d.site_id, d.day, d.counted, d.told, d.day_costs, d.present_on, coalesce(t.present, '{-1,-1,-1,-1,-1,-1}')
from dated d left join there t on t.coop_id = d.coop_id and t.site_id = d.site_id and t.day = d.present_on;

alter table entry force row level security;
alter table product force row level security;
alter table shared_cost force row level security;
alter table site_day force row level security;
