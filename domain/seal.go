package domain

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"iter"
	"time"
)

// Seal fixes what was recorded in a while: the root of a Merkle tree (RFC 6962) over the
// records, and the hash of the seal before, so that none of it can be removed, changed or
// added to without another hash of this seal and of all that follow.
type Seal struct {
	Coop     CoopID     `json:"coop_id"`
	Number   int64      `json:"number"`  // from 1
	After    *time.Time `json:"after"`   // the last moment of the seal before; nil: there is none
	Through  time.Time  `json:"through"` // the last moment of this one
	Entries  int64      `json:"entries"` // of the journal
	Changes  int64      `json:"changes"` // lines of the audit trail
	Root     Hash       `json:"root"`
	Previous Hash       `json:"previous"`  // the hash of the seal before; zero for the first
	Hash     Hash       `json:"hash"`      // of all of the above
	SealedAt time.Time  `json:"sealed_at"` // when it was made, which is not in the hash
}

// Sum returns what the hash of the seal must be: the SHA-256 of what it says as canonical
// JSON, the times in UTC with six decimals of a second.
func (s *Seal) Sum() Hash {
	text, err := CanonicalOf(struct {
		Coop     CoopID  `json:"coop_id"`
		Number   int64   `json:"number"`
		After    *string `json:"after"`
		Through  string  `json:"through"`
		Entries  int64   `json:"entries"`
		Changes  int64   `json:"changes"`
		Root     Hash    `json:"root"`
		Previous Hash    `json:"previous"`
	}{s.Coop, s.Number, stampOf(s.After), stamp(s.Through), s.Entries, s.Changes, s.Root, s.Previous})
	if err != nil {
		panic(err) // everything in it has a text
	}
	return sha256.Sum256(text)
}

// UTC returns the seal with its times in UTC.
func (s Seal) UTC() Seal {
	if s.After != nil {
		s.After = new(s.After.UTC())
	}
	s.Through, s.SealedAt = s.Through.UTC(), s.SealedAt.UTC()
	return s
}

// Records returns how many leaves its tree has.
func (s *Seal) Records() int64 { return s.Entries + s.Changes }

// stamp writes a moment as records have it: all of them the same length.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000Z") }

func stampOf(t *time.Time) *string {
	if t == nil {
		return nil
	}
	text := stamp(*t)
	return &text
}

// SealedEntry is an entry of the journal as it is sealed: all of its row that says
// something, by column.
type SealedEntry struct {
	Coop       CoopID          `json:"coop_id"`
	Site       SiteID          `json:"site_id"`
	ID         EntryID         `json:"id"`
	Kind       string          `json:"kind"`
	On         Date            `json:"occurred_on"`
	At         *Minute         `json:"occurred_at"`
	Rank       int64           `json:"rank"`
	Batch      *BatchID        `json:"batch_id"`
	ToBatch    *BatchID        `json:"to_batch_id"`
	Product    *ProductID      `json:"product_id"`
	Unit       *UnitID         `json:"unit_id"`
	Party      *PartyID        `json:"party_id"`
	Owed       Money           `json:"owed"`
	Reverses   *EntryID        `json:"reverses_id"`
	Value      *Money          `json:"value"`
	Note       string          `json:"note"`
	Body       json.RawMessage `json:"body"`
	RecordedAt time.Time       `json:"recorded_at"`
	RecordedBy string          `json:"recorded_by"`
	Token      TokenID         `json:"token_id"`
	Device     *string         `json:"device"`
}

// Record returns the canonical text that is sealed of an entry.
func (e *SealedEntry) Record() ([]byte, error) {
	return CanonicalOf(struct {
		Record string `json:"record"`
		*SealedEntry
		RecordedAt string `json:"recorded_at"`
	}{"entry", e, stamp(e.RecordedAt)})
}

// SealedChange is a line of the audit trail as it is sealed, by column.
type SealedChange struct {
	Coop       CoopID          `json:"coop_id"`
	Site       *SiteID         `json:"site_id"`
	ID         ID[any]         `json:"id"`
	RecordedAt time.Time       `json:"recorded_at"`
	RecordedBy string          `json:"recorded_by"`
	Token      *TokenID        `json:"token_id"`
	Device     *string         `json:"device"`
	Noun       string          `json:"noun"`
	Subject    ID[any]         `json:"subject"`
	Action     string          `json:"action"`
	ValidFrom  *Date           `json:"valid_from"`
	Before     json.RawMessage `json:"before"`
	After      json.RawMessage `json:"after"`
}

// Record returns the canonical text that is sealed of a line.
func (c *SealedChange) Record() ([]byte, error) {
	return CanonicalOf(struct {
		Record string `json:"record"`
		*SealedChange
		RecordedAt string `json:"recorded_at"`
	}{"change", c, stamp(c.RecordedAt)})
}

// CheckSeals holds seals, in the order of their numbers, against each other and against
// the texts of what they seal, as [SealedEntry.Record] and [SealedChange.Record] have
// them, in the order of the seals. It needs nothing but these, so that anybody can do it
// who has kept them. It returns what is wrong, in words.
func CheckSeals(seals []Seal, records iter.Seq[[]byte]) (wrong []string) {
	next, stop := iter.Pull(records)
	defer stop()
	wrong = CheckChain(seals)
	for i := range seals {
		s := &seals[i]
		var tree Merkle
		for tree.Leaves() < s.Records() {
			text, ok := next()
			if !ok {
				return append(wrong, fmt.Sprintf("seal %d: of %d records there are only %d", s.Number, s.Records(), tree.Leaves()))
			}
			tree.Add(LeafHash(text))
		}
		if root := tree.Root(); root != s.Root {
			wrong = append(wrong, fmt.Sprintf("seal %d: its records make the root %s, not %s: they are others than were sealed", s.Number, root, s.Root))
		}
	}
	if _, more := next(); more {
		wrong = append(wrong, "there are more records than were sealed")
	}
	return wrong
}

// CheckChain holds seals, in the order of their numbers, against each other alone.
func CheckChain(seals []Seal) (wrong []string) {
	var last *Seal
	for i := range seals {
		wrong = append(wrong, seals[i].Follows(last)...)
		last = &seals[i]
	}
	return wrong
}

// Follows says what is wrong with a seal by itself and beside the one before; nil if
// that is not known or there is none.
func (s *Seal) Follows(last *Seal) (wrong []string) {
	say := func(format string, args ...any) {
		wrong = append(wrong, fmt.Sprintf("seal %d: "+format, append([]any{s.Number}, args...)...))
	}
	if sum := s.Sum(); sum != s.Hash {
		say("what it says has the hash %s, not %s", sum, s.Hash)
	}
	switch {
	case last == nil && s.Number == 1 && (s.Previous != Hash{} || s.After != nil):
		say("it is the first and yet follows another one")
	case last == nil:
	case s.Number != last.Number+1:
		say("it comes after seal %d, those between are missing", last.Number)
	case s.Previous != last.Hash || s.After == nil || !s.After.Equal(last.Through):
		say("it does not go on from seal %d", last.Number)
	}
	return wrong
}
