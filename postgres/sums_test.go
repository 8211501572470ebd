package postgres_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// The derived tables have a column for every field of a state, in the order of the
// statements that write them.
func TestStatesHaveTheirColumns(t *testing.T) {
	t.Parallel()
	conn, err := pgx.Connect(t.Context(), postgrestest.New(t).URL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	for table, state := range map[string]any{
		"batch_day": domain.BatchState{}, "batch_sum": domain.BatchState{}, "store_day": domain.StoreState{}, "unit_day": domain.UnitState{}, "site_day": domain.SiteState{},
	} {
		rows, _ := conn.Query(t.Context(), `
			select column_name::text from information_schema.columns
			where table_schema = 'public' and table_name = $1
			and column_name not in ('coop_id', 'site_id', 'batch_id', 'product_id', 'unit_id', 'day')`, table)
		columns, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		written := postgres.StateColumns(table)
		if got, want := slices.Sorted(slices.Values(columns)), slices.Sorted(slices.Values(written)); !slices.Equal(got, want) {
			t.Errorf("%s has the columns %v, written are %v", table, got, want)
		}
		var fields []string
		for i := range reflect.TypeOf(state).NumField() {
			fields = append(fields, strings.ToLower(reflect.TypeOf(state).Field(i).Name))
		}
		for i, column := range written {
			written[i] = strings.ReplaceAll(column, "_", "")
		}
		if !slices.Equal(written, fields) {
			t.Errorf("%s is written as %v, the state has the fields %v", table, written, fields)
		}
	}
}
