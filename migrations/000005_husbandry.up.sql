-- Husbandry: what is read of the water, what fish were treated with and when they
-- may be eaten again, the weighings of a batch, calendars, limits and questions.

alter table loop
  add column drain_flow_l_h bigint,
  add constraint loop_drain_flow_range check (drain_flow_l_h >= 0);
comment on column loop.drain_flow_l_h is 'thousandths of a litre an hour that its drains or siphons can empty';
grant update (drain_flow_l_h) on loop to shoalbook_service;
drop trigger loop_audited on loop;
create trigger loop_audited after insert or update or delete on loop
  for each row execute function audited('pump_flow_l_h', 'pump_power_w', 'drain_flow_l_h');

alter table product
  add column lead_days integer,
  add constraint product_lead_days_range check (lead_days between 0 and 365);
comment on column product.lead_days is 'days from ordering it to having it; null: not known';
grant update (lead_days) on product to shoalbook_service;

-- What is on its way may be under treatment.
alter table transit
  add column withdraw_until date,
  add column withdraw_heat bigint not null default 0;
comment on column transit.withdraw_until is 'of fish: the last day of their withdrawal by date, as known when they left';
comment on column transit.withdraw_heat is 'of fish: thousandths of °C·day that were left of their withdrawal by degree-days';

-- Derived rows of journals that are older have none of this: "verify --repair" adds it.
alter table batch_sum
  add column weigh_on         date[] not null default '{}',
  add column weigh_mg         bigint[] not null default '{}',
  add column weigh_fish       bigint[] not null default '{}',
  add column weigh_cv         bigint[] not null default '{}',
  add column weigh_heat       bigint[] not null default '{}',
  add column weigh_heat_days  bigint[] not null default '{}',
  add column treated_on       date,
  add column withdraw_until   date,
  add column withdraw_heat    bigint not null default 0,
  add column early_g          bigint not null default 0,
  add column overridden_g     bigint not null default 0,
  add column kept_g           bigint not null default 0,
  add column fed_day_g        bigint not null default 0,
  add column fed_before       date,
  add column dead_on          date,
  add column dead_days        bigint[] not null default '{}';
alter table batch_day
  add column weigh_on         date[] not null default '{}',
  add column weigh_mg         bigint[] not null default '{}',
  add column weigh_fish       bigint[] not null default '{}',
  add column weigh_cv         bigint[] not null default '{}',
  add column weigh_heat       bigint[] not null default '{}',
  add column weigh_heat_days  bigint[] not null default '{}',
  add column treated_on       date,
  add column withdraw_until   date,
  add column withdraw_heat    bigint not null default 0,
  add column early_g          bigint not null default 0,
  add column overridden_g     bigint not null default 0,
  add column kept_g           bigint not null default 0,
  add column fed_day_g        bigint not null default 0,
  add column fed_before       date,
  add column dead_on          date,
  add column dead_days        bigint[] not null default '{}';
comment on column batch_day.weigh_on is 'the day of each weighing, that at stocking or arrival first; the other columns weigh_… are of the same weighings';
comment on column batch_day.weigh_mg is 'milligrams of the fish weighed';
comment on column batch_day.weigh_cv is 'coefficient of variation of single weights, thousandths of a percent; 0: not known';
comment on column batch_day.weigh_heat is 'heat on the day of the weighing';
comment on column batch_day.withdraw_until is 'the last day on which no fish may be harvested for food, by date';
comment on column batch_day.withdraw_heat is 'the heat that must be reached before fish may be harvested for food; 0: none';
comment on column batch_day.early_g is 'harvested for food within a withdrawal that became known only later';
comment on column batch_day.overridden_g is 'harvested for food within a withdrawal, as a coordinator allowed';
comment on column batch_day.fed_day_g is 'fed on fed_on';
comment on column batch_day.fed_before is 'the last day before fed_on';
comment on column batch_day.dead_days is 'the dead of each of the last days that had any, the last of them dead_on';
comment on column batch_day.kept_g is 'harvested not for food: kept or thrown away';

alter table unit_day
  add column read_on     date[] not null default array_fill(date '1970-01-01', array[9]),
  add column read_value  bigint[] not null default array_fill(0::bigint, array[9]),
  add column was_on      date[] not null default array_fill(date '1970-01-01', array[9]),
  add column was_value   bigint[] not null default array_fill(0::bigint, array[9]);
comment on table unit_day is 'The water of a unit at the end of each day with a reading.';
comment on column unit_day.read_on is 'the day of the last reading by parameter (temperature, oxygen, pH, TAN, NH3, NO2, NO3, alkalinity, salinity); 1970-01-01: never';
comment on column unit_day.read_value is 'thousandths of °C, mg/L, pH or ‰; TAN and NH3 as nitrogen';
comment on column unit_day.was_on is 'the day of the reading before, on an earlier day';

