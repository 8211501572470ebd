alter table transit drop column reversed;
revoke update (code, detail, entry, digest, kind, occurred_on) on held from shoalbook_service;
drop table shared_cost;
drop table unit_day;
drop table store_day;
drop table batch_day;
drop table batch_sum;
drop table site_head;
