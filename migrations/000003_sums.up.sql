-- What follows from the journal, kept in the transaction of the entry: sums that
-- add up, never ratios. Everything here can be rebuilt from the entries, and
-- "verify" does so. Masses ending in _mg are milligrams, in _g grams; amounts are
-- minor units; quantities thousandths of the product's unit.

create table site_head (
  coop_id           uuid not null,
  site_id           uuid not null,
  version           bigint not null default 0,
  last_on           date,
  last_rank         smallint,
  last_at           smallint,
  last_id           uuid,
  last_recorded_at  timestamptz,
  constraint site_head_pk primary key (coop_id, site_id),
  constraint site_head_site_fk foreign key (coop_id, site_id) references site (coop_id, id)
) with (fillfactor = 50); -- changed with every entry: room for new versions beside the old
comment on table site_head is 'How far the journal of a site is folded. Locked by whoever writes to the site.';
comment on column site_head.version is 'grows with every change of what figures of the site depend on: its journal and the registry';

create function site_changed() returns trigger language plpgsql as $$
begin
  perform from site_head
    where coop_id = new.coop_id and (new.site_id is null or site_id = new.site_id)
    order by site_id for no key update; -- in the order of those who record
  update site_head set version = version + 1
   where coop_id = new.coop_id and (new.site_id is null or site_id = new.site_id);
  return null;
end
$$;
create trigger revision_changes_site after insert on revision
  for each row when (new.site_id is not null or new.noun in ('coop', 'product')) execute function site_changed();

create table batch_sum (
  coop_id              uuid not null,
  site_id              uuid not null,
  batch_id             uuid not null,
  day                  date not null,
  unit                 uuid not null,
  left_units           uuid[] not null,
  left_on              date[] not null,
  first_on             date,
  closed_on            date,
  counted_on           date,
  harvest_on           date,
  stocked              bigint not null,
  moved_in             bigint not null,
  moved_out            bigint not null,
  dead                 bigint not null,
  harvested            bigint not null,
  unaccounted          bigint not null,
  harvest_guessed      bigint not null,
  stocked_mg           bigint not null,
  moved_in_mg          bigint not null,
  moved_out_mg         bigint not null,
  dead_mg              bigint not null,
  harvested_g          bigint not null,
  unweighed            bigint not null,
  moved_in_unweighed   bigint not null,
  moved_unweighed      bigint not null,
  dead_guessed         bigint not null,
  dead_unweighed       bigint not null,
  mean_mg              bigint not null,
  mean_fish            bigint not null,
  weighed_on           date,
  start_mg             bigint not null,
  start_fish           bigint not null,
  measured_on          date,
  measured_mg          bigint not null,
  measured_fish        bigint not null,
  measured_fed_g       bigint not null,
  measured_protein     bigint not null,
  measured_gain_mg     bigint not null,
  measured_dead_mg     bigint not null,
  measured_heat        bigint not null,
  measured_heat_days   bigint not null,
  length_cm            bigint not null,
  length_type          text,
  length_mean_mg       bigint not null,
  fed_g                bigint not null,
  fed_protein          bigint not null,
  fed_blind_g          bigint not null,
  fed_days             bigint not null,
  fed_on               date,
  energy_wh            bigint not null,
  risk_on              date,
  at_risk              bigint not null,
  risk_dead            bigint not null,
  risk_guessed         bigint not null,
  risk_guessed_mg      bigint not null,
  survival_before      double precision not null,
  survival_at          double precision[] not null,
  gram_days            bigint[] not null,
  gram_days_guessed    bigint not null,
  path                 bigint[] not null,
  heat_through         date,
  heat                 bigint not null,
  heat_days            bigint not null,
  cost                 bigint[] not null,
  cost_in              bigint not null,
  cost_out             bigint not null,
  unpaid               bigint not null,
  donated              bigint not null,
  cash                 bigint not null,
  imputed              bigint not null,
  given                bigint not null,
  sold_g               bigint not null,
  eaten_g              bigint not null,
  given_g              bigint not null,
  discarded_g          bigint not null,
  last_g               bigint not null,
  last_fish            bigint not null,
  harvest_heat         bigint not null,
  harvest_heat_days    bigint not null,
  constraint batch_sum_pk primary key (coop_id, batch_id),
  constraint batch_sum_batch_fk foreign key (coop_id, site_id, batch_id) references batch (coop_id, site_id, id)
) with (fillfactor = 50);
create index batch_sum_site on batch_sum (coop_id, site_id, batch_id);
comment on table batch_sum is 'A batch as of its last entry: the last row of batch_day, where many batches are compared.';

