-- Who may do what, and who did what: members, what is kept of tokens, and a trail
-- of every change that is not an entry.

create function current_device() returns text
  language sql stable parallel safe
  return nullif(current_setting('app.device', true), '');

create table member (
  coop_id     uuid not null,
  id          uuid not null,
  name        text not null,
  role        text not null,
  sites       uuid[],
  phone       text,
  archived    boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint member_pk primary key (coop_id, id),
  constraint member_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint member_name_length check (char_length(name) between 1 and 200),
  constraint member_role_known check (role in ('coordinator', 'adviser', 'keeper', 'treasurer', 'funder', 'auditor')),
  constraint member_keeper_has_sites check (role <> 'keeper' or cardinality(sites) > 0)
);
comment on table member is 'A person of the co-operative.';
comment on column member.sites is 'the sites of the person; null is all of them, also those to come';

alter table member enable row level security;
alter table member force row level security;
create policy member_of_coop on member using (coop_id = current_coop());
create policy member_of_all on member as restrictive using (sees_all_sites());
grant select, insert on member to shoalbook_service;
grant update (name, role, sites, phone, archived, version) on member to shoalbook_service;

alter table token
  add column member_id uuid,
  add column last_used_on date,
  add constraint token_member_fk foreign key (coop_id, member_id) references member (coop_id, id),
  drop constraint token_role_known,
  add constraint token_role_known check (role in ('coordinator', 'adviser', 'keeper', 'treasurer', 'funder', 'auditor'));
create index token_member on token (coop_id, member_id) where member_id is not null;
comment on column token.member_id is 'whose it is; null: of no person in particular';
comment on column token.last_used_on is 'in UTC';
grant update (last_used_on) on token to shoalbook_service;
create policy token_seen_by_all on token as restrictive for select using (sees_all_sites() or id = current_token());

-- What the registry has said of the members is for those who see them.
drop policy revision_of_site on revision;
create policy revision_of_site on revision as restrictive using (
  case when site_id is null then noun <> 'member' or sees_all_sites() else sees_site(site_id) end);

alter table entry add column device text default current_device();
alter table held add column device text default current_device();
comment on column entry.device is 'what the sender calls the device it was sent from';
create index entry_recorded on entry (coop_id, recorded_at, id);

-- As before, with the device the request came from. While the token is looked up no
-- site is out of sight, and nothing else is looked up.
drop function enter(uuid, bytea);
create function enter(
  coop uuid,
  token_hash bytea,
  device text default null,
  out token_id uuid,
  out name text,
  out role text,
  out sites uuid[],
  out currency text,
  out zone text,
  out at timestamptz,
  out last_used_on date
)
language plpgsql as $$
begin
  perform set_config('app.coop', coop::text, true), set_config('app.sites', '*', true);
  select t.id, t.name, t.role, t.sites, c.currency, c.zone, now(), t.last_used_on
    into token_id, name, role, sites, currency, zone, at, last_used_on
    from token t join coop c on c.coop_id = t.coop_id
   where t.coop_id = enter.coop
     and t.hash = enter.token_hash
     and t.revoked_at is null
     and (t.expires_at is null or t.expires_at > now());
  if found then
    perform set_config('app.sites', coalesce(array_to_string(sites, ','), '*'), true),
            set_config('app.token', token_id::text, true),
            set_config('app.actor', name, true),
            set_config('app.device', coalesce(device, ''), true);
  else
    perform set_config('app.coop', '', true), set_config('app.sites', '', true), set_config('app.token', '', true),
            set_config('app.actor', '', true), set_config('app.device', '', true);
  end if;
end
$$;
revoke all on function enter(uuid, bytea, text) from public;
grant execute on function enter(uuid, bytea, text) to shoalbook_service;

create table audit (
  coop_id      uuid not null,
  id           uuid not null default gen_random_uuid(),
  site_id      uuid,
  recorded_at  timestamptz not null default clock_timestamp(),
  recorded_by  text not null default current_actor(),
  token_id     uuid default current_token(),
  device       text default current_device(),
  noun         text not null,
  subject      uuid not null,
  action       text not null,
  valid_from   date,
  before       jsonb,
  after        jsonb,
  constraint audit_pk primary key (coop_id, id),
  constraint audit_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint audit_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint audit_token_fk foreign key (coop_id, token_id) references token (coop_id, id),
  constraint audit_action_known check (action in ('created', 'changed', 'removed'))
);
create index audit_recorded on audit (coop_id, recorded_at, id);
comment on table audit is 'Every change of something that is not an entry. Written by the trigger function audited alone.';
comment on column audit.site_id is 'null: it belongs to the whole co-operative';
comment on column audit.token_id is 'null: a command of the operator';
comment on column audit.noun is 'the table it is in';
comment on column audit.subject is 'the id of what was changed';
comment on column audit.valid_from is 'the day from which the dated facts hold; null: since ever, or it has none';
comment on column audit.before is 'the row of the noun''s own table, by column, with the dated facts that held on valid_from';

