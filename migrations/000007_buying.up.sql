-- Buying together: rounds with what sites ask for and suppliers offer, plans, orders in
-- versions, deliveries with what is claimed for them, and who pays what.

create table round (
  coop_id      uuid not null,
  id           uuid not null,
  species      text,
  product_id   uuid,
  name         text not null,
  deadline     timestamptz not null,
  window_from  date not null,
  window_to    date not null,
  need         text not null,
  fees_by      text not null,
  note         text,
  state        text not null,
  reason       text,
  version      bigint not null default 1,
  created_at   timestamptz not null default now(),
  constraint round_pk primary key (coop_id, id),
  constraint round_coop_fk foreign key (coop_id) references coop (coop_id),
  constraint round_species_fk foreign key (species) references species (code),
  constraint round_product_fk foreign key (coop_id, product_id) references product (coop_id, id),
  constraint round_buys_one check (num_nonnulls(species, product_id) = 1),
  constraint round_name_length check (char_length(name) between 1 and 200),
  constraint round_window check (window_to >= window_from),
  constraint round_need_known check (need = 'arrival' or need = 'day_30' and species is not null),
  constraint round_fees_by_known check (fees_by in ('count', 'weight')),
  constraint round_state_known check (state in ('open', 'closed', 'planned', 'ordered', 'delivering', 'settled', 'cancelled'))
);
comment on table round is 'A purchase that sites make together, of fish of one species or of one product.';
comment on column round.deadline is 'of requests';
comment on column round.window_from is 'of delivery, both days included';
comment on column round.need is 'when the fish that are needed are counted';
comment on column round.fees_by is 'what fees that no site causes alone are shared by';
comment on column round.reason is 'for the last step';

create table request (
  coop_id     uuid not null,
  id          uuid not null,
  round_id    uuid not null,
  site_id     uuid not null,
  unit_id     uuid,
  quantity    bigint not null,
  least       bigint not null,
  most        bigint not null,
  size_from   bigint,
  size_to     bigint,
  earliest    date not null,
  latest      date not null,
  note        text,
  withdrawn   boolean not null default false,
  version     bigint not null default 1,
  created_at  timestamptz not null default now(),
  constraint request_pk primary key (coop_id, id),
  constraint request_of_site unique (coop_id, site_id, id),
  constraint request_round_fk foreign key (coop_id, round_id) references round (coop_id, id),
  constraint request_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint request_unit_fk foreign key (coop_id, site_id, unit_id) references unit (coop_id, site_id, id),
  constraint request_quantity_range check (0 < least and least <= quantity and quantity <= most),
  constraint request_size_range check (size_from <= size_to),
  constraint request_latest_after check (latest >= earliest)
);
create unique index request_once on request (coop_id, round_id, site_id, unit_id) nulls not distinct where not withdrawn;
comment on table request is 'What one site needs from a round: fish for a unit, or a product for its store.';
comment on column request.quantity is 'fish alive when they are counted, or whole units of the product; least and most likewise';
comment on column request.size_from is 'milligrams of one fish, on average';

