package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// TestCheckReport: whoever has a report, and perhaps seals and records, can tell without
// a database whether any of it was changed.
func TestCheckReport(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	keep := func(name, text string) string {
		t.Helper()
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	records := "{\"record\":\"change\"}\n{\"record\":\"entry\"}\n{\"count\":3,\"record\":\"entry\"}\n"
	seals := sealLines(t, strings.Split(strings.TrimSuffix(records, "\n"), "\n"), 2)
	list, err := json.Marshal(sealList{seals})
	if err != nil {
		t.Fatal(err)
	}
	report := fmt.Sprintf(`{"figures":[],"seal":{"hash":"%s","number":2,"root":"%s"},"title":"Fish of a year"}`, seals[1].Hash, seals[1].Root)
	sum := sha256.Sum256([]byte(report))
	hash := hex.EncodeToString(sum[:])
	sealsFile, recordsFile, reportFile := keep("seals", string(list)), keep("records", records), keep("report", report)
	for _, args := range [][]string{
		{reportFile},
		{reportFile, "--sha256", hash},
		{reportFile, "--seals", sealsFile},
		{reportFile, "--sha256", hash, "--seals", sealsFile, "--records", recordsFile},
	} {
		if out, _, err := command(t, nil, append([]string{"check-report"}, args...)...); err != nil || !strings.Contains(out, hash) || !strings.Contains(out, "names seal 2") || strings.Contains(out, "was changed is not told") == slices.Contains(args, "--sha256") {
			t.Errorf("%v: %q, %v", args, out, err)
		}
	}
	changed := strings.Replace(report, "a year", "two years", 1)
	otherHash := strings.Replace(report, seals[1].Hash.String(), seals[0].Hash.String(), 1)
	otherRoot := strings.Replace(report, seals[1].Root.String(), seals[0].Root.String(), 1)
	for want, args := range map[string][]string{
		"another one than that with the hash":       {keep("changed", changed), "--sha256", hash},
		"not written as it was issued":              {keep("spaced", strings.Replace(report, ",", ", ", 1))},
		"holds no report":                           {keep("half", report[:20])},
		"names no seal":                             {keep("unsealed", `{"title":"x"}`), "--seals", sealsFile},
		"is not among the seals":                    {keep("later", strings.Replace(report, `"number":2`, `"number":3`, 1)), "--seals", sealsFile},
		"was recorded before the report was issued": {keep("root", otherRoot), "--seals", sealsFile},
		"seal 2 has the hash":                       {keep("hash", otherHash), "--seals", sealsFile},
		"seal 2: its records make the root":         {reportFile, "--seals", sealsFile, "--records", keep("tampered", strings.Replace(records, "3", "4", 1))},
		"seal 1: what it says has the hash":         {reportFile, "--seals", keep("forged", strings.Replace(string(list), `"entries":2`, `"entries":1`, 1))},
		"--records needs --seals":                   {reportFile, "--records", recordsFile},
		"seal 2: of 1 records there are only 0":     {reportFile, "--seals", sealsFile, "--records", keep("fewer", records[:strings.Index(records, `{"count"`)])},
	} {
		out, _, err := command(t, nil, append([]string{"check-report"}, args...)...)
		if err == nil || !strings.Contains(out+err.Error(), want) {
			t.Errorf("%v: %q, %v, want %q", args, out, err, want)
		}
	}
}

// sealLines seals records, so many at a time.
func sealLines(t *testing.T, records []string, each int) (seals []domain.Seal) {
	t.Helper()
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for len(records) > 0 {
		part := records[:min(each, len(records))]
		records = records[len(part):]
		s := domain.Seal{Coop: domain.CoopID{6: 0x70, 8: 0x80, 15: 1}, Number: int64(len(seals)) + 1, Through: at, Entries: int64(len(part))}
		if len(seals) > 0 {
			last := seals[len(seals)-1]
			s.After, s.Previous = &last.Through, last.Hash
		}
		var tree domain.Merkle
		for _, r := range part {
			tree.Add(domain.LeafHash([]byte(r)))
		}
		s.Root = tree.Root()
		s.Hash = s.Sum()
		seals, at = append(seals, s), at.Add(time.Hour)
	}
	return seals
}

// TestCheckIssuedReport: a report that was issued, as it is downloaded, stands beside the
// seals and the records of its co-operative, until somebody changes what it rests on.
func TestCheckIssuedReport(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	store, d := openStore(t, env["DATABASE_URL"]), demo{Seed: 5, Sites: 1, Seasons: 1}
	coop := d.simulate()
	if _, err := store.CreateCoop(t.Context(), coop.Facts); err != nil {
		t.Fatal(err)
	}
	if _, err := d.prepare(t.Context(), store, env["DATABASE_URL"], coop, false, messages{t.Output()}); err != nil {
		t.Fatal(err)
	}
	document := issueReport(t, store, coop)
	id, dir := coop.Facts.ID.String(), t.TempDir()
	keep := func(name, text string) string {
		t.Helper()
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	must := func(args ...string) string {
		t.Helper()
		out, _, err := command(t, env, args...)
		if err != nil {
			t.Fatalf("%v: %q, %v", args, out, err)
		}
		return out
	}
	report, seals := keep("report", string(document)), keep("seals", must("seals", "print", id))
	out := must("check-report", report, "--seals", seals, "--records", keep("records", must("seals", "records", id)))
	if !strings.Contains(out, "names seal ") {
		t.Errorf("it says %q", out)
	}
	must("verify", "--seals", seals, id)

	conn, err := pgx.Connect(t.Context(), env["DATABASE_URL"])
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	if _, err := conn.Exec(t.Context(), `set session_replication_role = replica`); err != nil {
		t.Fatal(err)
	}
	// One entry less, and all sealed anew, so that nothing in the database itself tells of it.
	if _, err := conn.Exec(t.Context(), `delete from entry where id = (select id from entry where kind = 'tally' or kind = 'water' order by id limit 1); truncate seal`); err != nil {
		t.Fatal(err)
	}
	must("seals", "make", id)
	if out, _, err := command(t, env, "check-report", report, "--seals", keep("anew", must("seals", "print", id))); err == nil || !strings.Contains(out, "is not the same any more") && !strings.Contains(out, "is not among the seals") {
		t.Errorf("of seals made anew it says %q, %v", out, err)
	}
	if out, _, err := command(t, env, "check-report", report, "--seals", seals, "--records", keep("fewer", must("seals", "records", id))); err == nil || !strings.Contains(out, "make the root") && !strings.Contains(out, "there are only") {
		t.Errorf("of a record less it says %q, %v", out, err)
	}
}

// issueReport issues a report on the last year, and returns it as it is downloaded.
func issueReport(t *testing.T, store *postgres.Store, coop *simulate.Coop) []byte {
	t.Helper()
	newID := func() [16]byte { return uuid.Must(uuid.NewV7()) }
	today := domain.DateOf(time.Now(), time.UTC)
	funder := domain.Party{ID: newID(), Name: "Lake Foundation", Roles: []string{"funder"}}
	g := domain.Grant{ID: newID(), Funder: funder.ID, Title: "Fish for schools", StartsOn: today - 720, EndsOn: today + 720, Currency: coop.Facts.Currency,
		Lines: []domain.BudgetLine{{Code: "feed", Title: "Feed", Amount: 10_000_00}}, PortionG: 50_000, PortionForm: "fillet", FlagPercent: 25_000}
	for _, s := range coop.Sites {
		g.Sites = append(g.Sites, domain.GrantSite{Site: s.Facts.ID})
	}
	for _, i := range domain.Catalogue() {
		g.Measures = append(g.Measures, domain.GrantMeasure{Code: i.Code})
	}
	r := domain.Report{ID: newID(), Grant: g.ID, StartsOn: today - 366, EndsOn: today - 2, Title: "The last year", Language: "en", State: domain.ReportDraft}
	var document []byte
	err := store.OperateSettled(t.Context(), coop.Facts.ID, func(tx *postgres.Tx) error {
		if _, err := postgres.Parties.Create(t.Context(), tx, funder); err != nil {
			return err
		}
		if _, err := postgres.Grants.Create(t.Context(), tx, g); err != nil {
			return err
		}
		if _, err := postgres.Reports.Create(t.Context(), tx, r); err != nil {
			return err
		}
		if _, err := tx.IssueReport(t.Context(), r.ID, nil); err != nil {
			return err
		}
		c, err := tx.Copy(t.Context(), r.ID, "json")
		document = c.Content
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return document
}
