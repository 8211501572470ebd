drop index batch_sum_closed;
drop index entry_owed;
drop index entry_seller;
drop index entry_visit;
alter table batch_day
  drop column apart_until, drop column apart_dead, drop column apart_fish, drop column watched_on, drop column watch,
  drop column alarm_on, drop column signal_on, drop column alarm_dead;
alter table batch_sum
  drop column apart_until, drop column apart_dead, drop column apart_fish, drop column watched_on, drop column watch,
  drop column alarm_on, drop column signal_on, drop column alarm_dead;