create table quote (
  coop_id            uuid not null,
  id                 uuid not null,
  round_id           uuid not null,
  party_id           uuid not null,
  mean_weight        bigint,
  weight_cv_percent  bigint,
  steps              jsonb not null,
  steps_apply        text not null,
  least_order        bigint not null,
  pack               bigint not null,
  most               bigint not null,
  earliest           date not null,
  latest             date not null,
  fee_order          bigint not null,
  fee_drop           bigint not null,
  fee_per_km         bigint not null,
  stops              jsonb not null,
  speed_km_h         bigint not null,
  carried_in         text,
  litres             bigint,
  vessels            bigint,
  fish_per_vessel    bigint,
  temperature_c      bigint,
  deaths_percent     bigint not null,
  short_percent      bigint not null,
  deposit_percent    bigint not null,
  valid_until        date not null,
  expires_on         date,
  note               text,
  withdrawn          boolean not null default false,
  version            bigint not null default 1,
  created_at         timestamptz not null default now(),
  constraint quote_pk primary key (coop_id, id),
  constraint quote_round_fk foreign key (coop_id, round_id) references round (coop_id, id),
  constraint quote_party_fk foreign key (coop_id, party_id) references party (coop_id, id),
  constraint quote_steps_apply_known check (steps_apply in ('all_units', 'incremental')),
  constraint quote_carried_in_known check (carried_in in ('bag', 'tank')),
  constraint quote_amounts_range check (least_order >= 0 and pack > 0 and most >= pack and most >= least_order),
  constraint quote_latest_after check (latest >= earliest)
);
create index quote_of_round on quote (coop_id, round_id, id);
comment on table quote is 'What a supplier offers to a round. For tokens of all sites alone.';
comment on column quote.mean_weight is 'milligrams of one fish';
comment on column quote.steps is 'by rising From: from which quantity on which price of one piece holds, in ten-thousandths of the minor unit';
comment on column quote.fee_order is 'minor units, fee_drop likewise';
comment on column quote.fee_per_km is 'ten-thousandths of the minor unit';
comment on column quote.stops is 'by rising Km: the sites on the way, with thousandths of a km from the supplier';
comment on column quote.litres is 'thousandths, of water in each bag or tank';
comment on column quote.deaths_percent is 'thousandths of a percent, as every other percentage';
comment on column quote.valid_until is 'the last day on which it can be ordered by, in the zone of the co-operative';

create table round_plan (
  coop_id      uuid not null,
  round_id     uuid not null,
  version      bigint not null,
  recorded_at  timestamptz not null default clock_timestamp(),
  recorded_by  text not null default current_actor(),
  token_id     uuid default current_token(),
  plan         jsonb not null,
  constraint round_plan_pk primary key (coop_id, round_id, version),
  constraint round_plan_round_fk foreign key (coop_id, round_id) references round (coop_id, id),
  constraint round_plan_token_fk foreign key (coop_id, token_id) references token (coop_id, id)
);
comment on table round_plan is 'Every plan that was made of a round. Rows are only ever added. For tokens of all sites alone.';
comment on column round_plan.plan is 'who gets how many from whom and when, as it was worked out';

create table purchase_order (
  coop_id            uuid not null,
  id                 uuid not null,
  round_id           uuid not null,
  quote_id           uuid not null,
  party_id           uuid not null,
  plan_version       bigint not null,
  year               smallint not null,
  number             integer not null,
  version            bigint not null default 1,
  ordered_on         date not null,
  arrives_on         date not null,
  mean_weight        bigint,
  weight_cv_percent  bigint,
  deaths_percent     bigint not null,
  short_percent      bigint not null,
  expires_on         date,
  created_at         timestamptz not null default now(),
  constraint purchase_order_pk primary key (coop_id, id),
  constraint purchase_order_once unique (coop_id, round_id, quote_id),
  constraint purchase_order_number_once unique (coop_id, year, number),
  constraint purchase_order_round_fk foreign key (coop_id, round_id) references round (coop_id, id),
  constraint purchase_order_quote_fk foreign key (coop_id, quote_id) references quote (coop_id, id),
  constraint purchase_order_party_fk foreign key (coop_id, party_id) references party (coop_id, id)
);
comment on table purchase_order is 'An order to one supplier: what everybody may know of it. What it costs altogether is in order_version.';
comment on column purchase_order.number is 'running in the co-operative and the year';
comment on column purchase_order.version is 'the one in force';
comment on column purchase_order.mean_weight is 'milligrams of one fish, as offered; what follows is as offered, too';

create table order_version (
  coop_id      uuid not null,
  id           uuid not null default gen_random_uuid(),
  order_id     uuid not null,
  version      bigint not null,
  reason       text,
  ordered      bigint not null,
  arrives_on   date not null,
  price        bigint not null,
  fee_order    bigint not null,
  fee_drop     bigint not null,
  fee_route    bigint not null,
  deposit      bigint not null,
  recorded_at  timestamptz not null default clock_timestamp(),
  recorded_by  text not null default current_actor(),
  constraint order_version_pk primary key (coop_id, id),
  constraint order_version_once unique (coop_id, order_id, version),
  constraint order_version_order_fk foreign key (coop_id, order_id) references purchase_order (coop_id, id),
  constraint order_version_ordered_range check (ordered > 0)
);
comment on table order_version is 'What an order was for, version by version. Rows are only ever added. For tokens of all sites alone.';
comment on column order_version.ordered is 'fish or whole units of the product, for all sites together: at least what the lines say';
comment on column order_version.price is 'minor units, without fees; the fees likewise';
comment on column order_version.fee_drop is 'of all drops together';
comment on column order_version.deposit is 'minor units that are due with the order';

