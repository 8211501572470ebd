drop trigger revision_stays on revision;
drop trigger entry_stays on entry;
drop trigger held_audited on held;
drop trigger token_audited on token;
drop trigger batch_audited on batch;
drop trigger equipment_audited on equipment;
drop trigger product_audited on product;
drop trigger party_audited on party;
drop trigger unit_audited on unit;
drop trigger loop_audited on loop;
drop trigger site_audited on site;
drop trigger coop_audited on coop;
drop table audit;
drop function unchangeable();

drop function enter(uuid, bytea, text);
create function enter(
  coop uuid,
  token_hash bytea,
  out token_id uuid,
  out name text,
  out role text,
  out sites uuid[],
  out currency text,
  out zone text,
  out at timestamptz
)
language plpgsql as $$
begin
  perform set_config('app.coop', coop::text, true), set_config('app.sites', '', true);
  select t.id, t.name, t.role, t.sites, c.currency, c.zone, now()
    into token_id, name, role, sites, currency, zone, at
    from token t join coop c on c.coop_id = t.coop_id
   where t.coop_id = enter.coop
     and t.hash = enter.token_hash
     and t.revoked_at is null
     and (t.expires_at is null or t.expires_at > now());
  if found then
    perform set_config('app.sites', coalesce(array_to_string(sites, ','), '*'), true),
            set_config('app.token', token_id::text, true),
            set_config('app.actor', name, true);
  else
    perform set_config('app.coop', '', true), set_config('app.token', '', true), set_config('app.actor', '', true);
  end if;
end
$$;
revoke all on function enter(uuid, bytea) from public;
grant execute on function enter(uuid, bytea) to shoalbook_service;

drop index entry_recorded;
alter table held drop column device;
alter table entry drop column device;
drop policy revision_of_site on revision;
create policy revision_of_site on revision as restrictive using (site_id is null or sees_site(site_id));

revoke update (last_used_on) on token from shoalbook_service;
drop policy token_seen_by_all on token;
-- Tokens of the roles that come with members cannot be kept from being there.
alter table token
  drop constraint token_role_known,
  add constraint token_role_known check (role in ('coordinator', 'keeper', 'funder')) not valid,
  drop column last_used_on,
  drop column member_id;
drop table member;
drop function audited();
drop function current_device();
