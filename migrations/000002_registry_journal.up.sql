-- The registry (what a co-operative has) and the journal (what happened).
-- Weights are whole grams or milligrams, amounts minor units of the currency,
-- all other decimal numbers thousandths, as each column says.

create table species (
  code             text not null,
  scientific_name  text not null,
  english_name     text not null,
  french_name      text,
  source           text not null,
  constraint species_pk primary key (code)
);
comment on table species is 'Reference data, the same for everybody: ASFIS 3-alpha codes. Names as printed in the source.';
comment on column species.code is 'the 3-alpha code; the taxonomic codes of ASFIS were renumbered in 2025 and are not kept';
insert into species (code, scientific_name, english_name, french_name, source) values
  ('CLZ', 'Clarias gariepinus', 'North African catfish', 'Poisson-chat nord-africain', 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('TLN', 'Oreochromis niloticus', 'Nile tilapia', 'Tilapia du Nil', 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('FCP', 'Cyprinus carpio', 'Common carp', 'Carpe commune', 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('HTN', 'Heterotis niloticus', 'African bonytongue', null, 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('HEL', 'Heterobranchus longifilis', 'Sampa', null, 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('HEB', 'Heterobranchus bidorsalis', 'African catfish', 'Poisson-chat africain', 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('XHC', 'H. longifilis x C. gariepinus', 'Hetero-Clarias catfish, hybrid', null, 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('TLM', 'Oreochromis mossambicus', 'Mozambique tilapia', 'Tilapia du Mozambique', 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('OEA', 'Oreochromis aureus', 'Blue tilapia', null, 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('STA', 'Oreochromis andersonii', 'Three spotted tilapia', null, 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020'),
  ('ORM', 'Oreochromis macrochir', 'Longfin tilapia', null, 'ASFIS list of species for fishery statistics purposes, FAO, release of 2020');
grant select on species to shoalbook_service;

create table site (
  coop_id     uuid not null,
  id          uuid not null,
  name        text not null,
  kind        text not null,
  longitude   double precision,
  latitude    double precision,
  altitude_m  bigint,
  zone        text,
  tags        text[] not null default '{}',
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint site_pk primary key (coop_id, id),
  constraint site_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint site_name_length check (char_length(name) between 1 and 200),
  constraint site_kind_known check (kind in ('school', 'smallholder', 'hatchery', 'other')),
  constraint site_location_whole check ((longitude is null) = (latitude is null)),
  constraint site_longitude_range check (longitude between -180 and 180),
  constraint site_latitude_range check (latitude between -90 and 90)
);
comment on table site is 'A school or farm.';
comment on column site.longitude is 'WGS 84, degrees';
comment on column site.altitude_m is 'thousandths of a metre above the sea';
comment on column site.zone is 'IANA time zone; null is the co-operative''s';

create table loop (
  coop_id     uuid not null,
  id          uuid not null,
  site_id        uuid not null,
  name           text not null,
  pump_flow_l_h  bigint,
  pump_power_w   bigint,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint loop_pk primary key (coop_id, id),
  constraint loop_of_site unique (coop_id, site_id, id),
  constraint loop_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint loop_name_length check (char_length(name) between 1 and 200),
  constraint loop_pump_flow_range check (pump_flow_l_h >= 0),
  constraint loop_pump_power_range check (pump_power_w >= 0)
);
comment on table loop is 'Units that share water, with their pump.';
comment on column loop.pump_flow_l_h is 'thousandths of a litre an hour';
comment on column loop.pump_power_w is 'thousandths of a watt';

create table unit (
  coop_id     uuid not null,
  id          uuid not null,
  site_id              uuid not null,
  name                 text not null,
  kind                 text not null,
  water_volume_l       bigint,
  bed_area_m2          bigint,
  density_limit_kg_m3  bigint,
  loop_id              uuid,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint unit_pk primary key (coop_id, id),
  constraint unit_of_site unique (coop_id, site_id, id),
  constraint unit_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint unit_loop_fk foreign key (coop_id, site_id, loop_id) references loop (coop_id, site_id, id),
  constraint unit_name_length check (char_length(name) between 1 and 200),
  constraint unit_kind_known check (kind in ('tank', 'pond', 'cage', 'bed')),
  constraint unit_water_volume_range check (water_volume_l > 0),
  constraint unit_bed_area_range check (bed_area_m2 > 0),
  constraint unit_density_limit_range check (density_limit_kg_m3 > 0)
);
comment on table unit is 'A tank, pond, cage or grow bed.';
comment on column unit.water_volume_l is 'thousandths of a litre';
comment on column unit.bed_area_m2 is 'thousandths of a square metre';
comment on column unit.density_limit_kg_m3 is 'thousandths of a kilogram of fish in a cubic metre';

create table party (
  coop_id     uuid not null,
  id          uuid not null,
  name        text not null,
  roles       text[] not null default '{}',
  phone       text,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint party_pk primary key (coop_id, id),
  constraint party_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint party_name_length check (char_length(name) between 1 and 200),
  constraint party_roles_known check (roles <@ array['hatchery', 'feed_seller', 'buyer', 'funder', 'other'])
);
comment on table party is 'A hatchery, feed seller, buyer or funder.';

create table product (
  coop_id     uuid not null,
  id          uuid not null,
  name              text not null,
  category          text not null,
  unit              text not null,
  stored            boolean not null,
  protein_percent   bigint,
  moisture_percent  bigint,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint product_pk primary key (coop_id, id),
  constraint product_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint product_name_length check (char_length(name) between 1 and 200),
  constraint product_category_known check (category in ('feed', 'energy', 'water', 'medicine', 'packaging', 'seed', 'other')),
  constraint product_unit_known check (unit in ('kg', 'l', 'piece', 'kwh')),
  constraint product_protein_range check (protein_percent between 0 and 100000),
  constraint product_moisture_range check (moisture_percent between 0 and 100000)
);
comment on table product is 'Feed and other inputs.';
comment on column product.stored is 'whether sites keep a store of it';
comment on column product.protein_percent is 'crude protein as fed, thousandths of a percent';
comment on column product.moisture_percent is 'thousandths of a percent';

create table equipment (
  coop_id     uuid not null,
  id          uuid not null,
  site_id      uuid not null,
  name         text not null,
  cost         bigint not null,
  salvage      bigint not null default 0,
  life_months  integer not null,
  in_use_from  date not null,
  retired_on   date,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint equipment_pk primary key (coop_id, id),
  constraint equipment_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint equipment_name_length check (char_length(name) between 1 and 200),
  constraint equipment_salvage_range check (salvage between 0 and cost),
  constraint equipment_life_range check (life_months between 1 and 1200),
  constraint equipment_retired_after check (retired_on >= in_use_from)
);
comment on table equipment is 'What is written off over its life.';
comment on column equipment.cost is 'minor units';
comment on column equipment.salvage is 'minor units it is worth at the end of its life';
create index equipment_site on equipment (coop_id, site_id, id);

create table batch (
  coop_id     uuid not null,
  id          uuid not null,
  site_id        uuid not null,
  unit_id        uuid not null,
  species        text not null,
  name           text not null,
  tags           text[] not null default '{}',
  season         text,
  target_weight  bigint,
  target_on      date,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint batch_pk primary key (coop_id, id),
  constraint batch_of_site unique (coop_id, site_id, id),
  constraint batch_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint batch_unit_fk foreign key (coop_id, site_id, unit_id) references unit (coop_id, site_id, id),
  constraint batch_species_fk foreign key (species) references species (code),
  constraint batch_name_length check (char_length(name) between 1 and 200),
  constraint batch_plan_whole check ((target_weight is null) = (target_on is null)),
  constraint batch_target_weight_range check (target_weight > 0)
);
comment on table batch is 'Fish stocked together.';
comment on column batch.unit_id is 'the unit it is stocked into; moves are in the journal';
comment on column batch.target_weight is 'of its plan: milligrams a fish';

create table revision (
  coop_id      uuid not null,
  noun         text not null,
  id           uuid not null,
  version      bigint not null,
  site_id      uuid,
  valid_from   date,
  recorded_at  timestamptz not null default clock_timestamp(),
  recorded_by  text not null default current_actor(),
  token_id     uuid default current_token(),
  facts        jsonb not null,
  constraint revision_pk primary key (coop_id, noun, id, version),
  constraint revision_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint revision_site_fk foreign key (coop_id, site_id) references site (coop_id, id)
);
create index revision_site on revision (coop_id, site_id, noun, id);
comment on table revision is 'Every state of everything in the registry, appended with each change. What held on a day is the revision of the latest valid_from not after it, and among those the highest version.';
comment on column revision.valid_from is 'null: since ever';
comment on column revision.facts is 'the row of the noun''s own table, by column';

create table entry (
  coop_id      uuid not null,
  site_id      uuid not null,
  id           uuid not null,
  kind         text not null,
  occurred_on  date not null,
  occurred_at  smallint,
  rank         smallint not null,
  batch_id     uuid,
  to_batch_id  uuid,
  product_id   uuid,
  unit_id      uuid,
  party_id     uuid,
  owed         bigint not null default 0,
  reverses_id  uuid,
  value        bigint,
  note         text not null default '',
  body         jsonb not null,
  digest       bytea not null,
  recorded_at  timestamptz not null default clock_timestamp(),
  recorded_by  text not null default current_actor(),
  token_id     uuid not null default current_token(),
  constraint entry_pk primary key (coop_id, id),
  constraint entry_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint entry_batch_fk foreign key (coop_id, site_id, batch_id) references batch (coop_id, site_id, id),
  constraint entry_to_batch_fk foreign key (coop_id, site_id, to_batch_id) references batch (coop_id, site_id, id),
  constraint entry_product_fk foreign key (coop_id, product_id) references product (coop_id, id),
  constraint entry_unit_fk foreign key (coop_id, site_id, unit_id) references unit (coop_id, site_id, id),
  constraint entry_party_fk foreign key (coop_id, party_id) references party (coop_id, id),
  constraint entry_reverses_fk foreign key (coop_id, reverses_id) references entry (coop_id, id),
  constraint entry_token_fk foreign key (coop_id, token_id) references token (coop_id, id),
  constraint entry_occurred_at_range check (occurred_at between 0 and 1439)
);
create index entry_site_day on entry (coop_id, site_id, occurred_on, id);
create index entry_batch_day on entry (coop_id, batch_id, occurred_on, id) where batch_id is not null;
create index entry_to_batch on entry (coop_id, to_batch_id, occurred_on, id) where to_batch_id is not null;
create index entry_party_day on entry (coop_id, party_id, occurred_on, id) where party_id is not null;
create unique index entry_reversed_once on entry (coop_id, reverses_id) where reverses_id is not null;
comment on table entry is 'The journal. Rows are only ever added.';
comment on column entry.occurred_at is 'minute of the day';
comment on column entry.rank is 'place among the entries of one day';
comment on column entry.owed is 'minor units this adds to what the party owes the co-operative; negative: the co-operative owes';
comment on column entry.reverses_id is 'the entry taken back by this one; whether an entry is reversed is found here';
comment on column entry.value is 'minor units: what goods or fish sent or received were worth when recorded';
comment on column entry.body is 'the members of the kind, as on the wire';
comment on column entry.digest is 'SHA-256 of the canonical content, to tell a repetition from a conflict';

create table held (
  coop_id      uuid not null,
  site_id      uuid not null,
  id           uuid not null,
  kind         text not null,
  occurred_on  date not null,
  entry        jsonb not null,
  digest       bytea not null,
  code         text not null,
  detail       text not null,
  recorded_at  timestamptz not null default clock_timestamp(),
  recorded_by  text not null default current_actor(),
  token_id     uuid not null default current_token(),
  constraint held_pk primary key (coop_id, id),
  constraint held_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint held_token_fk foreign key (coop_id, token_id) references token (coop_id, id)
);
create index held_site_day on held (coop_id, site_id, occurred_on, id);
comment on table held is 'Entries kept outside the journal at the wish of the sender, since they do not fit yet. In no figure.';
comment on column held.entry is 'the whole entry, as on the wire';
comment on column held.code is 'why it does not fit: the code of the problem';

create table transit (
  coop_id       uuid not null,
  sent_id       uuid not null,
  from_site_id  uuid not null,
  to_site_id    uuid not null,
  sent_on       date not null,
  batch_id      uuid,
  product_id    uuid,
  fish          bigint not null default 0,
  weight        bigint,
  quantity      bigint not null default 0,
  value         bigint not null,
  donated       bigint not null default 0,
  received_id   uuid,
  received_on   date,
  constraint transit_pk primary key (coop_id, sent_id),
  constraint transit_sent_fk foreign key (coop_id, sent_id) references entry (coop_id, id),
  constraint transit_received_fk foreign key (coop_id, received_id) references entry (coop_id, id),
  constraint transit_from_site_fk foreign key (coop_id, from_site_id) references site (coop_id, id),
  constraint transit_to_site_fk foreign key (coop_id, to_site_id) references site (coop_id, id),
  constraint transit_batch_fk foreign key (coop_id, from_site_id, batch_id) references batch (coop_id, site_id, id),
  constraint transit_product_fk foreign key (coop_id, product_id) references product (coop_id, id),
  constraint transit_received_once unique (coop_id, received_id),
  constraint transit_between_sites check (from_site_id <> to_site_id),
  constraint transit_fish_or_goods check ((batch_id is null) <> (product_id is null))
);
create index transit_to_site on transit (coop_id, to_site_id) where received_id is null;
create index transit_from_site on transit (coop_id, from_site_id);
comment on table transit is 'Goods and fish on the way between sites, with the value they had when they left.';
comment on column transit.weight is 'milligrams, of the fish';
comment on column transit.quantity is 'thousandths of the product''s unit';
comment on column transit.value is 'minor units';
comment on column transit.donated is 'minor units of donated inputs in it, kept apart';

alter table site enable row level security;
alter table site force row level security;
create policy site_of_coop on site using (coop_id = current_coop());
create policy site_of_site on site as restrictive using (sees_site(id));

alter table loop enable row level security;
alter table loop force row level security;
create policy loop_of_coop on loop using (coop_id = current_coop());
create policy loop_of_site on loop as restrictive using (sees_site(site_id));

alter table unit enable row level security;
alter table unit force row level security;
create policy unit_of_coop on unit using (coop_id = current_coop());
create policy unit_of_site on unit as restrictive using (sees_site(site_id));

alter table equipment enable row level security;
alter table equipment force row level security;
create policy equipment_of_coop on equipment using (coop_id = current_coop());
create policy equipment_of_site on equipment as restrictive using (sees_site(site_id));

alter table batch enable row level security;
alter table batch force row level security;
create policy batch_of_coop on batch using (coop_id = current_coop());
create policy batch_of_site on batch as restrictive using (sees_site(site_id));

alter table entry enable row level security;
alter table entry force row level security;
create policy entry_of_coop on entry using (coop_id = current_coop());
create policy entry_of_site on entry as restrictive using (sees_site(site_id));

alter table held enable row level security;
alter table held force row level security;
create policy held_of_coop on held using (coop_id = current_coop());
create policy held_of_site on held as restrictive using (sees_site(site_id));

alter table party enable row level security;
alter table party force row level security;
create policy party_of_coop on party using (coop_id = current_coop());
create policy party_made_by_all on party as restrictive for insert with check (sees_all_sites());
create policy party_changed_by_all on party as restrictive for update using (true) with check (sees_all_sites());

alter table product enable row level security;
alter table product force row level security;
create policy product_of_coop on product using (coop_id = current_coop());
create policy product_made_by_all on product as restrictive for insert with check (sees_all_sites());
create policy product_changed_by_all on product as restrictive for update using (true) with check (sees_all_sites());

alter table revision enable row level security;
alter table revision force row level security;
create policy revision_of_coop on revision using (coop_id = current_coop());
create policy revision_of_site on revision as restrictive using (site_id is null or sees_site(site_id));

alter table transit enable row level security;
alter table transit force row level security;
create policy transit_of_coop on transit using (coop_id = current_coop());
create policy transit_of_site on transit as restrictive using (sees_site(from_site_id) or sees_site(to_site_id));

-- What may change is listed; where a thing is and what it is of may not.
grant select, insert on site, loop, unit, party, product, equipment, batch to shoalbook_service;
grant update (name, kind, longitude, latitude, altitude_m, zone, tags, archived, version) on site to shoalbook_service;
grant update (name, pump_flow_l_h, pump_power_w, archived, version) on loop to shoalbook_service;
grant update (name, kind, water_volume_l, bed_area_m2, density_limit_kg_m3, loop_id, archived, version) on unit to shoalbook_service;
grant update (name, roles, phone, archived, version) on party to shoalbook_service;
grant update (name, category, stored, protein_percent, moisture_percent, archived, version) on product to shoalbook_service;
grant update (name, cost, salvage, life_months, in_use_from, retired_on, archived, version) on equipment to shoalbook_service;
grant update (name, tags, season, target_weight, target_on, archived, version) on batch to shoalbook_service;
grant select, insert on revision, entry to shoalbook_service;
grant select, insert, delete on held to shoalbook_service;
grant select, insert on transit to shoalbook_service;
grant update (received_id, received_on) on transit to shoalbook_service;
