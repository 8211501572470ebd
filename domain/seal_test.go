package domain

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// sealed makes seals over texts, so many each.
func sealed(texts [][]byte, each int) (seals []Seal) {
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for part := range slices.Chunk(texts, each) {
		s := Seal{Number: int64(len(seals)) + 1, Through: at.Add(time.Duration(len(seals)) * time.Hour), Entries: int64(len(part))}
		if len(seals) > 0 {
			last := seals[len(seals)-1]
			s.After, s.Previous = &last.Through, last.Hash
		}
		var tree Merkle
		for _, text := range part {
			tree.Add(LeafHash(text))
		}
		s.Root = tree.Root()
		s.Hash = s.Sum()
		seals = append(seals, s)
	}
	return seals
}

func TestCheckSeals(t *testing.T) {
	t.Parallel()
	texts := make([][]byte, 23)
	for i := range texts {
		texts[i] = fmt.Appendf(nil, "record %d", i)
	}
	var cases = map[string]struct {
		change func(seals []Seal, texts [][]byte) ([]Seal, [][]byte)
		want   string // empty: all is well
	}{
		"nothing":           {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { return s, r }, ""},
		"a later beginning": {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { return s[1:], r[5:] }, ""},
		"a record changed": {func(s []Seal, r [][]byte) ([]Seal, [][]byte) {
			r[7] = []byte("record 7 says something else")
			return s, r
		}, "seal 2: its records make the root"},
		"a record removed":      {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { return s, slices.Delete(r, 3, 4) }, "seal 1: its records make the root"},
		"the last one removed":  {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { return s, r[:22] }, "seal 5: of 3 records there are only 2"},
		"a record added":        {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { return s, append(r, []byte("more")) }, "more records than were sealed"},
		"two records exchanged": {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { r[0], r[1] = r[1], r[0]; return s, r }, "seal 1: its records make the root"},
		"a seal removed":        {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { return slices.Delete(s, 1, 2), slices.Delete(r, 5, 10) }, "seal 3: it comes after seal 1"},
		"a count changed":       {func(s []Seal, r [][]byte) ([]Seal, [][]byte) { s[2].Changes = 1; return s, r }, "seal 3: what it says has the hash"},
		"a seal made anew": {func(s []Seal, r [][]byte) ([]Seal, [][]byte) {
			s[2].Changes, s[2].Entries = 1, 4
			s[2].Hash = s[2].Sum()
			return s, r
		}, "seal 4: it does not go on from seal 3"},
		"a gap between seals": {func(s []Seal, r [][]byte) ([]Seal, [][]byte) {
			later := s[2].After.Add(time.Microsecond)
			s[2].After = &later
			s[2].Hash = s[2].Sum()
			s[3].Previous = s[2].Hash
			s[3].Hash = s[3].Sum()
			s[4].Previous = s[3].Hash
			s[4].Hash = s[4].Sum()
			return s, r
		}, "seal 3: it does not go on from seal 2"},
		"a first that follows": {func(s []Seal, r [][]byte) ([]Seal, [][]byte) {
			s[0].Previous = s[0].Root
			s[0].Hash = s[0].Sum()
			return s[:1], r[:5]
		}, "seal 1: it is the first and yet follows another one"},
	}
	for what, c := range cases {
		seals, records := c.change(sealed(texts, 5), slices.Clone(texts))
		wrong := CheckSeals(seals, slices.Values(records))
		if all := strings.Join(wrong, "\n"); (c.want == "") != (all == "") || !strings.Contains(all, c.want) {
			t.Errorf("%s: it says %q, want %q", what, all, c.want)
		}
	}
}

// What is sealed of an entry and of a line, to the byte: whoever has an export can make
// the same text.
func TestSealedRecords(t *testing.T) {
	t.Parallel()
	id := func(n byte) (id [16]byte) { id[15] = n; return id }
	at := time.Date(2026, 3, 1, 8, 30, 0, 120_000_000, time.FixedZone("CAT", 2*60*60))
	minute, batch, value, device := Minute(450), BatchID(id(4)), Money(12_50), "phone"
	entry := SealedEntry{Coop: id(1), Site: id(2), ID: id(3), Kind: "death", On: NewDate(2026, 2, 28), At: &minute, Rank: 2, Batch: &batch, Value: &value,
		Note: "found \"early\"\n", Body: json.RawMessage(`{"count": 3, "batch_id": "x", "weight_kg": 1.50}`), RecordedAt: at, RecordedBy: "Ms Bandá", Token: id(5), Device: &device}
	token := TokenID(id(5))
	change := SealedChange{Coop: id(1), ID: id(6), RecordedAt: at, RecordedBy: "operator", Token: &token, Noun: "site", Subject: id(2), Action: "created",
		After: json.RawMessage(`{"tags":[],"name":"Tumbawe","altitude_m":null}`)}
	for want, record := range map[string]func() ([]byte, error){
		`{"batch_id":"00000000-0000-0000-0000-000000000004","body":{"batch_id":"x","count":3,"weight_kg":1.5},"coop_id":"00000000-0000-0000-0000-000000000001",` +
			`"device":"phone","id":"00000000-0000-0000-0000-000000000003","kind":"death","note":"found \"early\"\n","occurred_at":450,"occurred_on":"2026-02-28","owed":0,` +
			`"party_id":null,"product_id":null,"rank":2,"record":"entry","recorded_at":"2026-03-01T06:30:00.120000Z","recorded_by":"Ms Bandá","reverses_id":null,` +
			`"site_id":"00000000-0000-0000-0000-000000000002","to_batch_id":null,"token_id":"00000000-0000-0000-0000-000000000005","unit_id":null,"value":1250}`: entry.Record,
		`{"action":"created","after":{"altitude_m":null,"name":"Tumbawe","tags":[]},"before":null,"coop_id":"00000000-0000-0000-0000-000000000001","device":null,` +
			`"id":"00000000-0000-0000-0000-000000000006","noun":"site","record":"change","recorded_at":"2026-03-01T06:30:00.120000Z","recorded_by":"operator","site_id":null,` +
			`"subject":"00000000-0000-0000-0000-000000000002","token_id":"00000000-0000-0000-0000-000000000005","valid_from":null}`: change.Record,
	} {
		if got, err := record(); err != nil || string(got) != want {
			t.Errorf("sealed is\n%s (%v), want\n%s", got, err, want)
		}
	}
}
