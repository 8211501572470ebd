package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// showing is what the demo tells about itself.
type showing struct {
	coop            domain.Coop
	schools         int
	batches         []shownBatch
	closed, growing int // of those that are not shown
	keeps           domain.SiteID
	school          string                // that is kept
	pond            *postgres.Performance // of fish that grow there; nil: no fish grow anywhere

	coordinator, keeper, funder domain.Token
	url, kept                   string
}

type shownBatch struct {
	id                     domain.BatchID
	school, name, species  string
	state                  string
	survival, fcr, costPer string // "-": not known
}

// look reads what is to be shown, as the API reads what it answers.
func look(ctx context.Context, store *postgres.Store, cred postgres.Credential) (show *showing, err error) {
	err = store.View(ctx, cred, func(tx *postgres.Tx) error {
		show = &showing{}
		return show.read(ctx, tx, cred.Coop)
	})
	return show, err
}

func (show *showing) read(ctx context.Context, tx *postgres.Tx, coop domain.CoopID) (err error) {
	if show.coop, err = postgres.Coops.Get(ctx, tx, coop); err != nil {
		return err
	}
	const all = math.MaxInt32
	sites, _, err := postgres.Sites.List(ctx, tx, postgres.Filter[domain.SiteID]{Limit: all})
	if err != nil {
		return err
	}
	batches, _, err := postgres.Batches.List(ctx, tx, postgres.Filter[domain.BatchID]{Limit: all})
	if err != nil {
		return err
	}
	fish, err := postgres.AllSpecies(ctx, tx)
	if err != nil {
		return err
	}
	ids := make([]domain.BatchID, len(batches))
	for i, b := range batches {
		ids[i] = b.ID
	}
	now, err := tx.Whereabouts(ctx, ids)
	if err != nil {
		return err
	}
	schools, species := map[domain.SiteID]string{}, map[string]string{}
	for _, s := range sites {
		schools[s.ID] = s.Name
	}
	for _, f := range fish {
		species[f.Code] = f.EnglishName
	}
	show.schools, show.keeps = len(sites), sites[0].ID
	slices.SortFunc(batches, func(a, b domain.Batch) int {
		return cmp.Or(cmp.Compare(schools[a.Site], schools[b.Site]), cmp.Compare(a.Name, b.Name))
	})
	growing := slices.DeleteFunc(slices.Clone(batches), func(b domain.Batch) bool { return now[b.ID].Closed })
	closed := slices.DeleteFunc(batches, func(b domain.Batch) bool { return !now[b.ID].Closed })
	if len(growing) > 0 {
		show.keeps = growing[0].Site
		if show.pond, err = tx.Performance(ctx, growing[0].ID, postgres.Moment{}); err != nil {
			return err
		}
	}
	show.school = schools[show.keeps]
	const rows = 16 // a screen
	for i, b := range slices.Concat(closed, growing) {
		if i >= rows {
			break
		}
		perf, err := tx.Performance(ctx, b.ID, postgres.Moment{})
		if err != nil {
			return err
		}
		shown := shownBatch{id: b.ID, school: schools[b.Site], name: b.Name, species: species[b.Species]}
		shown.figures(perf.Measure(b.ID, false).Figures())
		show.batches = append(show.batches, shown)
	}
	show.closed = max(0, len(closed)-rows)
	show.growing = min(len(growing), max(0, len(closed)+len(growing)-rows))
	return nil
}

// figures rounds what the API prints to what a table has room for.
func (b *shownBatch) figures(p domain.Performance) {
	rounded := func(literal, format string, scale float64) string {
		v, err := strconv.ParseFloat(strings.Trim(literal, `"`), 64)
		if err != nil { // there is none
			return "-"
		}
		return fmt.Sprintf(format, scale*v)
	}
	for _, f := range p.Figures {
		switch f.Name {
		case "state":
			b.state = strings.Trim(f.Literal, `"`)
		case "survival.by_account":
			b.survival = rounded(f.Literal, "%.1f %%", 100)
		case "feed.fcr_economic":
			b.fcr = rounded(f.Literal, "%.2f", 1)
		case "cost.per_kg":
			b.costPer = rounded(f.Literal, "%.2f", 1)
		}
	}
}

// text says what there is and how to go on.
func (show *showing) text() string {
	var out strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&out, format+"\n", args...) }
	say("\n%s, an invented co-operative (schools: %d), is served at\n\n  %s        read about it and try it at %[3]s/docs\n", show.coop.Name, show.schools, show.url)
	table := [][]string{{"Site", "Batch", "Species", "State", "Survival", "Feed conversion", string(show.coop.Currency) + " per kg"}}
	for _, b := range show.batches {
		table = append(table, []string{b.school, b.name, b.species, b.state, b.survival, b.fcr, b.costPer})
	}
	out.WriteString(aligned(table, 4))
	if show.closed+show.growing > 0 {
		say("and %d more that are closed and %d that are growing", show.closed, show.growing)
	}
	say("\nTokens")
	say("  coordinator  %s", show.coordinator.Text())
	say("  keeper       %s  (of %s)", show.keeper.Text(), show.school)
	say("  funder       %s  (sees what is issued to it: nothing yet)", show.funder.Text())
	say("\nTo try: three schools at a glance, all figures of the first batch above, what to do next, of fish that grow")
	say("how much they get today and when they are big enough, and what a keeper writes down.\n")
	get := func(path string) string {
		return fmt.Sprintf("curl -s -H 'Authorization: Bearer %s' '%s%s'\n", show.coordinator.Text(), show.url, path)
	}
	say("%s", get("/v1/overview?limit=3"))
	say("%s", get("/v1/batches/"+show.batches[0].id.String()+"/performance"))
	say("%s", get("/v1/advice?limit=3"))
	if show.pond == nil {
		say("%s", get("/v1/accounts"))
	} else {
		batch := "/v1/batches/" + show.pond.Batch.String()
		say("%s", get(batch+"/ration"))
		say("%s", get(batch+"/forecast"))
		entry := fmt.Sprintf(`{"entries":[{"id":"%s","kind":"death","site_id":"%s","occurred_on":"%s","batch_id":"%s","count":1,"note":"found in the morning"}]}`,
			uuid.New(), show.pond.Site, show.pond.AsOf, show.pond.Batch)
		say("curl -s -H 'Authorization: Bearer %s' -H 'Content-Type: application/json' -d '%s' %s/v1/entries\n", show.keeper.Text(), entry, show.url)
	}
	say("Ctrl-C ends the demo: %s.", show.kept)
	return out.String()
}

// aligned puts cells into columns, the first ones to the left and the rest, of
// numbers, to the right. The first row is the heading.
func aligned(table [][]string, left int) string {
	widths := make([]int, len(table[0]))
	for _, row := range table {
		for i, cell := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	var out strings.Builder
	for _, row := range table {
		line := ""
		for i, cell := range row {
			if i < left {
				widths[i] = -widths[i]
			}
			line += fmt.Sprintf("%*s  ", widths[i], cell)
			widths[i] = max(widths[i], -widths[i])
		}
		out.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	return out.String()
}
