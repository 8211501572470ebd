package postgres_test

import (
	"context"
	"slices"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/migrations"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// TestCountsOfJournalsThatAreThere: the rows that a migration makes of a journal are those
// that the journal is folded to.
func TestCountsOfJournalsThatAreThere(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	f, coop := simulated(t, openAt(t, url, postgres.Options{}), simulate.Options{Seed: 5, Sites: 4, Seasons: 2})
	site := coop.Sites[0]
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error { // several of a day, and by sex
		var entries []domain.Entry
		for _, b := range []domain.Tally{
			{Measure: "trained", Count: 9, Female: ptr(domain.Fish(4))}, {Measure: "trained", Count: 3, Male: ptr(domain.Fish(0))},
			{Measure: "jobs", Count: 4, Male: ptr(domain.Fish(4))}, {Measure: "jobs", Count: 4, Female: ptr(domain.Fish(1)), Male: ptr(domain.Fish(2))},
			{Measure: "learners", Count: 0},
		} {
			entries = append(entries, domain.Entry{ID: newID[domain.Entry](), Site: site.Facts.ID, On: dayOne + 3000, Body: b})
		}
		_, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true})
		return err
	})
	folded := column[string](t, owner(t, url), `select d::text from site_day d order by site_id, day`)
	for _, direction := range []string{"down", "up"} {
		sql, err := migrations.FS.ReadFile("000012_site_counts." + direction + ".sql")
		if err != nil {
			t.Fatal(err)
		}
		exec(t, url, string(sql))
	}
	made := column[string](t, owner(t, url), `select d::text from site_day d order by site_id, day`)
	if len(folded) < 300 || !slices.Equal(folded, made) {
		t.Errorf("%d rows were folded, %d made", len(folded), len(made))
	}
	for i := range min(len(folded), len(made)) {
		if folded[i] != made[i] {
			t.Fatalf("made is\n%s, folded\n%s", made[i], folded[i])
		}
	}
	for place, n := range column[int64](t, owner(t, url), `select sum(n)::bigint from site_day cross join unnest(told) with ordinality x (n, place) group by place order by place`) {
		if n == 0 {
			t.Errorf("nothing was counted at place %d", place)
		}
	}
}
