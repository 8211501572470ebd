package postgres

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// LineID identifies a line of the audit trail.
type LineID = domain.ID[Line]

// Line says that something was changed, or that an entry was recorded, which is a
// line by itself.
type Line struct {
	ID         LineID
	RecordedAt time.Time
	RecordedBy string
	TokenID    *domain.TokenID  // nil: a command of the operator
	MemberID   *domain.MemberID // whose token it is; nil: of no person in particular
	Device     *string
	SiteID     *domain.SiteID // nil: it belongs to the whole co-operative
	Noun       string         // coop, site, … as the tables are called
	Subject    domain.ID[any] // the id of what was changed
	Action     string         // created, changed, removed, recorded
	ValidFrom  *domain.Date   // from when the dated facts hold; nil: since ever, or it has none
	Kind       *string        // of the entry
	Before     []byte         // what was kept of it, by column; see [Noun.Said]
	After      []byte         // or the entry, as its sender would write it
}

// LineFilter chooses lines of the audit trail; what is nil chooses all.
type LineFilter struct {
	Site     *domain.SiteID
	Who      *domain.ID[any] // a token or a member
	Nouns    []string
	Kinds    []string   // of entries, and nothing but entries
	From, To *time.Time // recorded from the one until before the other
	AfterAt  *time.Time // with AfterID: only lines behind this one
	AfterID  LineID
	Limit    int
}

// Audit lists what was changed and recorded, by the time it was and by id, and
// reports whether there is more.
func (tx *Tx) Audit(ctx context.Context, f LineFilter) ([]Line, bool, error) {
	type row struct {
		Line
		OccurredOn *domain.Date
		OccurredAt *domain.Minute
		Note       *string
		Body       []byte
	}
	if !f.changes() && !f.entries() {
		return nil, false, nil
	}
	sql, args := f.query(tx.coop)
	rows, err := all[row](ctx, tx, sql, args...)
	if err != nil {
		return nil, false, err
	}
	lines := make([]Line, min(len(rows), f.Limit))
	for i := range lines {
		r := rows[i]
		lines[i] = r.Line
		if r.Kind != nil {
			lines[i].After = domain.JoinEntry(domain.EntryID(r.ID), *r.Kind, *r.SiteID, *r.OccurredOn, r.OccurredAt, *r.Note, r.Body)
		}
	}
	return lines, len(rows) > f.Limit, nil
}

// changes and entries report which of the two tables can have what is asked for.
func (f LineFilter) changes() bool { return f.Kinds == nil }
func (f LineFilter) entries() bool { return f.Nouns == nil || slices.Contains(f.Nouns, "entry") }

