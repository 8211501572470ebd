-- Seals: what was recorded is fixed by hashes that are chained and kept outside as well.

create table seal (
  coop_id    uuid not null,
  number     bigint not null,
  after      timestamptz,
  through    timestamptz not null,
  entries    bigint not null,
  changes    bigint not null,
  root       bytea not null,
  previous   bytea not null,
  hash       bytea not null,
  sealed_at  timestamptz not null default clock_timestamp(),
  leaves     bytea not null,
  constraint seal_pk primary key (coop_id, number),
  constraint seal_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint seal_number_range check (number >= 1),
  constraint seal_first check ((number = 1) = (after is null)),
  constraint seal_counts_range check (entries >= 0 and changes >= 0),
  constraint seal_hash_length check (octet_length(root) = 32 and octet_length(previous) = 32 and octet_length(hash) = 32),
  constraint seal_leaves_length check (octet_length(leaves) = 49 * (entries + changes))
);
alter table seal alter column leaves set storage external; -- hashes do not get smaller
comment on table seal is 'What was recorded after one moment and through another: entries of the journal and lines of the audit trail, in the order of recorded_at, lines before entries of the same moment, and id. What is hashed of each, and how, is in the program (domain/seal.go).';
comment on column seal.after is 'the last moment of the seal before; null: there is none';
comment on column seal.root is 'of the Merkle tree (RFC 6962) over the records';
comment on column seal.previous is 'the hash of the seal before; zeros for the first';
comment on column seal.hash is 'SHA-256 of all columns before it';
comment on column seal.leaves is 'of each record, in order: one byte (0 line, 1 entry), its id (16 bytes), its leaf hash (32 bytes)';

alter table seal enable row level security;
alter table seal force row level security;
create policy seal_of_coop on seal using (coop_id = current_coop());
create policy seal_made_by_all on seal as restrictive for insert with check (sees_all_sites());
grant select, insert on seal to shoalbook_service;
create trigger seal_stays before update or delete or truncate on seal
  for each statement execute function unchangeable();

-- As before, but whoever writes a line shares the lock that a seal is made alone under,
-- as those who record entries do: so no line is on its way when a seal says what there is.
create or replace function audited() returns trigger
  language plpgsql security definer set search_path = public, pg_temp as $$
declare
  aside constant text[] := array['coop_id', 'hash', 'digest', 'last_used_on'];
  coop uuid := case tg_op when 'DELETE' then old.coop_id else new.coop_id end;
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
  perform pg_advisory_xact_lock_shared(hashtextextended(coop::text, 0));
  insert into audit (coop_id, site_id, noun, subject, action, valid_from, before, after)
  values (coop, site, tg_table_name, (thing ->> 'id')::uuid,
    case tg_op when 'INSERT' then 'created' when 'UPDATE' then 'changed' else 'removed' end, since, was, is_now);
  return null;
end
$$;
