drop table question;
drop table water_limit;
drop table period;
drop index entry_priced;
drop trigger revision_changes_site on revision;
create trigger revision_changes_site after insert on revision
  for each row when (new.site_id is not null or new.noun in ('coop', 'product')) execute function site_changed();
alter table unit_day drop column read_on, drop column read_value, drop column was_on, drop column was_value;
comment on table unit_day is 'The water temperature of a unit on each day with a reading, thousandths of °C.';
alter table batch_day
  drop column weigh_on, drop column weigh_mg, drop column weigh_fish, drop column weigh_cv, drop column weigh_heat, drop column weigh_heat_days,
  drop column treated_on, drop column withdraw_until, drop column withdraw_heat, drop column early_g, drop column overridden_g, drop column kept_g, drop column fed_day_g, drop column fed_before, drop column dead_on, drop column dead_days;
alter table batch_sum
  drop column weigh_on, drop column weigh_mg, drop column weigh_fish, drop column weigh_cv, drop column weigh_heat, drop column weigh_heat_days,
  drop column treated_on, drop column withdraw_until, drop column withdraw_heat, drop column early_g, drop column overridden_g, drop column kept_g, drop column fed_day_g, drop column fed_before, drop column dead_on, drop column dead_days;
alter table transit drop column withdraw_until, drop column withdraw_heat;
alter table product drop column lead_days;
drop trigger loop_audited on loop;
create trigger loop_audited after insert or update or delete on loop
  for each row execute function audited('pump_flow_l_h', 'pump_power_w');
alter table loop drop column drain_flow_l_h;
