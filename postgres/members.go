package postgres

import (
	"context"

	"shoalbook/domain"
)

// Members has the people of the co-operative.
var Members = Noun[domain.Member, domain.MemberID]{
	name:   "member",
	forAll: true,
	plain:  []string{"name", "role", "sites", "phone", "archived"},
	id:     func(f *domain.Member) domain.MemberID { return f.ID },
	pack: func(f *domain.Member) []any {
		return []any{f.Name, f.Role, f.Sites, f.Phone, f.Archived}
	},
	check: (*domain.Member).Check,
	admit: func(ctx context.Context, tx *Tx, _, is *domain.Member) error { return tx.knowsSites(ctx, is.Sites) },
	// Nobody keeps what was taken away: tokens that go beyond what the member may do
	// from now on end with the same transaction.
	follow: func(ctx context.Context, tx *Tx, _, is *domain.Member, _ domain.Date) error {
		const sql = `
			update token set revoked_at = now()
			where coop_id = $1 and own_site(null) and member_id = $2 and revoked_at is null
			and ($3 or role <> $4 and $4 <> 'coordinator' or $5::uuid[] is not null and (sites is null or not sites <@ $5))`
		tx.queue(sql, tx.coop, is.ID, is.Archived, is.Role, is.Sites)
		return nil
	},
}

// knowsSites refuses a list of sites of which one is not there.
func (tx *Tx) knowsSites(ctx context.Context, sites []domain.SiteID) error {
	if sites == nil {
		return nil
	}
	type count struct{ Known int }
	found, err := one[count](ctx, tx, `select count(*) as known from site where coop_id = $1 and own_site(id) and id = any($2)`, tx.coop, sites)
	if err == nil && found.Known != len(sites) {
		refusal := unknown("site", "/sites")
		return &refusal
	}
	return err
}
