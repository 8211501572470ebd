-- Reports to funders: grants, what is charged to them, indicators, and reports that are
-- as they were issued for ever. All of it is for those who see all sites.

create table indicator (
  coop_id         uuid not null,
  id              uuid not null,
  code            text not null,
  title           text not null,
  definition      text not null,
  unit            text not null,
  formula         text not null,
  measure         text not null,
  direction       text not null,
  disaggregation  text[] not null,
  source          text not null,
  limits          text not null,
  result          text not null,
  archived        boolean not null default false,
  version         bigint not null default 1,
  created_at      timestamptz not null default now(),
  constraint indicator_pk primary key (coop_id, id),
  constraint indicator_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint indicator_code_once unique (coop_id, code),
  constraint indicator_code_form check (code ~ '^[a-z][a-z0-9_]{1,39}$'),
  constraint indicator_measure_known check (measure in ('unit', 'percentage')),
  constraint indicator_direction_known check (direction in ('rising', 'falling', 'neither')),
  constraint indicator_result_known check (result in ('output', 'outcome', 'impact'))
);
comment on table indicator is 'What the co-operative measures besides the catalogue. Each version is a row of the table revision.';
comment on column indicator.formula is 'over additive sums; parsed and checked before it is kept';

create table funding (
  coop_id       uuid not null,
  id            uuid not null,
  funder_id     uuid not null,
  title         text not null,
  starts_on     date not null,
  ends_on       date not null,
  currency      text not null,
  lines         jsonb not null,
  sites         jsonb not null,
  rates         jsonb not null,
  measures      jsonb not null,
  others        jsonb not null,
  members       uuid[] not null,
  portion_g     bigint not null,
  portion_form  text not null,
  flag_percent  bigint not null,
  activity      text,
  reporter      text,
  archived      boolean not null default false,
  version       bigint not null default 1,
  created_at    timestamptz not null default now(),
  constraint funding_pk primary key (coop_id, id),
  constraint funding_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint funding_funder_fk foreign key (coop_id, funder_id) references party (coop_id, id),
  constraint funding_period check (ends_on >= starts_on),
  constraint funding_has_sites check (jsonb_array_length(sites) > 0),
  constraint funding_portion_form_known check (portion_form in ('fillet', 'dressed')),
  constraint funding_portion_range check (portion_g > 0)
);
comment on table funding is 'A grant: money and help from a funder for some sites and some time.';
comment on column funding.lines is 'of the budget, in minor units of its currency';
comment on column funding.rates is 'what one unit of the currency of the co-operative is worth, from a day on, with the source';
comment on column funding.members is 'who reads its issued reports';
comment on column funding.portion_g is 'thousandths of a gram';
comment on column funding.flag_percent is 'thousandths of a percent from which on a line is flagged';
comment on column funding.activity is 'its identifier in IATI data';

create table grant_cost (
  coop_id       uuid not null,
  id            uuid not null,
  grant_id      uuid not null,
  line          text not null,
  entry_id      uuid,
  equipment_id  uuid,
  percent       bigint not null,
  archived      boolean not null default false,
  version       bigint not null default 1,
  created_at    timestamptz not null default now(),
  constraint grant_cost_pk primary key (coop_id, id),
  constraint grant_cost_grant_fk foreign key (coop_id, grant_id) references funding (coop_id, id),
  constraint grant_cost_entry_fk foreign key (coop_id, entry_id) references entry (coop_id, id),
  constraint grant_cost_equipment_fk foreign key (coop_id, equipment_id) references equipment (coop_id, id),
  constraint grant_cost_of_one check (num_nonnulls(entry_id, equipment_id) = 1),
  constraint grant_cost_percent_range check (percent > 0 and percent <= 100000)
);
create index grant_cost_grant on grant_cost (coop_id, grant_id, id);
create index grant_cost_entry on grant_cost (coop_id, entry_id) where entry_id is not null;
comment on table grant_cost is 'What is charged to a line of a grant.';
comment on column grant_cost.percent is 'thousandths of a percent of the amount';

create table report (
  coop_id      uuid not null,
  id           uuid not null,
  grant_id     uuid not null,
  starts_on    date not null,
  ends_on      date not null,
  restates_id  uuid,
  reason       text,
  title        text not null,
  language     text not null,
  texts        jsonb not null,
  state        text not null,
  known_at     timestamptz,
  issued_by    text,
  sha256       bytea,
  archived     boolean not null default false,
  version      bigint not null default 1,
  created_at   timestamptz not null default now(),
  constraint report_pk primary key (coop_id, id),
  constraint report_grant_fk foreign key (coop_id, grant_id) references funding (coop_id, id),
  constraint report_restates_fk foreign key (coop_id, restates_id) references report (coop_id, id),
  constraint report_period check (ends_on >= starts_on),
  constraint report_state_known check (state in ('draft', 'issued', 'restated')),
  constraint report_issued_whole check ((state = 'draft') = (num_nonnulls(known_at, issued_by, sha256) = 0) and num_nonnulls(known_at, issued_by, sha256) in (0, 3)),
  constraint report_restates_why check ((restates_id is null) = (reason is null))
);
create unique index report_restated_once on report (coop_id, restates_id) where restates_id is not null and not archived;
create index report_grant on report (coop_id, grant_id, id);
comment on table report is 'A report to a funder: a draft until it is issued.';
comment on column report.restates_id is 'the report it takes the place of';
comment on column report.texts is 'the coordinator''s own words';
comment on column report.known_at is 'the moment by which it was known';
comment on column report.sha256 is 'of the canonical document';

