package postgres_test

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
)

type inner struct {
	Count  domain.Fish
	Weight *domain.Grams
}

type wide struct {
	SiteID domain.SiteID
	On     domain.Date
	inner
	Name    string
	Phone   *string
	Until   *domain.Date
	At      domain.Minute
	Days    int64
	Ratio   float64
	Odd     *float64
	Known   bool
	Units   []domain.UnitID
	None    []domain.Date
	Dates   []domain.Date
	Costs   [3]domain.Money
	Words   []string
	Body    []byte
	Since   time.Time
	Another *domain.SiteID
}

const wideRow = `select '019ade3a-7c00-7000-8000-0000000000b1'::uuid as site_id, date '1969-12-31' as "on", 9007199254740993::bigint as count, null::bigint as weight,
	'Étang' as name, null::text as phone, date '2030-02-28' as until, 1439::smallint as at, -7::integer as days, -0.1::float8 as ratio, 'NaN'::float8 as odd, true as known,
	array['019ade3a-7c00-7000-8000-0000000000b2']::uuid[] as units, null::date[] as none, '{2000-01-01,1999-12-31}'::date[] as dates, '{1,-2,3}'::bigint[] as costs,
	'{}'::text[] as words, '{"a": 1.50}'::jsonb as body, timestamptz '2025-03-01 12:00:00.123456+02' as since, null::uuid as another`

// TestRows: what is read is what the driver reads in its own way.
func TestRows(t *testing.T) {
	t.Parallel()
	f, _ := simulated(t, open(t), simulate.Options{Seed: 3, Sites: 2, Seasons: 1})
	compared := 0
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		of := func(table string) string {
			return fmt.Sprintf(`select %s from %s where coop_id = '%s'`, strings.Join(postgres.StateColumns(table), ", "), table, f.coop)
		}
		sameRows[wide](ctx, t, tx, wideRow)
		compared += sameRows[domain.BatchState](ctx, t, tx, of("batch_day")) + sameRows[domain.BatchState](ctx, t, tx, of("batch_sum")) +
			sameRows[domain.StoreState](ctx, t, tx, of("store_day")) + sameRows[domain.UnitState](ctx, t, tx, of("unit_day")) + sameRows[domain.SiteState](ctx, t, tx, of("site_day"))
		if got, err := postgres.All[wide](ctx, tx, wideRow+` where false`); err != nil || got == nil || len(got) != 0 {
			t.Errorf("of no rows it makes %v, %v", got, err)
		}
		return nil
	})
	if compared < 1000 {
		t.Errorf("only %d rows were compared", compared)
	}
}

// sameRows compares by text, in which NaN is NaN and an empty list is not none.
func sameRows[T any](ctx context.Context, t *testing.T, tx *postgres.Tx, sql string) int {
	t.Helper()
	got, err := postgres.All[T](ctx, tx, sql)
	if err != nil {
		t.Fatal(err)
	}
	want, err := postgres.AllByDriver[T](ctx, tx, sql)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d rows, the driver reads %d", len(got), len(want))
	}
	for i := range got {
		g, w := reflect.ValueOf(got[i]), reflect.ValueOf(want[i])
		for k := range g.NumField() {
			if g, w := fmt.Sprintf("%#v", seen(g.Field(k))), fmt.Sprintf("%#v", seen(w.Field(k))); g != w {
				t.Errorf("row %d: %s is %s, the driver reads %s", i, reflect.TypeFor[T]().Field(k).Name, g, w)
			}
		}
	}
	return len(got)
}

// seen looks through a pointer.
func seen(v reflect.Value) reflect.Value {
	if v.Kind() == reflect.Pointer && !v.IsNil() {
		return v.Elem()
	}
	return v
}

// TestRowsThatDoNotFit: a column without a field, a field without a column, and nothing
// where a field cannot say so, are errors that name it.
func TestRowsThatDoNotFit(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	type narrow struct {
		Fish int64
		Days []domain.Date
	}
	for sql, want := range map[string]string{
		`select 1::bigint as fish, '{}'::date[] as days, 2::bigint as feed`: "feed",
		`select 1::bigint as fish`:                                                "days",
		`select null::bigint as fish, '{}'::date[] as days`:                       "column fish",
		`select 1::bigint as fish, '{2025-03-01,null}'::date[] as days`:           "column days",
		`select 1::bigint as fish, '{{2025-03-01},{2025-03-02}}'::date[] as days`: "column days",
	} {
		err := f.store.View(t.Context(), f.all, func(tx *postgres.Tx) error {
			_, err := postgres.All[narrow](t.Context(), tx, sql)
			return err
		})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want an error that names %q", sql, err, want)
		}
	}
}
