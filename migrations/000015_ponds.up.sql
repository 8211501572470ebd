-- How large ponds are.
alter table unit add column pond_area_m2 bigint constraint unit_pond_area_range check (pond_area_m2 > 0);
comment on column unit.pond_area_m2 is 'thousandths of a square metre of water';
grant update (pond_area_m2) on unit to shoalbook_service;
drop trigger unit_audited on unit;
create trigger unit_audited after insert or update or delete on unit
  for each row execute function audited('water_volume_l', 'bed_area_m2', 'pond_area_m2', 'density_limit_kg_m3', 'loop_id');
