package postgres

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"shoalbook/domain"
)

// sealedAtMost is how many records one seal is over: what is more gets several.
const sealedAtMost = 5_000

const sealColumns = `coop_id as coop, number, after, through, entries, changes, root, previous, hash, sealed_at`

// Seal seals what has been recorded since the last seal, as it is settled (see
// [Store.Settle]), and returns the latest one. Where nothing has been recorded since, the
// last seal is returned again.
func (tx *Tx) Seal(ctx context.Context) (domain.Seal, error) {
	for {
		s, more, err := tx.sealNext(ctx, sealedAtMost)
		if err != nil || !more {
			return s, err
		}
	}
}

// sealNext makes a seal over so many records at most, and reports whether more are left.
func (tx *Tx) sealNext(ctx context.Context, most int) (s domain.Seal, more bool, err error) {
	if err := tx.forAll(); err != nil {
		return s, false, err
	}
	through, err := tx.settledAt()
	if err != nil {
		return s, false, err
	}
	last, err := all[domain.Seal](ctx, tx, `select `+sealColumns+` from seal where coop_id = $1 order by number desc limit 1`, tx.coop)
	if err != nil {
		return s, false, err
	}
	s = domain.Seal{Coop: tx.coop, Number: 1, Through: through}
	if len(last) > 0 {
		s.Number, s.After, s.Previous = last[0].Number+1, &last[0].Through, last[0].Hash
	}
	found, err := tx.records(ctx, s.After, s.Through, most+1)
	switch {
	case err != nil:
		return s, false, err
	case len(found) == 0 && len(last) > 0:
		return last[0].UTC(), false, nil
	case len(found) > most: // those of one moment go together
		at := found[most].at
		found = slices.DeleteFunc(found, func(r record) bool { return !r.at.Before(at) })
		if len(found) == 0 {
			return tx.sealNext(ctx, 2*most)
		}
		s.Through, more = found[len(found)-1].at, true
	}
	var tree domain.Merkle
	leaves := make([]byte, 0, len(found)*leafSize)
	for _, r := range found {
		if r.entry {
			s.Entries++
		} else {
			s.Changes++
		}
		tree.Add(r.leaf)
		leaves = append(leaves, r.packed()...)
	}
	s.Root = tree.Root()
	s.Hash = s.Sum()
	const sql = `
		insert into seal (coop_id, number, after, through, entries, changes, root, previous, hash, leaves)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) returning ` + sealColumns
	made, err := one[domain.Seal](ctx, tx, sql, tx.coop, s.Number, s.After, s.Through, s.Entries, s.Changes, s.Root[:], s.Previous[:], s.Hash[:], leaves)
	return made.UTC(), more, err
}

// SealMet seals what has been recorded in the co-operatives that this program has met
// since it began. Nothing is recorded in one that it has not met; what another instance left unsealed
// waits until somebody asks for something of the co-operative here.
func (s *Store) SealMet(ctx context.Context) error {
	met := map[domain.CoopID]bool{}
	s.sites.Range(func(key, _ any) bool {
		met[key.(tokenKey).coop] = true
		return true
	})
	var failed []error
	for coop := range met {
		if _, err := s.Seal(ctx, coop); err != nil {
			failed = append(failed, fmt.Errorf("co-operative %s: %w", coop, err))
		}
	}
	return errors.Join(failed...)
}

// record is what a seal keeps of an entry or of a line of the audit trail.
type record struct {
	at    time.Time
	entry bool
	id    [16]byte
	leaf  domain.Hash
}

const leafSize = 1 + 16 + 32

func (r record) packed() []byte {
	kind := byte(0)
	if r.entry {
		kind = 1
	}
	return slices.Concat([]byte{kind}, r.id[:], r.leaf[:])
}

func unpacked(leaf []byte) (r record) {
	r.entry = leaf[0] == 1
	copy(r.id[:], leaf[1:])
	copy(r.leaf[:], leaf[17:])
	return r
}

func inOrder(a, b record) int {
	switch {
	case !a.at.Equal(b.at):
		return a.at.Compare(b.at)
	case a.entry != b.entry && b.entry:
		return -1
	case a.entry != b.entry:
		return 1
	}
	return slices.Compare(a.id[:], b.id[:])
}

