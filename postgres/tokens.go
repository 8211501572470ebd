package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// CreateCoop adds a co-operative, for a command of the operator.
func (s *Store) CreateCoop(ctx context.Context, facts domain.Coop) (made domain.Coop, err error) {
	err = s.Operate(ctx, facts.ID, func(tx *Tx) error {
		made, err = Coops.Create(ctx, tx, facts)
		return err
	})
	return made, err
}

// CreateToken adds a token of a co-operative by its hash, for a command of the operator.
func (s *Store) CreateToken(ctx context.Context, coop domain.CoopID, facts domain.TokenFacts, hash [32]byte) (made domain.TokenFacts, err error) {
	err = s.Operate(ctx, coop, func(tx *Tx) error {
		made, err = tx.CreateToken(ctx, facts, hash)
		return err
	})
	return made, err
}

const tokenColumns = `id, name, role, sites, created_at, expires_at, revoked_at`

// CreateToken adds a token by its hash.
func (tx *Tx) CreateToken(ctx context.Context, facts domain.TokenFacts, hash [32]byte) (domain.TokenFacts, error) {
	if err := facts.Check(); err != nil {
		return facts, err
	}
	type count struct{ Coops, Sites int }
	const sql = `select
		(select count(*) from coop where coop_id = $1) as coops,
		(select count(*) from site where coop_id = $1 and id = any($2)) as sites`
	known, err := one[count](ctx, tx, sql, tx.coop, facts.Sites)
	switch {
	case err != nil:
		return facts, err
	case known.Coops == 0:
		return facts, domain.Missing("co-operative")
	case known.Sites != len(facts.Sites):
		refusal := unknown("site", "/sites")
		return facts, &refusal
	}
	const insert = `
		insert into token (coop_id, id, name, role, sites, hash, expires_at) values ($1, $2, $3, $4, $5, $6, $7)
		returning ` + tokenColumns
	return one[domain.TokenFacts](ctx, tx, insert, tx.coop, facts.ID, facts.Name, facts.Role, facts.Sites, hash[:], facts.ExpiresAt)
}

// Tokens returns all tokens there have been, by id.
func (tx *Tx) Tokens(ctx context.Context) ([]domain.TokenFacts, error) {
	return all[domain.TokenFacts](ctx, tx, `select `+tokenColumns+` from token where coop_id = $1 order by id`, tx.coop)
}

// RevokeToken makes a token useless from now on.
func (tx *Tx) RevokeToken(ctx context.Context, id domain.TokenID) error {
	const sql = `
		update token set revoked_at = coalesce(revoked_at, now()) where coop_id = $1 and id = $2
		returning ` + tokenColumns
	_, err := one[domain.TokenFacts](ctx, tx, sql, tx.coop, id)
	if errors.Is(err, pgx.ErrNoRows) {
		return domain.Missing("token")
	}
	return err
}