create table order_line (
  coop_id         uuid not null,
  id              uuid not null default gen_random_uuid(),
  order_id        uuid not null,
  version         bigint not null,
  request_id      uuid not null,
  site_id         uuid not null,
  unit_id         uuid,
  quantity        bigint not null,
  expected_alive  bigint not null,
  km              bigint not null,
  goods           bigint not null,
  order_fee       bigint not null,
  drop_fee        bigint not null,
  route_fee       bigint not null,
  capped          bigint not null default 0,
  constraint order_line_pk primary key (coop_id, id),
  constraint order_line_once unique (coop_id, order_id, version, request_id),
  constraint order_line_version_fk foreign key (coop_id, order_id, version) references order_version (coop_id, order_id, version),
  constraint order_line_request_fk foreign key (coop_id, site_id, request_id) references request (coop_id, site_id, id),
  constraint order_line_unit_fk foreign key (coop_id, site_id, unit_id) references unit (coop_id, site_id, id),
  constraint order_line_quantity_range check (quantity > 0)
);
create index order_line_site on order_line (coop_id, site_id, order_id);
comment on table order_line is 'What of a version of an order is for one request. Rows are only ever added.';
comment on column order_line.expected_alive is 'when the need is counted';
comment on column order_line.km is 'thousandths of a km from the supplier';
comment on column order_line.goods is 'minor units: the share of the price that this site is to bear; the fees likewise. They add up to those of the version.';
comment on column order_line.capped is 'minor units more or less, that nobody pays more than alone; they add up to nothing in a round';

create table order_deposit (
  coop_id     uuid not null,
  id          uuid not null,
  order_id    uuid not null,
  amount      bigint not null,
  paid_on     date not null,
  created_at  timestamptz not null default now(),
  constraint order_deposit_pk primary key (coop_id, id),
  constraint order_deposit_order_fk foreign key (coop_id, order_id) references purchase_order (coop_id, id),
  constraint order_deposit_amount_range check (amount > 0)
);
create index order_deposit_of_order on order_deposit (coop_id, order_id, id);
comment on table order_deposit is 'What was paid to a supplier with an order, in minor units. For tokens of all sites alone.';

create table allotment (
  coop_id     uuid not null,
  id          uuid not null default gen_random_uuid(),
  order_id    uuid not null,
  request_id  uuid not null,
  site_id     uuid not null,
  allotted    bigint not null,
  available   bigint not null,
  rule        text not null,
  created_at  timestamptz not null default now(),
  constraint allotment_pk primary key (coop_id, id),
  constraint allotment_once unique (coop_id, order_id, request_id),
  constraint allotment_order_fk foreign key (coop_id, order_id) references purchase_order (coop_id, id),
  constraint allotment_request_fk foreign key (coop_id, site_id, request_id) references request (coop_id, site_id, id),
  constraint allotment_range check (allotted between 0 and available),
  constraint allotment_rule_known check (rule in ('proportional', 'max_min'))
);
comment on table allotment is 'What each request gets of an order of which less comes than was ordered.';
comment on column allotment.available is 'what comes, for all sites together';

