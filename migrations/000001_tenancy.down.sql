-- The role stays: it belongs to the cluster, and other databases may use it.
drop function enter(uuid, bytea);
drop table idempotency;
drop table token;
drop table coop;
drop function sees_site(uuid);
drop function sees_all_sites();
drop function current_actor();
drop function current_token();
drop function current_coop();

do $$
begin
  if to_regclass('schema_migrations') is not null then
    revoke select on schema_migrations from shoalbook_service;
  end if;
end
$$;
revoke usage on schema public from shoalbook_service;
