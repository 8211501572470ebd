-- What the co-operative takes to be eaten of its fish.

create table factor (
  coop_id     uuid not null,
  id          uuid not null,
  species     text not null,
  form        text not null,
  yield       bigint not null,
  protein     bigint not null,
  source      text not null,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint factor_pk primary key (coop_id, id),
  constraint factor_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint factor_species_fk foreign key (species) references species (code),
  constraint factor_form_known check (form in ('fillet', 'dressed')),
  constraint factor_yield_range check (yield > 0 and yield <= 100000),
  constraint factor_protein_range check (protein >= 0 and protein <= 50000),
  constraint factor_source_length check (char_length(source) between 1 and 300)
);
create unique index factor_once on factor (coop_id, species, form) where not archived;
comment on table factor is 'What can be eaten of a fish in a form, and its protein, where the co-operative does not go by what is published.';
comment on column factor.yield is 'thousandths of a percent of the live weight';
comment on column factor.protein is 'milligrams in 100 g of what can be eaten';

alter table factor enable row level security;
alter table factor force row level security;
create policy factor_of_coop on factor using (coop_id = current_coop());
create policy factor_made_by_all on factor as restrictive for insert with check (sees_all_sites());
create policy factor_changed_by_all on factor as restrictive for update using (true) with check (sees_all_sites());
grant select, insert on factor to shoalbook_service;
grant update (yield, protein, source, archived, version) on factor to shoalbook_service;

create trigger factor_audited after insert or update or delete on factor
  for each row execute function audited('yield', 'protein', 'source');