create table delivery (
  coop_id        uuid not null,
  id             uuid not null,
  order_id       uuid not null,
  request_id     uuid not null,
  site_id        uuid not null,
  unit_id        uuid,
  batch_id       uuid,
  entry_id       uuid,
  occurred_on    date not null,
  occurred_at    smallint,
  loaded         bigint,
  counted        bigint not null,
  weight         bigint,
  sample_count   bigint,
  sample_weight  bigint,
  cv_percent     bigint,
  dead           bigint not null default 0,
  mean_weight    bigint,
  condition      text,
  received_by    text not null,
  note           text,
  amount         bigint not null,
  digest         bytea not null,
  recorded_at    timestamptz not null default clock_timestamp(),
  recorded_by    text not null default current_actor(),
  device         text default current_device(),
  reversed_at    timestamptz,
  reversed_by    text,
  reason         text,
  constraint delivery_pk primary key (coop_id, id),
  constraint delivery_of_site unique (coop_id, site_id, id),
  constraint delivery_order_fk foreign key (coop_id, order_id) references purchase_order (coop_id, id),
  constraint delivery_request_fk foreign key (coop_id, site_id, request_id) references request (coop_id, site_id, id),
  constraint delivery_unit_fk foreign key (coop_id, site_id, unit_id) references unit (coop_id, site_id, id),
  constraint delivery_batch_fk foreign key (coop_id, site_id, batch_id) references batch (coop_id, site_id, id),
  constraint delivery_entry_fk foreign key (coop_id, entry_id) references entry (coop_id, id),
  constraint delivery_occurred_at_range check (occurred_at between 0 and 1439),
  constraint delivery_dead_range check (dead between 0 and counted),
  constraint delivery_reversal_whole check (num_nulls(reversed_at, reversed_by, reason) in (0, 3))
);
create unique index delivery_once on delivery (coop_id, order_id, request_id) where reversed_at is null;
create index delivery_site on delivery (coop_id, site_id, occurred_on, id);
create index delivery_batch on delivery (coop_id, batch_id) where batch_id is not null;
comment on table delivery is 'One drop: what came to one site of an order, under the id of who recorded it.';
comment on column delivery.entry_id is 'the stocking or receipt that came of it and is in force; null: everything was dead or short';
comment on column delivery.loaded is 'by the paper of the supplier; null: not said';
comment on column delivery.counted is 'fish or whole units of the product, the dead included; of what was weighed, what that comes to';
comment on column delivery.weight is 'milligrams of all of it, where it was weighed and not counted';
comment on column delivery.sample_weight is 'milligrams of sample_count fish';
comment on column delivery.mean_weight is 'milligrams of one fish';
comment on column delivery.amount is 'minor units it was stocked or received at';
comment on column delivery.digest is 'SHA-256 of the canonical content, to tell a repetition from a conflict';
comment on column delivery.reason is 'for its reversal';

create table claim (
  coop_id      uuid not null,
  id           uuid not null default gen_random_uuid(),
  order_id     uuid not null,
  delivery_id  uuid not null,
  site_id      uuid not null,
  kind         text not null,
  quantity     bigint not null,
  amount       bigint not null,
  created_at   timestamptz not null default now(),
  constraint claim_pk primary key (coop_id, id),
  constraint claim_of_site unique (coop_id, site_id, id),
  constraint claim_once unique (coop_id, delivery_id, kind),
  constraint claim_order_fk foreign key (coop_id, order_id) references purchase_order (coop_id, id),
  constraint claim_delivery_fk foreign key (coop_id, site_id, delivery_id) references delivery (coop_id, site_id, id),
  constraint claim_kind_known check (kind in ('over', 'short', 'dead', 'off_size'))
);
create index claim_of_order on claim (coop_id, order_id, id);
comment on table claim is 'What a delivery was not as it was ordered, beyond what the supplier had allowed itself.';
comment on column claim.quantity is 'fish or whole units of the product';
comment on column claim.amount is 'minor units it is worth by the price of the order';

create table credit (
  coop_id      uuid not null,
  id           uuid not null,
  claim_id     uuid not null,
  site_id      uuid not null,
  number       text,
  amount       bigint,
  credited_on  date,
  declined     text,
  created_at   timestamptz not null default now(),
  constraint credit_pk primary key (coop_id, id),
  constraint credit_once unique (coop_id, claim_id),
  constraint credit_claim_fk foreign key (coop_id, site_id, claim_id) references claim (coop_id, site_id, id),
  constraint credit_or_declined check (num_nonnulls(number, amount, credited_on) = case when declined is null then 3 else 0 end),
  constraint credit_amount_range check (amount >= 0)
);
comment on table credit is 'What became of a claim: the credit note of the supplier, or why there is none.';
comment on column credit.amount is 'minor units';
comment on column credit.declined is 'why there is no credit note';

