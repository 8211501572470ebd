drop policy revision_of_site on revision;
create policy revision_of_site on revision as restrictive using (
  case when site_id is null then noun not in ('member', 'quote') or sees_all_sites() else sees_site(site_id) end);
drop index entry_watered;
drop index entry_counted;
drop table report_link;
drop table report_copy;
drop table report;
drop table grant_cost;
drop table funding;
drop table indicator;