// records reads what was recorded after one moment and through another, so many at most,
// in the order in which it is sealed.
func (tx *Tx) records(ctx context.Context, after *time.Time, through time.Time, most int) ([]record, error) {
	found, err := tx.texts(ctx, after, through, most)
	if err != nil {
		return nil, err
	}
	records := make([]record, len(found))
	for i, f := range found {
		records[i] = f.record
		records[i].leaf = domain.LeafHash(f.text)
	}
	return records, nil
}

// SealedTexts reads the texts of all that some seals are over, in their order: those that
// [domain.CheckSeals] takes.
func (tx *Tx) SealedTexts(ctx context.Context, seals []domain.Seal, each func(text []byte) error) error {
	if err := tx.forAll(); err != nil {
		return err
	}
	for _, s := range seals {
		found, err := tx.texts(ctx, s.After, s.Through, math.MaxInt32)
		if err != nil {
			return err
		}
		for _, f := range found {
			if err := each(f.text); err != nil {
				return err
			}
		}
	}
	return nil
}

// sealedText is a record with the text that is sealed of it.
type sealedText struct {
	record
	text []byte
}

func (tx *Tx) texts(ctx context.Context, after *time.Time, through time.Time, most int) ([]sealedText, error) {
	const entries = `
		select coop_id as coop, site_id as site, id, kind, occurred_on as "on", occurred_at as at, rank, batch_id as batch, to_batch_id as to_batch, product_id as product,
			unit_id as unit, party_id as party, owed, reverses_id as reverses, value, note, body, recorded_at, recorded_by, token_id as token, device
		from entry
		where coop_id = $1 and own_site(site_id) and recorded_at > $2 and recorded_at <= $3
		order by recorded_at, id limit $4`
	const changes = `
		select coop_id as coop, site_id as site, id, recorded_at, recorded_by, token_id as token, device, noun, subject, action, valid_from, before, after
		from audit
		where coop_id = $1 and own_site(site_id) and recorded_at > $2 and recorded_at <= $3
		order by recorded_at, id limit $4`
	// A moment that is worked out in SQL is not looked up in the index, but held against
	// every record from the first on.
	since := deref(after)
	var journal []domain.SealedEntry
	var trail []domain.SealedChange
	later(tx, &journal, entries, tx.coop, since, through, most)
	later(tx, &trail, changes, tx.coop, since, through, most)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	found := make([]sealedText, 0, len(journal)+len(trail))
	for i := range trail {
		text, err := trail[i].Record()
		if err != nil {
			return nil, err
		}
		found = append(found, sealedText{record{at: trail[i].RecordedAt, id: trail[i].ID}, text})
	}
	for i := range journal {
		text, err := journal[i].Record()
		if err != nil {
			return nil, err
		}
		found = append(found, sealedText{record{at: journal[i].RecordedAt, entry: true, id: journal[i].ID}, text})
	}
	slices.SortFunc(found, func(a, b sealedText) int { return inOrder(a.record, b.record) })
	return found[:min(len(found), most)], nil
}

// Seals lists the seals behind a number, and reports whether there are more.
func (tx *Tx) Seals(ctx context.Context, after int64, limit int) ([]domain.Seal, bool, error) {
	const sql = `select ` + sealColumns + ` from seal where coop_id = $1 and number > $2 order by number limit $3`
	found, err := all[domain.Seal](ctx, tx, sql, tx.coop, after, limit+1)
	for i := range found {
		found[i] = found[i].UTC()
	}
	return found[:min(len(found), limit)], len(found) > limit, err
}

// SealByNumber returns a seal.
func (tx *Tx) SealByNumber(ctx context.Context, number int64) (domain.Seal, error) {
	found, err := all[domain.Seal](ctx, tx, `select `+sealColumns+` from seal where coop_id = $1 and number = $2`, tx.coop, number)
	if err == nil && len(found) == 0 {
		err = domain.Missing("seal")
	}
	if err != nil {
		return domain.Seal{}, err
	}
	return found[0].UTC(), nil
}
