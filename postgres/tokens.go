package postgres

import (
	"cmp"
	"context"
	"errors"
	"time"

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

const tokenColumns = `id, member_id as member, name, role, sites, created_at, expires_at, last_used_on, revoked_at`

// IssueToken adds a token by its hash, for a person of the co-operative or for a
// device that belongs to none. It can do no more than the person.
func (tx *Tx) IssueToken(ctx context.Context, facts domain.TokenFacts, hash [32]byte) (domain.TokenFacts, error) {
	if err := tx.forAll(); err != nil {
		return facts, err
	}
	actor, err := tx.Actor(ctx)
	if err != nil {
		return facts, err
	}
	var to *domain.Member
	if facts.Member != nil {
		// Shared, so that who archives the member waits and finds the token.
		member, err := Members.read(ctx, tx, *facts.Member, "for share")
		if missing, ok := errors.AsType[*domain.Error](err); ok && missing.Kind == domain.NotFound {
			refusal := unknown("member", "/member_id")
			return facts, &refusal
		}
		if err != nil {
			return facts, err
		}
		to = &member
	}
	if err := facts.Issue(to, actor.At); err != nil {
		return facts, err
	}
	return tx.CreateToken(ctx, facts, hash)
}

// CreateToken adds a token by its hash.
func (tx *Tx) CreateToken(ctx context.Context, facts domain.TokenFacts, hash [32]byte) (domain.TokenFacts, error) {
	if err := cmp.Or(tx.forAll(), facts.Check()); err != nil {
		return facts, err
	}
	actor, err := tx.Actor(ctx)
	switch {
	case err != nil:
		return facts, err
	case actor.Currency == "": // what a command of the operator names need not be there
		return facts, domain.Missing("co-operative")
	}
	if err := tx.knowsSites(ctx, facts.Sites); err != nil {
		return facts, err
	}
	const insert = `
		insert into token (coop_id, id, member_id, name, role, sites, hash, expires_at) values ($1, case when own_site(null) then $2::uuid end, $3, $4, $5, $6, $7, $8)
		returning ` + tokenColumns
	return one[domain.TokenFacts](ctx, tx, insert, tx.coop, facts.ID, facts.Member, facts.Name, facts.Role, facts.Sites, hash[:], facts.ExpiresAt)
}

// Tokens lists the tokens there have been, by id, and reports whether there are more.
// Who is bound to some sites sees but the token that is shown.
func (tx *Tx) Tokens(ctx context.Context, after *domain.TokenID, limit int) ([]domain.TokenFacts, bool, error) {
	const sql = `
		select ` + tokenColumns + ` from token
		where coop_id = $1 and ($2::uuid is null or id > $2) and (own_site(null) or id = current_token())
		order by id limit $3`
	found, err := all[domain.TokenFacts](ctx, tx, sql, tx.coop, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}

// RevokeToken makes a token useless from now on. One that is revoked stays so.
func (tx *Tx) RevokeToken(ctx context.Context, id domain.TokenID) error {
	if err := tx.forAll(); err != nil {
		return err
	}
	const sql = `
		update token set revoked_at = coalesce(revoked_at, now()) where coop_id = $1 and own_site(null) and id = $2
		returning ` + tokenColumns
	_, err := one[domain.TokenFacts](ctx, tx, sql, tx.coop, id)
	if errors.Is(err, pgx.ErrNoRows) {
		return domain.Missing("token")
	}
	return err
}

// noteUse remembers on which day a token was last used, once a day and beside the
// work: nobody waits for it, and that it fails is made good by the next request.
func (s *Store) noteUse(coop domain.CoopID, token domain.TokenID, day domain.Date) {
	if was, known := s.used.Swap(token, day); known && was == day {
		return
	}
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		err := s.Operate(ctx, coop, func(tx *Tx) error {
			tx.queue(`update token set last_used_on = $3 where coop_id = $1 and id = $2`, coop, token, day)
			return nil
		})
		if err != nil {
			s.used.Delete(token)
		}
	}()
}
