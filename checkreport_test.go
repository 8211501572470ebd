package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
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
		if out, _, err := command(t, nil, append([]string{"check-report"}, args...)...); err != nil || !strings.Contains(out, hash) || !strings.Contains(out, "sealed by seal 2") {
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
