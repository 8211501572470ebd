alter table funding drop column sectors;
