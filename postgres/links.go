package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

const linkColumns = `id, report_id as report, name, expires_at, revoked_at, created_at`

// Links lists the links to a report, in the order of their ids.
func (tx *Tx) Links(ctx context.Context, report domain.ReportID) ([]domain.ReportLink, error) {
	if _, err := Reports.Get(ctx, tx, report); err != nil {
		return nil, err
	}
	return all[domain.ReportLink](ctx, tx, `select `+linkColumns+` from report_link where coop_id = $1 and own_site(null) and report_id = $2 order by id`, tx.coop, report)
}

// ShareReport adds a link to an issued report, by the hash of its secret.
func (tx *Tx) ShareReport(ctx context.Context, l domain.ReportLink, hash [32]byte) (domain.ReportLink, error) {
	r, err := Reports.Get(ctx, tx, l.Report)
	if err != nil {
		return l, err
	}
	if r.State == domain.ReportDraft {
		return l, domain.Errorf(domain.Conflict, "report_draft", "a draft is shown to nobody else: issue the report first")
	}
	actor, err := tx.Actor(ctx)
	if err != nil {
		return l, err
	}
	if !l.ExpiresAt.After(actor.At) {
		return l, &domain.Error{Kind: domain.Refused, Code: "not_over", Detail: "a link that has expired already is of no use",
			Fields: []domain.FieldError{{Pointer: "/expires_at", Detail: "must be in the future"}}}
	}
	const sql = `
		insert into report_link (coop_id, id, report_id, name, hash, expires_at)
		select $1, $2, $3, $4, $5, $6 where own_site(null)
		returning ` + linkColumns
	return one[domain.ReportLink](ctx, tx, sql, tx.coop, l.ID, l.Report, l.Name, hash[:], l.ExpiresAt)
}

// RevokeLink ends a link.
func (tx *Tx) RevokeLink(ctx context.Context, id domain.LinkID) error {
	const sql = `
		update report_link set revoked_at = coalesce(revoked_at, now())
		where coop_id = $1 and own_site(null) and id = $2 returning id`
	found, err := all[struct{ ID domain.LinkID }](ctx, tx, sql, tx.coop, id)
	if err == nil && len(found) == 0 {
		return domain.Missing("link")
	}
	return err
}

// Shared reads the one report that a link is for, in a form, while the link holds. There
// is no token: the transaction is inside the co-operative that the link names, and this
// is all that it does.
func (s *Store) Shared(ctx context.Context, coop domain.CoopID, hash [32]byte, format string) (c ReportCopy, err error) {
	const sql = `
		select c.format, c.media_type, c.content, c.sha256 from report_link l
		join report_copy c on c.coop_id = l.coop_id and own_site(null) and c.report_id = l.report_id and c.format = $3
		where l.coop_id = $1 and own_site(null) and l.hash = $2 and l.revoked_at is null and l.expires_at > now()`
	err = s.transact(ctx, `begin isolation level repeatable read, read only`, func(tx *Tx) { tx.enterByLink(coop) }, func(tx *Tx) error {
		found, err := all[ReportCopy](ctx, tx, sql, coop, hash[:], format)
		if err != nil {
			return err
		}
		if len(found) == 0 {
			return domain.Missing("report, or the link to it does not hold any more")
		}
		c = found[0]
		return nil
	})
	return c, err
}

// enterByLink enters a co-operative for somebody who shows a link, in a transaction that
// only reads.
func (tx *Tx) enterByLink(coop domain.CoopID) {
	tx.coop, tx.known, tx.roles = coop, true, domain.Roles
	tx.actor = Actor{Name: "a link", Role: domain.Funder}
	const settings = `select set_config('app.coop', $1, true), set_config('app.sites', '*', true),
		set_config('app.token', '', true), set_config('app.actor', '', true), set_config('app.device', '', true)`
	tx.queue(settings, coop.String()).QueryRow(func(row pgx.Row) error {
		tx.entered = true
		var ignored string
		return row.Scan(&ignored, &ignored, &ignored, &ignored, &ignored)
	})
}
