-- What batches are compared by: whose fish they are, and which feeds they got. Derived
-- rows of journals that are older have none of this: "verify --repair" adds it.
alter table batch_sum
  add column suppliers  uuid[] not null default '{}',
  add column feeds      uuid[] not null default '{}',
  add column feeds_g    bigint[] not null default '{}';
alter table batch_day
  add column suppliers  uuid[] not null default '{}',
  add column feeds      uuid[] not null default '{}',
  add column feeds_g    bigint[] not null default '{}';
comment on column batch_day.suppliers is 'from whom the fish came, in that order; the zero id for those of whom nobody wrote it down';
comment on column batch_day.feeds is 'the feeds they got, in the order in which they got them';
comment on column batch_day.feeds_g is 'what of each feed';