create table charge (
  coop_id     uuid not null,
  id          uuid not null default gen_random_uuid(),
  round_id    uuid not null,
  site_id     uuid not null,
  goods       bigint not null,
  order_fee   bigint not null,
  drop_fee    bigint not null,
  route_fee   bigint not null,
  credit      bigint not null,
  capped      bigint not null default 0,
  alone       bigint,
  created_at  timestamptz not null default now(),
  constraint charge_pk primary key (coop_id, id),
  constraint charge_once unique (coop_id, round_id, site_id),
  constraint charge_round_fk foreign key (coop_id, round_id) references round (coop_id, id),
  constraint charge_site_fk foreign key (coop_id, site_id) references site (coop_id, id)
);
create index charge_site on charge (coop_id, site_id);
comment on table charge is 'What a site is to pay for a settled round, in minor units: goods and fees, less the credit, plus or less what keeps everybody from paying more than alone.';
comment on column charge.alone is 'what buying alone had cost it; null: alone it could not have bought';

create table round_payment (
  coop_id     uuid not null,
  id          uuid not null,
  round_id    uuid not null,
  site_id     uuid not null,
  amount      bigint not null,
  paid_on     date not null,
  note        text,
  created_at  timestamptz not null default now(),
  constraint round_payment_pk primary key (coop_id, id),
  constraint round_payment_round_fk foreign key (coop_id, round_id) references round (coop_id, id),
  constraint round_payment_site_fk foreign key (coop_id, site_id) references site (coop_id, id),
  constraint round_payment_amount check (amount <> 0)
);
create index round_payment_site on round_payment (coop_id, round_id, site_id, id);
comment on table round_payment is 'What a site paid to the co-operative for a round, in minor units; negative: was paid back.';

-- Everybody sees a round and that there is an order; only who sees all sites makes and
-- changes them, but for the first delivery, which a keeper may record.
alter table round enable row level security;
alter table round force row level security;
create policy round_of_coop on round using (coop_id = current_coop());
create policy round_made_by_all on round as restrictive for insert with check (sees_all_sites());
create policy round_changed_by_all on round as restrictive for update using (true) with check (sees_all_sites() or state = 'delivering');
grant select, insert on round to shoalbook_service;
grant update (name, deadline, window_from, window_to, need, fees_by, note, state, reason, version) on round to shoalbook_service;

alter table purchase_order enable row level security;
alter table purchase_order force row level security;
create policy purchase_order_of_coop on purchase_order using (coop_id = current_coop());
create policy purchase_order_made_by_all on purchase_order as restrictive for insert with check (sees_all_sites());
create policy purchase_order_changed_by_all on purchase_order as restrictive for update using (true) with check (sees_all_sites());
grant select, insert on purchase_order to shoalbook_service;
grant update (version, arrives_on) on purchase_order to shoalbook_service;

-- What is for those who see all sites.
alter table quote enable row level security;
alter table quote force row level security;
create policy quote_of_coop on quote using (coop_id = current_coop());
create policy quote_of_all on quote as restrictive using (sees_all_sites());
grant select, insert on quote to shoalbook_service;
grant update (mean_weight, weight_cv_percent, steps, steps_apply, least_order, pack, most, earliest, latest, fee_order, fee_drop, fee_per_km,
  stops, speed_km_h, carried_in, litres, vessels, fish_per_vessel, temperature_c, deaths_percent, short_percent, deposit_percent,
  valid_until, expires_on, note, withdrawn, version) on quote to shoalbook_service;

alter table round_plan enable row level security;
alter table round_plan force row level security;
create policy round_plan_of_coop on round_plan using (coop_id = current_coop());
create policy round_plan_of_all on round_plan as restrictive using (sees_all_sites());
grant select, insert on round_plan to shoalbook_service;

alter table order_version enable row level security;
alter table order_version force row level security;
create policy order_version_of_coop on order_version using (coop_id = current_coop());
create policy order_version_of_all on order_version as restrictive using (sees_all_sites());
grant select, insert on order_version to shoalbook_service;

