drop table seal;

create or replace function audited() returns trigger
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