// query reads as many lines from each of the two tables as could be asked for, and of
// them the first.
func (f LineFilter) query(coop domain.CoopID) (string, []any) {
	w := where(`l.coop_id = $`, coop)
	if f.Site != nil {
		w.and(`l.site_id = $`, *f.Site)
	}
	if f.Who != nil {
		who := w.arg(*f.Who)
		w.sql.WriteString(` and l.token_id = any(array(select id from token where coop_id = $1 and member_id = ` + who + ` and (own_site(null) or id = current_token())) || ` + who + `::uuid)`)
	}
	if f.From != nil {
		w.and(`l.recorded_at >= $`, *f.From)
	}
	if f.To != nil {
		w.and(`l.recorded_at < $`, *f.To)
	}
	if f.AfterAt != nil {
		w.and(`l.recorded_at >= $`, *f.AfterAt)
		w.sql.WriteString(` and (l.recorded_at, l.id) > (` + w.arg(*f.AfterAt) + `, ` + w.arg(f.AfterID) + `)`)
	}
	first := `order by l.recorded_at, l.id limit ` + w.arg(f.Limit+1)
	var parts []string
	if f.changes() {
		of := ``
		if f.Nouns != nil {
			of = ` and l.noun = any(` + w.arg(f.Nouns) + `)`
		}
		parts = append(parts, fmt.Sprintf(`(
			select coop_id, id, recorded_at, recorded_by, token_id, device, site_id, noun, subject, action, valid_from, null::text as kind, before, after,
				null::date as occurred_on, null::smallint as occurred_at, null::text as note, null::jsonb as body
			from audit l where %s and own_site(l.site_id)%s %s)`, w, of, first))
	}
	if f.entries() {
		of := ``
		if f.Kinds != nil {
			of = ` and l.kind = any(` + w.arg(f.Kinds) + `)`
		}
		parts = append(parts, fmt.Sprintf(`(
			select coop_id, id, recorded_at, recorded_by, token_id, device, site_id, 'entry' as noun, id as subject, 'recorded' as action, null::date as valid_from, kind, null::jsonb as before, null::jsonb as after,
				occurred_on, occurred_at, note, body
			from entry l where %s and own_site(l.site_id)%s %s)`, w, of, first))
	}
	return fmt.Sprintf(`
		select l.id, l.recorded_at, l.recorded_by, l.token_id, t.member_id, l.device, l.site_id, l.noun, l.subject, l.action, l.valid_from,
			l.kind, l.before, l.after, l.occurred_on, l.occurred_at, l.note, l.body
		from (%s) l
		left join token t on t.coop_id = l.coop_id and t.id = l.token_id and (own_site(null) or t.id = current_token())
		%s`, strings.Join(parts, ` union all `), first), w.args
}

// Said is what a line of the audit trail says of a thing, before the change or after.
type Said[T any] struct {
	Line  LineID
	After bool
	Facts T
}

// Said returns what lines of the audit trail say of things of this noun.
func (n *Noun[T, K]) Said(ctx context.Context, tx *Tx, lines []LineID) ([]Said[T], error) {
	return said[T](ctx, tx, n.name, n.own("n"), n.columns("d", "d"), lines)
}

// SaidOfTokens returns what lines of the audit trail say of tokens. When they were
// last used is not in it.
func (tx *Tx) SaidOfTokens(ctx context.Context, lines []LineID) ([]Said[domain.TokenFacts], error) {
	columns := strings.Replace(`d.`+strings.ReplaceAll(tokenColumns, `, `, `, d.`), `d.last_used_on`, `null::date as last_used_on`, 1)
	return said[domain.TokenFacts](ctx, tx, "token", `(own_site(null) or n.id = current_token())`, columns, lines)
}

// SaidOfLinks returns what lines of the audit trail say of links to reports.
func (tx *Tx) SaidOfLinks(ctx context.Context, lines []LineID) ([]Said[domain.ReportLink], error) {
	return said[domain.ReportLink](ctx, tx, "report_link", `own_site(null)`, `d.`+strings.ReplaceAll(linkColumns, `, `, `, d.`), lines)
}

// said reads the facts from the columns as they were kept. A column that is younger
// than the line has the value it has now.
func said[T any](ctx context.Context, tx *Tx, noun, own, columns string, lines []LineID) (found []Said[T], err error) {
	if len(lines) == 0 {
		return nil, nil
	}
	sql := fmt.Sprintf(`
		select a.id, s.later, %s
		from audit a
		join %s n on n.coop_id = a.coop_id and %s and n.id = a.subject
		cross join lateral (values (false, a.before), (true, a.after)) s (later, facts)
		cross join lateral jsonb_populate_record(n, s.facts) d
		where a.coop_id = $1 and own_site(a.site_id) and a.id = any($2) and s.facts is not null`, columns, noun, own)
	tx.queue(sql, tx.coop, lines).Query(func(rows pgx.Rows) (err error) {
		found, err = pgx.CollectRows(rows, toSaid[T])
		return err
	})
	err = tx.flush(ctx)
	return found, err
}

// toSaid reads the facts by name, after the two columns that come first.
func toSaid[T any](row pgx.CollectableRow) (s Said[T], err error) {
	s.Facts, err = pgx.RowToStructByName[T](behind{row, []any{&s.Line, &s.After}})
	return s, err
}
