alter table charge drop column due;
alter table claim drop column why;
