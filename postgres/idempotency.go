package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5/pgconn"

	"shoalbook/domain"
)

// Answer is what was said to a request, kept so that it can be said again.
type Answer struct {
	Status int
	Header map[string]string
	Body   []byte
}

// ClaimKey claims the key that a client chose for its request, before the work is
// done. It returns the answer instead, if the same request was answered before;
// a request that is being worked on is waited for. The key is given back if the
// transaction fails. Keys belong to the token; they are forgotten after a week.
func (tx *Tx) ClaimKey(ctx context.Context, key, path string, fingerprint [32]byte) (*Answer, error) {
	const forget = `delete from idempotency where coop_id = $1 and created_at < now() - interval '7 days'`
	const claim = `insert into idempotency (coop_id, key, path, fingerprint) values ($1, $2, $3, $4) on conflict do nothing`
	const read = `
		select path, fingerprint, status, header, body from idempotency
		where coop_id = $1 and token_id = current_token() and key = $2`
	type claimed struct {
		Path        string
		Fingerprint []byte
		Status      *int // nil: claimed just now, by this transaction
		Header      map[string]string
		Body        []byte
	}
	tx.queue(forget, tx.coop)
	tx.queue(claim, tx.coop, key, path, fingerprint[:])
	found, err := one[claimed](ctx, tx, read, tx.coop, key)
	switch {
	case err != nil:
		return nil, err
	case found.Path != path || [32]byte(found.Fingerprint) != fingerprint:
		return nil, domain.Refuse("idempotency_key_reused", "this Idempotency-Key was used for another request: choose a new one for each")
	case found.Status == nil:
		return nil, nil
	}
	return &Answer{Status: *found.Status, Header: found.Header, Body: found.Body}, nil
}

// StoreAnswer keeps the answer under a key claimed in the same transaction.
func (tx *Tx) StoreAnswer(key string, a Answer) error {
	if a.Status == 0 {
		return errors.New("an answer without a status")
	}
	const sql = `
		update idempotency set status = $3, header = $4, body = $5
		where coop_id = $1 and token_id = current_token() and key = $2`
	tx.queue(sql, tx.coop, key, a.Status, a.Header, a.Body).Exec(func(tag pgconn.CommandTag) error {
		if tag.RowsAffected() != 1 {
			return errors.New("an answer to a request whose key was not claimed")
		}
		return nil
	})
	return nil
}
