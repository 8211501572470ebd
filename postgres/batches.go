package postgres

import (
	"context"

	"shoalbook/domain"
)

// Whereabouts is what has become of a batch by its last entry.
type Whereabouts struct {
	Unit   domain.UnitID
	Closed bool // no fish is left
}

// Whereabouts returns what has become of batches. One without entries is not among
// them: it is where the registry says, and growing.
func (tx *Tx) Whereabouts(ctx context.Context, ids []domain.BatchID) (map[domain.BatchID]Whereabouts, error) {
	const sql = `
		select batch_id, unit, closed_on is not null as closed from batch_sum
		where coop_id = $1 and own_site(site_id) and batch_id = any($2)`
	type row struct {
		BatchID domain.BatchID
		Whereabouts
	}
	found, err := all[row](ctx, tx, sql, tx.coop, ids)
	if err != nil {
		return nil, err
	}
	now := make(map[domain.BatchID]Whereabouts, len(found))
	for _, r := range found {
		now[r.BatchID] = r.Whereabouts
	}
	return now, nil
}
