package postgres

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"shoalbook/domain"
)

// Difference is a derived row that is not what the journal says.
type Difference struct {
	Site  domain.SiteID
	Table string
	Key   string // which row
	Found string // what is kept; empty: the row is missing
	Right string // what the journal says; empty: the row should not be
}

// String returns the difference in one line.
func (d Difference) String() string {
	switch {
	case d.Found == "":
		return fmt.Sprintf("site %s: %s %s is missing", d.Site, d.Table, d.Key)
	case d.Right == "":
		return fmt.Sprintf("site %s: %s %s should not be there", d.Site, d.Table, d.Key)
	}
	return fmt.Sprintf("site %s: %s %s is %s, the journal says %s", d.Site, d.Table, d.Key, d.Found, d.Right)
}

// Verify rebuilds every derived row of the co-operative from the journal, in the
// one picture of the data that the transaction has, and reports each difference.
// With repair, which takes an Update, the rows are written anew.
func (tx *Tx) Verify(ctx context.Context, repair bool) ([]Difference, error) {
	if repair { // nobody writes meanwhile
		tx.alone()
	}
	sites, err := all[struct{ ID domain.SiteID }](ctx, tx, `select id from site where coop_id = $1 and own_site(id) order by id`, tx.coop)
	if err != nil {
		return nil, err
	}
	var found []Difference
	for _, s := range sites {
		d, days, err := tx.verifySite(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		found = append(found, d...)
		if repair && len(d) > 0 {
			tx.clearFrom(s.ID, domain.Date(-1<<20))
			tx.saveDays(s.ID, days)
		}
	}
	return found, tx.flush(ctx)
}

func (tx *Tx) verifySite(ctx context.Context, site domain.SiteID) ([]Difference, []dayRows, error) {
	var days []dayRows
	if _, err := tx.refold(ctx, site, forever, domain.Date(1<<20), func(s *domain.Site) func(domain.Day) { return keep(s, &days) }); err != nil {
		return nil, nil, err
	}
	var batches, sums []batchRow
	var stores []storeRow
	var units []unitRow
	var own []siteRow
	var shared []sharedRow
	later(tx, &batches, `select batch_id, day, `+batchColumns+` from batch_day where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &sums, `select batch_id, day, `+batchColumns+` from batch_sum where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &stores, `select product_id, day, `+storeColumns+` from store_day where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &units, `select unit_id, day, `+unitColumns+` from unit_day where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &own, `select day, `+siteColumns+` from site_day where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &shared, `select entry_id, category, occurred_on, covers_from, covers_to, amount from shared_cost where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	if err := tx.flush(ctx); err != nil {
		return nil, nil, err
	}
	kept, right := rows{}, rows{}
	for _, r := range batches {
		kept.put("batch_day", r.BatchID, r.Day, &r.BatchState)
	}
	for _, r := range sums {
		kept.put("batch_sum", r.BatchID, 0, &r.BatchState)
	}
	for _, r := range stores {
		kept.put("store_day", r.ProductID, r.Day, &r.StoreState)
	}
	for _, r := range units {
		kept.put("unit_day", r.UnitID, r.Day, &r.UnitState)
	}
	for _, r := range own {
		kept.put("site_day", site, r.Day, &r.SiteState)
	}
	for _, r := range shared {
		c := r.cost()
		kept.put("shared_cost", r.EntryID, domain.Date(r.Category), &c)
	}
	for _, d := range days {
		for id, b := range d.batches {
			right.put("batch_day", id, d.on, &b)
			right.put("batch_sum", id, 0, &b)
		}
		for id, s := range d.stores {
			right.put("store_day", id, d.on, &s)
		}
		for id, u := range d.units {
			right.put("unit_day", id, d.on, &u)
		}
		if d.own != nil {
			right.put("site_day", site, d.on, d.own)
		}
		for _, c := range d.shared {
			right.put("shared_cost", c.Entry, domain.Date(c.Category), &c)
		}
	}
	return differences(site, kept, right), days, nil
}

// rows are derived rows by table and key, as text.
type rows map[[2]string]string

func (r rows) put(table string, id fmt.Stringer, n domain.Date, state any) {
	key := id.String()
	if table != "batch_sum" {
		key += " " + n.String()
	}
	r[[2]string{table, key}] = plain(state)
}

// plain prints a state so that equal states are printed alike.
func plain(state any) string {
	v := reflect.ValueOf(state).Elem()
	text := ""
	for i := range v.NumField() {
		f := v.Field(i)
		if f.Kind() == reflect.Pointer {
			if f.IsNil() {
				continue
			}
			f = f.Elem()
		}
		if f.IsZero() || f.Kind() == reflect.Slice && f.Len() == 0 {
			continue
		}
		text += fmt.Sprintf("%s=%v ", v.Type().Field(i).Name, f.Interface())
	}
	return text
}

func differences(site domain.SiteID, kept, right rows) []Difference {
	var out []Difference
	for k, v := range kept {
		if right[k] != v {
			out = append(out, Difference{site, k[0], k[1], v, right[k]})
		}
	}
	for k, v := range right {
		if _, ok := kept[k]; !ok {
			out = append(out, Difference{Site: site, Table: k[0], Key: k[1], Right: v})
		}
	}
	slices.SortFunc(out, func(a, b Difference) int {
		if a.Table != b.Table {
			return strings.Compare(a.Table, b.Table)
		}
		return strings.Compare(a.Key, b.Key)
	})
	return out
}