alter table order_deposit enable row level security;
alter table order_deposit force row level security;
create policy order_deposit_of_coop on order_deposit using (coop_id = current_coop());
create policy order_deposit_of_all on order_deposit as restrictive using (sees_all_sites());
grant select, insert on order_deposit to shoalbook_service;

-- What is of a site.
alter table request enable row level security;
alter table request force row level security;
create policy request_of_coop on request using (coop_id = current_coop());
create policy request_of_site on request as restrictive using (sees_site(site_id));
grant select, insert on request to shoalbook_service;
grant update (quantity, least, most, size_from, size_to, earliest, latest, note, withdrawn, version) on request to shoalbook_service;

alter table order_line enable row level security;
alter table order_line force row level security;
create policy order_line_of_coop on order_line using (coop_id = current_coop());
create policy order_line_of_site on order_line as restrictive using (sees_site(site_id));
grant select, insert on order_line to shoalbook_service;

alter table allotment enable row level security;
alter table allotment force row level security;
create policy allotment_of_coop on allotment using (coop_id = current_coop());
create policy allotment_of_site on allotment as restrictive using (sees_site(site_id));
grant select, insert on allotment to shoalbook_service;
grant update (allotted, available, rule) on allotment to shoalbook_service;

alter table delivery enable row level security;
alter table delivery force row level security;
create policy delivery_of_coop on delivery using (coop_id = current_coop());
create policy delivery_of_site on delivery as restrictive using (sees_site(site_id));
grant select, insert on delivery to shoalbook_service;
grant update (entry_id, amount, reversed_at, reversed_by, reason) on delivery to shoalbook_service;

alter table claim enable row level security;
alter table claim force row level security;
create policy claim_of_coop on claim using (coop_id = current_coop());
create policy claim_of_site on claim as restrictive using (sees_site(site_id));
grant select, insert on claim to shoalbook_service;

alter table credit enable row level security;
alter table credit force row level security;
create policy credit_of_coop on credit using (coop_id = current_coop());
create policy credit_of_site on credit as restrictive using (sees_site(site_id));
grant select, insert on credit to shoalbook_service;

alter table charge enable row level security;
alter table charge force row level security;
create policy charge_of_coop on charge using (coop_id = current_coop());
create policy charge_of_site on charge as restrictive using (sees_site(site_id));
grant select, insert on charge to shoalbook_service;

alter table round_payment enable row level security;
alter table round_payment force row level security;
create policy round_payment_of_coop on round_payment using (coop_id = current_coop());
create policy round_payment_of_site on round_payment as restrictive using (sees_site(site_id));
grant select, insert on round_payment to shoalbook_service;

-- What the registry has said of quotes is for those who see them.
drop policy revision_of_site on revision;
create policy revision_of_site on revision as restrictive using (
  case when site_id is null then noun not in ('member', 'quote') or sees_all_sites() else sees_site(site_id) end);

create trigger round_audited after insert or update or delete on round
  for each row execute function audited();
create trigger request_audited after insert or update or delete on request
  for each row execute function audited();
create trigger quote_audited after insert or update or delete on quote
  for each row execute function audited();
create trigger purchase_order_audited after insert or update or delete on purchase_order
  for each row execute function audited();
create trigger order_version_audited after insert or update or delete on order_version
  for each row execute function audited();
create trigger order_line_audited after insert or update or delete on order_line
  for each row execute function audited();
create trigger order_deposit_audited after insert or update or delete on order_deposit
  for each row execute function audited();
create trigger allotment_audited after insert or update or delete on allotment
  for each row execute function audited();
create trigger delivery_audited after insert or update or delete on delivery
  for each row execute function audited();
create trigger claim_audited after insert or update or delete on claim
  for each row execute function audited();
create trigger credit_audited after insert or update or delete on credit
  for each row execute function audited();
create trigger charge_audited after insert or update or delete on charge
  for each row execute function audited();
create trigger round_payment_audited after insert or update or delete on round_payment
  for each row execute function audited();

create trigger round_plan_stays before update or delete or truncate on round_plan
  for each statement execute function unchangeable();