-- What readings are judged by is remembered with the state of a site.
drop trigger revision_changes_site on revision;
create trigger revision_changes_site after insert on revision
  for each row when (new.site_id is not null or new.noun in ('coop', 'product', 'water_limit')) execute function site_changed();

-- New prices are held against those of the last months.
create index entry_priced on entry (coop_id, kind, occurred_on, id) where kind in ('stocking', 'receipt', 'sale');

create table period (
  coop_id     uuid not null,
  id          uuid not null,
  site_id     uuid not null,
  kind        text not null,
  name        text not null,
  starts_on   date not null,
  ends_on     date not null,
  feeder      text,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint period_pk primary key (coop_id, id),
  constraint period_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint period_name_length check (char_length(name) between 1 and 200),
  constraint period_kind_known check (kind in ('term', 'holiday')),
  constraint period_ends_after check (ends_on >= starts_on),
  constraint period_feeder_length check (char_length(feeder) between 1 and 200)
);
create index period_site on period (coop_id, site_id, id);
comment on table period is 'The calendar of a site: terms and holidays.';
comment on column period.feeder is 'who feeds the fish meanwhile; null: nobody is named';

create table water_limit (
  coop_id     uuid not null,
  id          uuid not null,
  species     text not null,
  parameter   text not null,
  low_alarm   bigint,
  low_warn    bigint,
  high_warn   bigint,
  high_alarm  bigint,
  source      text not null,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint water_limit_pk primary key (coop_id, id),
  constraint water_limit_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint water_limit_species_fk foreign key (species) references species (code),
  constraint water_limit_parameter_known check (parameter in ('temperature', 'oxygen', 'ph', 'tan', 'nh3', 'no2', 'no3', 'alkalinity', 'salinity')),
  constraint water_limit_some check (num_nonnulls(low_alarm, low_warn, high_warn, high_alarm) > 0),
  constraint water_limit_source_length check (char_length(source) between 1 and 300)
);
create unique index water_limit_once on water_limit (coop_id, species, parameter) where not archived;
comment on table water_limit is 'What the co-operative holds good water to be for a species, where it does not go by the defaults.';
comment on column water_limit.low_alarm is 'thousandths of °C, mg/L, pH or ‰; TAN and NH3 as nitrogen';

create table question (
  coop_id      uuid not null,
  id           uuid not null default gen_random_uuid(),
  site_id      uuid not null,
  entry_id     uuid not null,
  code         text not null,
  text         text not null,
  figures      jsonb not null,
  raised_at    timestamptz not null default clock_timestamp(),
  answered_at  timestamptz,
  answered_by  text,
  reason       text,
  constraint question_pk primary key (coop_id, id),
  constraint question_once unique (coop_id, entry_id, code),
  constraint question_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint question_entry_fk foreign key (coop_id, entry_id) references entry (coop_id, id),
  constraint question_answer_whole check (num_nulls(answered_at, answered_by, reason) in (0, 3))
);
create index question_open on question (coop_id, site_id) where answered_at is null;
comment on table question is 'What a person should look at after an entry was recorded. It is answered by confirming, or by reversing the entry.';
comment on column question.figures is 'the numbers it was asked by, by name';
comment on column question.reason is 'why the entry is right';

alter table period enable row level security;
alter table period force row level security;
create policy period_of_coop on period using (coop_id = current_coop());
create policy period_of_site on period as restrictive using (sees_site(site_id));
grant select, insert on period to shoalbook_service;
grant update (kind, name, starts_on, ends_on, feeder, archived, version) on period to shoalbook_service;

alter table water_limit enable row level security;
alter table water_limit force row level security;
create policy water_limit_of_coop on water_limit using (coop_id = current_coop());
create policy water_limit_made_by_all on water_limit as restrictive for insert with check (sees_all_sites());
create policy water_limit_changed_by_all on water_limit as restrictive for update using (true) with check (sees_all_sites());
grant select, insert on water_limit to shoalbook_service;
grant update (low_alarm, low_warn, high_warn, high_alarm, source, archived, version) on water_limit to shoalbook_service;

alter table question enable row level security;
alter table question force row level security;
create policy question_of_coop on question using (coop_id = current_coop());
create policy question_of_site on question as restrictive using (sees_site(site_id));
grant select, insert on question to shoalbook_service;
grant update (answered_at, answered_by, reason) on question to shoalbook_service;

create trigger period_audited after insert or update or delete on period
  for each row execute function audited();
create trigger water_limit_audited after insert or update or delete on water_limit
  for each row execute function audited();
create trigger question_audited after insert or update or delete on question
  for each row execute function audited();
