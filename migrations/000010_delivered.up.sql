-- What a claim is made for, in words, as it was judged when the drop was received.
alter table claim add column why text not null default '';
comment on column claim.why is 'what came, what was ordered and what is allowed, in words';

-- What each line of a settled round came to.
alter table charge add column due bigint not null default 0;
comment on column charge.due is 'fish or whole units of the product that are paid for';
