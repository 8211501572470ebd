drop trigger unit_audited on unit;
create trigger unit_audited after insert or update or delete on unit
  for each row execute function audited('water_volume_l', 'bed_area_m2', 'density_limit_kg_m3', 'loop_id');
alter table unit drop column pond_area_m2;