create table batch_day (
  coop_id              uuid not null,
  site_id              uuid not null,
  batch_id             uuid not null,
  day                  date not null,
  unit                 uuid not null,
  left_units           uuid[] not null,
  left_on              date[] not null,
  first_on             date,
  closed_on            date,
  counted_on           date,
  harvest_on           date,
  stocked              bigint not null,
  moved_in             bigint not null,
  moved_out            bigint not null,
  dead                 bigint not null,
  harvested            bigint not null,
  unaccounted          bigint not null,
  harvest_guessed      bigint not null,
  stocked_mg           bigint not null,
  moved_in_mg          bigint not null,
  moved_out_mg         bigint not null,
  dead_mg              bigint not null,
  harvested_g          bigint not null,
  unweighed            bigint not null,
  moved_in_unweighed   bigint not null,
  moved_unweighed      bigint not null,
  dead_guessed         bigint not null,
  dead_unweighed       bigint not null,
  mean_mg              bigint not null,
  mean_fish            bigint not null,
  weighed_on           date,
  start_mg             bigint not null,
  start_fish           bigint not null,
  measured_on          date,
  measured_mg          bigint not null,
  measured_fish        bigint not null,
  measured_fed_g       bigint not null,
  measured_protein     bigint not null,
  measured_gain_mg     bigint not null,
  measured_dead_mg     bigint not null,
  measured_heat        bigint not null,
  measured_heat_days   bigint not null,
  length_cm            bigint not null,
  length_type          text,
  length_mean_mg       bigint not null,
  fed_g                bigint not null,
  fed_protein          bigint not null,
  fed_blind_g          bigint not null,
  fed_days             bigint not null,
  fed_on               date,
  energy_wh            bigint not null,
  risk_on              date,
  at_risk              bigint not null,
  risk_dead            bigint not null,
  risk_guessed         bigint not null,
  risk_guessed_mg      bigint not null,
  survival_before      double precision not null,
  survival_at          double precision[] not null,
  gram_days            bigint[] not null,
  gram_days_guessed    bigint not null,
  path                 bigint[] not null,
  heat_through         date,
  heat                 bigint not null,
  heat_days            bigint not null,
  cost                 bigint[] not null,
  cost_in              bigint not null,
  cost_out             bigint not null,
  unpaid               bigint not null,
  donated              bigint not null,
  cash                 bigint not null,
  imputed              bigint not null,
  given                bigint not null,
  sold_g               bigint not null,
  eaten_g              bigint not null,
  given_g              bigint not null,
  discarded_g          bigint not null,
  last_g               bigint not null,
  last_fish            bigint not null,
  harvest_heat         bigint not null,
  harvest_heat_days    bigint not null,
  constraint batch_day_pk primary key (coop_id, batch_id, day)
);
create index batch_day_site on batch_day (coop_id, site_id, day);
comment on table batch_day is 'A batch at the end of each day with an entry that changed it.';
comment on column batch_day.path is 'fish on hand since the last weighing: day (days since 1970-01-01), fish, day, fish …';
comment on column batch_day.gram_days is 'biomass-days in whole gram-days up to the last weighing, by month from the month of first_on';
comment on column batch_day.cost is 'direct cost by category, in the order of the program''s list';
comment on column batch_day.survival_at is 'product-limit survival at the ages 7, 30, 60, 90, 120, 150, 180, 240, 300 and 365 days passed';
comment on column batch_day.heat is 'thousandths of °C·day since the first fish';

