alter table batch_day drop column suppliers, drop column feeds, drop column feeds_g;
alter table batch_sum drop column suppliers, drop column feeds, drop column feeds_g;
