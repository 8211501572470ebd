drop table factor;