create table report_copy (
  coop_id     uuid not null,
  report_id   uuid not null,
  format      text not null,
  media_type  text not null,
  content     bytea not null,
  sha256      bytea not null,
  constraint report_copy_pk primary key (coop_id, report_id, format),
  constraint report_copy_report_fk foreign key (coop_id, report_id) references report (coop_id, id),
  constraint report_copy_format_known check (format in ('json', 'html', 'pdf', 'xlsx', 'csv', 'xml'))
);
comment on table report_copy is 'An issued report in every form it is read in, so that it reads the same for ever.';
alter table report_copy alter column content set storage external; -- most of it is compressed already

create table report_link (
  coop_id     uuid not null,
  id          uuid not null,
  report_id   uuid not null,
  name        text not null,
  hash        bytea not null,
  expires_at  timestamptz not null,
  revoked_at  timestamptz,
  created_at  timestamptz not null default now(),
  constraint report_link_pk primary key (coop_id, id),
  constraint report_link_report_fk foreign key (coop_id, report_id) references report (coop_id, id),
  constraint report_link_hash_once unique (coop_id, hash),
  constraint report_link_hash_length check (octet_length(hash) = 32),
  constraint report_link_name_length check (char_length(name) between 1 and 200)
);
create index report_link_report on report_link (coop_id, report_id, id);
comment on table report_link is 'Lets whoever has it read one report.';
comment on column report_link.hash is 'SHA-256 of the secret in the link, which itself is not kept';

-- What is counted entry by entry and is in no derived row.
create index entry_counted on entry (coop_id, site_id, occurred_on) where kind in ('tally', 'labour', 'crop', 'use');
create index entry_watered on entry (coop_id, site_id, occurred_on) where kind = 'water' and body ? 'litres_added';

alter table indicator enable row level security;
alter table indicator force row level security;
create policy indicator_of_coop on indicator using (coop_id = current_coop());
create policy indicator_of_all on indicator as restrictive using (sees_all_sites());
grant select, insert on indicator to shoalbook_service;
grant update (title, definition, unit, formula, measure, direction, disaggregation, source, limits, result, archived, version) on indicator to shoalbook_service;

alter table funding enable row level security;
alter table funding force row level security;
create policy funding_of_coop on funding using (coop_id = current_coop());
create policy funding_of_all on funding as restrictive using (sees_all_sites());
grant select, insert on funding to shoalbook_service;
grant update (title, starts_on, ends_on, lines, sites, rates, measures, others, members, portion_g, portion_form, flag_percent, activity, reporter, archived, version) on funding to shoalbook_service;

alter table grant_cost enable row level security;
alter table grant_cost force row level security;
create policy grant_cost_of_coop on grant_cost using (coop_id = current_coop());
create policy grant_cost_of_all on grant_cost as restrictive using (sees_all_sites());
grant select, insert on grant_cost to shoalbook_service;
grant update (line, percent, archived, version) on grant_cost to shoalbook_service;

alter table report enable row level security;
alter table report force row level security;
create policy report_of_coop on report using (coop_id = current_coop());
create policy report_of_all on report as restrictive using (sees_all_sites());
grant select, insert on report to shoalbook_service;
grant update (title, language, texts, state, known_at, issued_by, sha256, archived, version) on report to shoalbook_service;

alter table report_copy enable row level security;
alter table report_copy force row level security;
create policy report_copy_of_coop on report_copy using (coop_id = current_coop());
create policy report_copy_of_all on report_copy as restrictive using (sees_all_sites());
grant select, insert on report_copy to shoalbook_service;

alter table report_link enable row level security;
alter table report_link force row level security;
create policy report_link_of_coop on report_link using (coop_id = current_coop());
create policy report_link_of_all on report_link as restrictive using (sees_all_sites());
grant select, insert on report_link to shoalbook_service;
grant update (revoked_at) on report_link to shoalbook_service;

create trigger indicator_audited after insert or update or delete on indicator
  for each row execute function audited();
create trigger funding_audited after insert or update or delete on funding
  for each row execute function audited();
create trigger grant_cost_audited after insert or update or delete on grant_cost
  for each row execute function audited();
create trigger report_audited after insert or update or delete on report
  for each row execute function audited();
create trigger report_link_audited after insert or update or delete on report_link
  for each row execute function audited();
create trigger report_copy_stays before update or delete or truncate on report_copy
  for each statement execute function unchangeable();

-- What the registry has said of grants and reports is for those who see all sites.
drop policy revision_of_site on revision;
create policy revision_of_site on revision as restrictive using (
  case when site_id is null then noun not in ('member', 'quote', 'indicator', 'funding', 'grant_cost', 'report') or sees_all_sites() else sees_site(site_id) end);
