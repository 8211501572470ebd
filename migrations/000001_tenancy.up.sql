-- Tenancy: who may see what. Everything a request does runs as shoalbook_service,
-- which owns nothing, inside a transaction that has entered one co-operative.

-- Roles belong to the cluster: another database may have made it, be making it right
-- now, or an administrator may have, for an owner who may not make roles.
do $$
begin
  if not exists (select from pg_roles where rolname = 'shoalbook_service') then
    create role shoalbook_service nologin;
  end if;
exception when duplicate_object or unique_violation then
  null;
end
$$;

-- Whoever migrates may also serve, unless somebody stricter is given the role instead.
do $$
begin
  if not pg_has_role(current_user, 'shoalbook_service', 'member') then
    execute format('grant shoalbook_service to %I', current_user);
  end if;
exception when duplicate_object or unique_violation then
  null;
end
$$;

grant usage on schema public to shoalbook_service;

-- The service reads which migrations have run and refuses a schema it does not know.
do $$
begin
  if to_regclass('schema_migrations') is not null then
    grant select on schema_migrations to shoalbook_service;
  end if;
end
$$;

-- The settings of a transaction. A setting that was local to an earlier
-- transaction of the same connection reads as '' and not as null, hence nullif.
create function current_coop() returns uuid
  language sql stable parallel safe
  return nullif(current_setting('app.coop', true), '')::uuid;

create function current_token() returns uuid
  language sql stable parallel safe
  return nullif(current_setting('app.token', true), '')::uuid;

create function current_actor() returns text
  language sql stable parallel safe
  return nullif(current_setting('app.actor', true), '');

-- app.sites is '*' or a list. The planner may evaluate the cast for its
-- estimates even where the first half decides, so '*' must not reach it.
create function sees_all_sites() returns boolean
  language sql stable parallel safe
  return coalesce(current_setting('app.sites', true) = '*', false);

create function sees_site(site uuid) returns boolean
  language sql stable parallel safe
  return current_setting('app.sites', true) = '*'
    or site = any (string_to_array(nullif(nullif(current_setting('app.sites', true), ''), '*'), ',')::uuid[]);

create table coop (
  coop_id     uuid not null,
  id          uuid not null,
  name        text not null,
  currency    text not null,
  zone        text not null,
  country     text not null,
  share_by    text not null default 'gram_days',
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint coop_pk primary key (coop_id),
  constraint coop_is_its_own check (id = coop_id),
  constraint coop_name_length check (char_length(name) between 1 and 200),
  constraint coop_currency_form check (currency ~ '^[A-Z]{3}$'),
  constraint coop_country_form check (country ~ '^[A-Z]{2}$'),
  constraint coop_share_by_known check (share_by in ('gram_days', 'unit_days'))
);
comment on table coop is 'A co-operative: the tenant.';
comment on column coop.currency is 'ISO 4217; never changes, since every amount is in its minor unit';
comment on column coop.zone is 'IANA time zone of the sites that name none of their own';
comment on column coop.country is 'ISO 3166-1 alpha-2';
comment on column coop.share_by is 'what the shared cost of a site is shared by';

create table token (
  coop_id     uuid not null,
  id          uuid not null,
  name        text not null,
  role        text not null,
  sites       uuid[],
  hash        bytea not null,
  created_at  timestamptz not null default now(),
  expires_at  timestamptz,
  revoked_at  timestamptz,
  constraint token_pk primary key (coop_id, id),
  constraint token_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint token_hash_once unique (coop_id, hash),
  constraint token_name_length check (char_length(name) between 1 and 200),
  constraint token_role_known check (role in ('coordinator', 'keeper', 'funder')),
  constraint token_hash_length check (octet_length(hash) = 32)
);
comment on table token is 'What a client shows to act for a co-operative.';
comment on column token.sites is 'the sites it is for; null is all of them, also those to come';
comment on column token.hash is 'SHA-256 of the token, which itself is not kept';

create table idempotency (
  coop_id      uuid not null,
  token_id     uuid not null default current_token(),
  key          text not null,
  path         text not null,
  fingerprint  bytea not null,
  status       integer,
  header       jsonb,
  body         bytea,
  created_at   timestamptz not null default now(),
  constraint idempotency_pk primary key (coop_id, token_id, key),
  constraint idempotency_token_fk foreign key (coop_id, token_id) references token (coop_id, id)
);
create index idempotency_age on idempotency (coop_id, created_at);
comment on table idempotency is 'Answers already given, by the key the client chose for its request.';
comment on column idempotency.fingerprint is 'SHA-256 of the request';
comment on column idempotency.status is 'null only inside the transaction that does the work';

-- Enters a co-operative for the rest of the transaction, with the sites of the
-- token that was shown, and says whose it is. Without a live token it returns
-- nulls and leaves the transaction in no co-operative, where every table is empty.
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

-- Forced, so that the tables' owner is bound as well.
alter table coop enable row level security;
alter table coop force row level security;
create policy coop_of_coop on coop using (coop_id = current_coop());
create policy coop_changed_by_all on coop as restrictive for update using (true) with check (sees_all_sites());

alter table token enable row level security;
alter table token force row level security;
create policy token_of_coop on token using (coop_id = current_coop());
create policy token_made_by_all on token as restrictive for insert with check (sees_all_sites());
create policy token_changed_by_all on token as restrictive for update using (true) with check (sees_all_sites());

alter table idempotency enable row level security;
alter table idempotency force row level security;
create policy idempotency_of_coop on idempotency using (coop_id = current_coop());
create policy idempotency_of_token on idempotency as restrictive using (token_id = current_token());

grant select, insert on coop to shoalbook_service;
grant update (name, zone, country, share_by, version) on coop to shoalbook_service;
grant select, insert on token to shoalbook_service;
grant update (revoked_at) on token to shoalbook_service;
grant select, insert, delete on idempotency to shoalbook_service;
grant update (status, header, body) on idempotency to shoalbook_service;