alter table audit enable row level security;
alter table audit force row level security;
create policy audit_of_coop on audit using (coop_id = current_coop());
create policy audit_of_site on audit as restrictive using (sees_site(site_id));
grant select on audit to shoalbook_service;

-- Writes the line of a change, as the owner, since nobody else may. The arguments are
-- the columns that are dated, whose past is in the table revision.
create function audited() returns trigger
  language plpgsql security definer set search_path = public, pg_temp as $$
declare
  aside constant text[] := array['coop_id', 'hash', 'digest', 'last_used_on'];
  was jsonb := to_jsonb(old) - aside;
  is_now jsonb := to_jsonb(new) - aside;
  thing jsonb := coalesce(is_now, was);
  site uuid := thing ->> case tg_table_name when 'site' then 'id' else 'site_id' end;
  since date;
  held jsonb;
begin
  if tg_op = 'UPDATE' and tg_nargs > 0 then
    if was -> 'version' = is_now -> 'version' then
      -- After a change for the past the row is set to what holds now, which is no change.
      select facts into held from revision r
       where r.coop_id = new.coop_id and r.noun = tg_table_name and r.id = new.id
       order by valid_from desc nulls last, version desc limit 1;
      if was - tg_argv = is_now - tg_argv
         and held @> (select jsonb_object_agg(name, is_now -> name) from unnest(tg_argv) name) then
        return null;
      end if;
    else
      select valid_from into since from revision r
       where r.coop_id = new.coop_id and r.noun = tg_table_name and r.id = new.id and r.version = new.version;
      select facts into held from revision r
       where r.coop_id = new.coop_id and r.noun = tg_table_name and r.id = new.id and r.version < new.version
         and (valid_from is null or valid_from <= since)
       order by valid_from desc nulls last, version desc limit 1;
      was := was || coalesce((select jsonb_object_agg(name, held -> name) from unnest(tg_argv) name where held ? name), '{}');
    end if;
  end if;
  if was = is_now then
    return null;
  end if;
  insert into audit (coop_id, site_id, noun, subject, action, valid_from, before, after)
  values (case tg_op when 'DELETE' then old.coop_id else new.coop_id end, site, tg_table_name, (thing ->> 'id')::uuid,
    case tg_op when 'INSERT' then 'created' when 'UPDATE' then 'changed' else 'removed' end, since, was, is_now);
  return null;
end
$$;
revoke all on function audited() from public;

create trigger coop_audited after insert or update or delete on coop
  for each row execute function audited('share_by');
create trigger site_audited after insert or update or delete on site
  for each row execute function audited();
create trigger loop_audited after insert or update or delete on loop
  for each row execute function audited('pump_flow_l_h', 'pump_power_w');
create trigger unit_audited after insert or update or delete on unit
  for each row execute function audited('water_volume_l', 'bed_area_m2', 'density_limit_kg_m3', 'loop_id');
create trigger party_audited after insert or update or delete on party
  for each row execute function audited();
create trigger product_audited after insert or update or delete on product
  for each row execute function audited('protein_percent', 'moisture_percent');
create trigger equipment_audited after insert or update or delete on equipment
  for each row execute function audited('cost', 'salvage', 'life_months', 'in_use_from', 'retired_on');
create trigger batch_audited after insert or update or delete on batch
  for each row execute function audited();
create trigger member_audited after insert or update or delete on member
  for each row execute function audited();
create trigger token_audited after insert or update or delete on token
  for each row execute function audited();
create trigger held_audited after insert or update or delete on held
  for each row execute function audited();

-- What was said stays said. Rights keep the service from it; this keeps everybody.
create function unchangeable() returns trigger language plpgsql as $$
begin
  raise exception 'what is in % is never changed', tg_table_name using errcode = 'insufficient_privilege';
end
$$;
create trigger audit_stays before update or delete or truncate on audit
  for each statement execute function unchangeable();
create trigger entry_stays before update or delete or truncate on entry
  for each statement execute function unchangeable();
create trigger revision_stays before update or delete or truncate on revision
  for each statement execute function unchangeable();
