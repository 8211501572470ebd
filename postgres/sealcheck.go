package postgres

import (
	"context"
	"fmt"
	"math"
	"slices"

	"shoalbook/domain"
)

// SealFault says that something is not as it was sealed.
type SealFault struct {
	Seal  int64 // its number
	Entry *domain.EntryID
	Line  *LineID // of the audit trail; both nil: it is the seal itself
	What  string  // what is wrong, in words
}

// String returns the fault in one line.
func (f SealFault) String() string {
	switch {
	case f.Entry != nil:
		return fmt.Sprintf("seal %d: the entry %s %s", f.Seal, *f.Entry, f.What)
	case f.Line != nil:
		return fmt.Sprintf("seal %d: the line %s of the audit trail %s", f.Seal, *f.Line, f.What)
	}
	return f.What
}

// VerifySeals holds the journal and the audit trail against the seals, the seals against
// each other, and against those that somebody has kept outside the database: it finds
// each record that was removed, changed or added behind a seal. Whoever can write all
// tables can also make all seals anew: only kept ones show that.
func (tx *Tx) VerifySeals(ctx context.Context, kept []domain.Seal) ([]SealFault, error) {
	if err := tx.forAll(); err != nil {
		return nil, err
	}
	seals, _, err := tx.Seals(ctx, 0, math.MaxInt32-1)
	if err != nil {
		return nil, err
	}
	faults := outside(seals, kept)
	var last *domain.Seal
	for i := range seals {
		s := &seals[i]
		for _, what := range s.Follows(last) {
			faults = append(faults, SealFault{Seal: s.Number, What: what})
		}
		last = s
		found, err := tx.verifySeal(ctx, s)
		if err != nil {
			return nil, err
		}
		faults = append(faults, found...)
	}
	return faults, nil
}

// outside holds the seals that are there against those that were kept.
func outside(seals, kept []domain.Seal) (faults []SealFault) {
	for _, k := range kept {
		i := slices.IndexFunc(seals, func(s domain.Seal) bool { return s.Number == k.Number })
		what := ""
		switch {
		case k.Sum() != k.Hash:
			what = fmt.Sprintf("seal %d: what was kept of it has the hash %s, not %s: the copy itself was changed", k.Number, k.Sum(), k.Hash)
		case i < 0:
			what = fmt.Sprintf("seal %d was kept, and is missing here", k.Number)
		case seals[i].Hash != k.Hash:
			what = fmt.Sprintf("seal %d is another one than was kept: its hash is %s, kept was %s", k.Number, seals[i].Hash, k.Hash)
		default:
			continue
		}
		faults = append(faults, SealFault{Seal: k.Number, What: what})
	}
	return faults
}

// recordKey names a record.
type recordKey struct {
	entry bool
	id    [16]byte
}

// verifySeal holds the records of a seal against the hashes that it keeps of each.
func (tx *Tx) verifySeal(ctx context.Context, s *domain.Seal) (faults []SealFault, err error) {
	packed, err := one[struct{ Leaves []byte }](ctx, tx, `select leaves from seal where coop_id = $1 and number = $2`, tx.coop, s.Number)
	if err != nil {
		return nil, err
	}
	was := map[recordKey]domain.Hash{}
	var order []recordKey
	var tree domain.Merkle
	for leaf := range slices.Chunk(packed.Leaves, leafSize) {
		r := unpacked(leaf)
		key := recordKey{r.entry, r.id}
		was[key], order = r.leaf, append(order, key)
		tree.Add(r.leaf)
	}
	if root := tree.Root(); root != s.Root {
		faults = append(faults, SealFault{Seal: s.Number, What: fmt.Sprintf("seal %d: the hashes kept of its records make the root %s, not %s: they are not to be trusted", s.Number, root, s.Root)})
	}
	found, err := tx.records(ctx, s.After, s.Through, math.MaxInt32)
	if err != nil {
		return nil, err
	}
	for _, r := range found {
		key := recordKey{r.entry, r.id}
		leaf, sealed := was[key]
		delete(was, key)
		switch {
		case !sealed:
			faults = append(faults, key.fault(s, "was added behind the seal"))
		case leaf != r.leaf:
			faults = append(faults, key.fault(s, "was changed after it was sealed"))
		}
	}
	elsewhere, err := tx.elsewhere(ctx, was)
	if err != nil {
		return nil, err
	}
	for _, key := range order {
		switch _, missing := was[key]; {
		case missing && elsewhere[key]:
			faults = append(faults, key.fault(s, "was changed after it was sealed: the time at which it was recorded is another one"))
		case missing:
			faults = append(faults, key.fault(s, "was removed after it was sealed"))
		}
	}
	return faults, nil
}

func (k recordKey) fault(s *domain.Seal, what string) SealFault {
	f := SealFault{Seal: s.Number, What: what}
	if id := domain.EntryID(k.id); k.entry {
		f.Entry = &id
	} else {
		line := LineID(k.id)
		f.Line = &line
	}
	return f
}

// elsewhere returns which of some records are there, whenever they were recorded.
func (tx *Tx) elsewhere(ctx context.Context, records map[recordKey]domain.Hash) (map[recordKey]bool, error) {
	if len(records) == 0 {
		return nil, nil
	}
	var entries, lines [][16]byte
	for k := range records {
		if k.entry {
			entries = append(entries, k.id)
		} else {
			lines = append(lines, k.id)
		}
	}
	type row struct{ ID [16]byte }
	var inJournal, inTrail []row
	later(tx, &inJournal, `select id from entry where coop_id = $1 and own_site(site_id) and id = any($2)`, tx.coop, entries)
	later(tx, &inTrail, `select id from audit where coop_id = $1 and own_site(site_id) and id = any($2)`, tx.coop, lines)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	there := map[recordKey]bool{}
	for _, r := range inJournal {
		there[recordKey{true, r.ID}] = true
	}
	for _, r := range inTrail {
		there[recordKey{false, r.ID}] = true
	}
	return there, nil
}
