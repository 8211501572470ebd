drop table round_payment, charge, credit, claim, delivery, allotment, order_deposit, order_line, order_version, purchase_order, round_plan, quote, request, round;
drop policy revision_of_site on revision;
create policy revision_of_site on revision as restrictive using (
  case when site_id is null then noun <> 'member' or sees_all_sites() else sees_site(site_id) end);