create table store_day (
  coop_id              uuid not null,
  site_id              uuid not null,
  product_id           uuid not null,
  day                  date not null,
  balance              bigint not null,
  value                bigint not null,
  donated_v            bigint not null,
  received             bigint not null,
  arrived              bigint not null,
  fed                  bigint not null,
  used                 bigint not null,
  sent                 bigint not null,
  lost                 bigint not null,
  spent                bigint not null,
  revaluation          bigint not null,
  unit_value           bigint not null,
  unit_quantity        bigint not null,
  counted_on           date,
  below_since          date,
  constraint store_day_pk primary key (coop_id, site_id, product_id, day)
);
create index store_day_site on store_day (coop_id, site_id, day);
comment on table store_day is 'What a site holds of a product at the end of each day with an entry about it.';

create table unit_day (
  coop_id              uuid not null,
  site_id              uuid not null,
  unit_id              uuid not null,
  day                  date not null,
  temperature_on       date,
  temperature_sum      bigint not null,
  readings             bigint not null,
  constraint unit_day_pk primary key (coop_id, unit_id, day)
);
create index unit_day_site on unit_day (coop_id, site_id, day);
comment on table unit_day is 'The water temperature of a unit on each day with a reading, thousandths of °C.';

create table shared_cost (
  coop_id      uuid not null,
  site_id      uuid not null,
  entry_id     uuid not null,
  category     smallint not null,
  occurred_on  date not null,
  covers_from  date not null,
  covers_to    date not null,
  amount       bigint not null,
  constraint shared_cost_pk primary key (coop_id, entry_id, category),
  constraint shared_cost_entry_fk foreign key (coop_id, entry_id) references entry (coop_id, id)
);
create index shared_cost_site on shared_cost (coop_id, site_id, occurred_on);
comment on table shared_cost is 'Cost of a whole site, and values kept apart from cost, over the days they cover.';

alter table site_head enable row level security;
alter table site_head force row level security;
create policy site_head_of_coop on site_head using (coop_id = current_coop());
create policy site_head_of_site on site_head as restrictive using (sees_site(site_id));
grant select, insert, update, delete on site_head to shoalbook_service;

alter table batch_sum enable row level security;
alter table batch_sum force row level security;
create policy batch_sum_of_coop on batch_sum using (coop_id = current_coop());
create policy batch_sum_of_site on batch_sum as restrictive using (sees_site(site_id));
grant select, insert, update, delete on batch_sum to shoalbook_service;

alter table batch_day enable row level security;
alter table batch_day force row level security;
create policy batch_day_of_coop on batch_day using (coop_id = current_coop());
create policy batch_day_of_site on batch_day as restrictive using (sees_site(site_id));
grant select, insert, update, delete on batch_day to shoalbook_service;

alter table store_day enable row level security;
alter table store_day force row level security;
create policy store_day_of_coop on store_day using (coop_id = current_coop());
create policy store_day_of_site on store_day as restrictive using (sees_site(site_id));
grant select, insert, update, delete on store_day to shoalbook_service;

alter table unit_day enable row level security;
alter table unit_day force row level security;
create policy unit_day_of_coop on unit_day using (coop_id = current_coop());
create policy unit_day_of_site on unit_day as restrictive using (sees_site(site_id));
grant select, insert, update, delete on unit_day to shoalbook_service;

alter table shared_cost enable row level security;
alter table shared_cost force row level security;
create policy shared_cost_of_coop on shared_cost using (coop_id = current_coop());
create policy shared_cost_of_site on shared_cost as restrictive using (sees_site(site_id));
grant select, insert, update, delete on shared_cost to shoalbook_service;

-- A consignment whose sending was reversed is not on its way; when it has arrived,
-- its sending cannot be reversed before its arrival is.
alter table transit add column reversed boolean not null default false;
grant update (reversed) on transit to shoalbook_service;
grant update (code, detail, entry, digest, kind, occurred_on) on held to shoalbook_service;
