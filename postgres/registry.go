package postgres

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"shoalbook/domain"
)

// Noun is one kind of thing in the registry: T is its facts, K its id. Every noun
// has a table of its own with the latest facts; every change also appends them to
// the table revision. A column unit_id is the field Unit of T.
type Noun[T any, K ~[16]byte] struct {
	name   string                                                                // of the noun and of its table
	called string                                                                // what people call it, if that is another word
	site   string                                                                // column of the site it is at; none: it belongs to the whole co-operative
	forAll bool                                                                  // only tokens of all sites see it
	booked bool                                                                  // reports depend on it as it was known at a moment
	fixed  []string                                                              // columns that never change
	plain  []string                                                              // columns whose past does not matter
	dated  []string                                                              // columns that figures of the past depend on
	id     func(*T) K                                                            //
	pack   func(*T) []any                                                        // values of the fixed, plain and dated columns
	check  func(*T) error                                                        // what can be judged of the facts on their own
	admit  func(ctx context.Context, tx *Tx, was, is *T) error                   // what takes a look around; was is nil for a new thing
	follow func(ctx context.Context, tx *Tx, was, is *T, from domain.Date) error // what must change with it; from is for what is dated
}

// Filter says which things to list: those after an id, in the order of ids.
type Filter[K any] struct {
	After    *K
	Limit    int
	Archived *bool           // nil: both
	Site     *domain.SiteID  // nil: all
	Round    *domain.RoundID // of what belongs to one; nil: all
}

// Get returns a thing as it is now.
func (n *Noun[T, K]) Get(ctx context.Context, tx *Tx, id K) (T, error) {
	return n.read(ctx, tx, id, "")
}

// Hold is Get that keeps others from changing the thing until the transaction ends.
func (n *Noun[T, K]) Hold(ctx context.Context, tx *Tx, id K) (T, error) {
	return n.read(ctx, tx, id, "for no key update")
}

func (n *Noun[T, K]) read(ctx context.Context, tx *Tx, id K, locking string) (T, error) {
	sql := fmt.Sprintf(`select %s from %s n where n.coop_id = $1 and %s and n.id = $2 %s`, n.columns("n", "n"), n.name, n.own("n"), locking)
	found, err := one[T](ctx, tx, sql, tx.coop, id)
	if errors.Is(err, pgx.ErrNoRows) {
		return found, n.Missing()
	}
	return found, err
}

// Missing is the answer to a request for one that is not there.
func (n *Noun[T, K]) Missing() error { return domain.Missing(cmp.Or(n.called, n.name)) }

// List returns things as they are now, and whether there are more after them.
func (n *Noun[T, K]) List(ctx context.Context, tx *Tx, f Filter[K]) (found []T, more bool, err error) {
	w := where(`n.coop_id = $`, tx.coop)
	if f.After != nil {
		w.and(`n.id > $`, *f.After)
	}
	if f.Archived != nil {
		w.and(`n.archived = $`, *f.Archived)
	}
	if f.Site != nil && n.site != "" {
		w.and(`n.`+n.site+` = $`, *f.Site)
	}
	if f.Round != nil {
		w.and(`n.round_id = $`, *f.Round)
	}
	sql := fmt.Sprintf(`select %s from %s n where %s and %s order by n.id limit %s`, n.columns("n", "n"), n.name, w, n.own("n"), w.arg(f.Limit+1))
	found, err = all[T](ctx, tx, sql, w.args...)
	if len(found) > f.Limit {
		return found[:f.Limit], true, err
	}
	return found, false, err
}

// Create adds a thing. Its first facts hold since ever.
func (n *Noun[T, K]) Create(ctx context.Context, tx *Tx, facts T) (T, error) {
	made, ok, err := n.create(ctx, tx, facts)
	if err == nil && !ok {
		conflict := violations[n.name+"_pk"]
		return made, &conflict
	}
	return made, err
}

// create is Create that reports an id in use instead of refusing it.
func (n *Noun[T, K]) create(ctx context.Context, tx *Tx, facts T) (made T, ok bool, err error) {
	if n.site == "" || n.site == "id" {
		if err := tx.forAll(); err != nil {
			return made, false, err
		}
	}
	if err := n.check(&facts); err != nil {
		return made, false, err
	}
	if n.admit != nil {
		if err := n.admit(ctx, tx, nil, &facts); err != nil {
			return made, false, err
		}
	}
	n.book(tx)
	columns := n.changing(true)
	sql := fmt.Sprintf(`
		with made as (
			insert into %[1]s (coop_id, id, %[2]s) values ($1, $2, %[3]s)
			on conflict on constraint %[1]s_pk do nothing
			returning *
		), revised as (
			insert into revision (coop_id, noun, id, version, site_id, facts)
			select coop_id, '%[1]s', id, version, %[4]s, to_jsonb(made) - 'coop_id' from made
		)
		select %[5]s from made n`,
		n.name, strings.Join(columns, ", "), n.ownValues(3, columns), n.siteColumn(), n.columns("n", "n"))
	made, err = one[T](ctx, tx, sql, append([]any{tx.coop, n.id(&facts)}, n.pack(&facts)...)...)
	if errors.Is(err, pgx.ErrNoRows) {
		return made, false, nil
	}
	return made, err == nil, err
}

// Revise changes a thing of which the caller has seen the given version. What is
// dated of it holds from a day, which defaults to today at the co-operative and
// must not be later; change is shown what held on that day. A change for the past
// ends where a later one begins. One that was given no day and leaves alone what is
// dated begins nothing, so that nothing ends there either.
func (n *Noun[T, K]) Revise(ctx context.Context, tx *Tx, id K, version int64, from *domain.Date, change func(*T) error) (T, error) {
	past := from != nil
	if n.site == "" && !n.forAll { // what is seen and may not be changed
		if err := tx.forAll(); err != nil {
			var none T
			return none, err
		}
	}
	from, err := n.validFrom(ctx, tx, from)
	if err != nil {
		var none T
		return none, err
	}
	was, err := n.lock(ctx, tx, id, version, from)
	if err != nil {
		return was, err
	}
	is := was
	if err := change(&is); err != nil {
		return was, err
	}
	if err := n.check(&is); err != nil {
		return was, err
	}
	for i, v := range n.pack(&is)[:len(n.fixed)] {
		if v != n.pack(&was)[i] {
			return was, fixedMember(n.fixed[i])
		}
	}
	if reflect.DeepEqual(n.pack(&was), n.pack(&is)) && !past {
		return was, nil
	}
	if n.admit != nil {
		if err := n.admit(ctx, tx, &was, &is); err != nil {
			return was, err
		}
	}
	since := "$3"
	if len(n.dated) > 0 && !past && reflect.DeepEqual(n.packDated(&was), n.packDated(&is)) {
		since = fmt.Sprintf(`(select max(valid_from) from revision r where coop_id = $1 and %s and noun = '%s' and id = $2 and valid_from <= $3)`, n.ownRevision("r"), n.name)
	}
	n.book(tx)
	columns := n.changing(false)
	sql := fmt.Sprintf(`
		with changed as (
			update %[1]s n set (%[2]s, version) = row (%[3]s, version + 1)
			where coop_id = $1 and %[7]s and id = $2
			returning *
		), revised as (
			insert into revision (coop_id, noun, id, version, site_id, valid_from, facts)
			select coop_id, '%[1]s', id, version, %[4]s, %[5]s, to_jsonb(changed) - 'coop_id' from changed
		)
		select %[6]s from changed n`,
		n.name, strings.Join(columns, ", "), strings.Join(placeholders(4, len(columns)), ", "), n.siteColumn(), since, n.columns("n", "n"), n.own("n"))
	is, err = one[T](ctx, tx, sql, append([]any{tx.coop, id, from}, n.pack(&is)[len(n.fixed):]...)...)
	if err == nil && n.follow != nil {
		err = n.follow(ctx, tx, &was, &is, deref(from))
	}
	if err != nil || !past {
		return is, err
	}
	return n.settle(ctx, tx, id)
}

// book keeps a report from being issued between the moment of a revision and its commit.
func (n *Noun[T, K]) book(tx *Tx) {
	if n.booked {
		tx.queue(`select pg_advisory_xact_lock_shared(hashtextextended($1::uuid::text, 0))`, tx.coop)
	}
}

// lock returns the thing to be changed, with its dated facts as of a day, and
// keeps others from changing it until the transaction ends.
func (n *Noun[T, K]) lock(ctx context.Context, tx *Tx, id K, version int64, on *domain.Date) (T, error) {
	sql, args := fmt.Sprintf(`select %s from %s n where n.coop_id = $1 and %s and n.id = $2 and n.version = $3 for no key update`,
		n.columns("n", "n"), n.name, n.own("n")), []any{tx.coop, id, version}
	if len(n.dated) > 0 {
		sql = fmt.Sprintf(`
			select %[1]s
			from %[2]s n
			cross join lateral (
				select r.facts from revision r
				where r.coop_id = n.coop_id and %[4]s and r.noun = '%[2]s' and r.id = n.id
				and (r.valid_from is null or r.valid_from <= $4)
				order by r.valid_from desc nulls last, r.version desc
				limit 1) r
			cross join lateral jsonb_populate_record(n, r.facts) d
			where n.coop_id = $1 and %[3]s and n.id = $2 and n.version = $3
			for no key update of n`, n.columns("n", "d"), n.name, n.own("n"), n.ownRevision("r"))
		args = append(args, *on)
	}
	found, err := one[T](ctx, tx, sql, args...)
	if !errors.Is(err, pgx.ErrNoRows) {
		return found, err
	}
	if _, err := n.Get(ctx, tx, id); err != nil {
		return found, err
	}
	return found, domain.Errorf(domain.Precondition, "version_mismatch", "the %s has changed since you read it: read it again", cmp.Or(n.called, n.name))
}

// settle sets the dated columns to what holds now, after a change for the past.
func (n *Noun[T, K]) settle(ctx context.Context, tx *Tx, id K) (T, error) {
	sql := fmt.Sprintf(`
		update %[1]s n set (%[2]s) = (select %[3]s from jsonb_populate_record(n, r.facts) d)
		from (
			select facts from revision r
			where coop_id = $1 and %[6]s and noun = '%[1]s' and id = $2
			order by valid_from desc nulls last, version desc
			limit 1) r
		where n.coop_id = $1 and %[5]s and n.id = $2
		returning %[4]s`,
		n.name, strings.Join(n.dated, ", "), "d."+strings.Join(n.dated, ", d."), n.columns("n", "n"), n.own("n"), n.ownRevision("r"))
	return one[T](ctx, tx, sql, tx.coop, id)
}

func (n *Noun[T, K]) validFrom(ctx context.Context, tx *Tx, from *domain.Date) (*domain.Date, error) {
	if len(n.dated) == 0 {
		if from != nil {
			return nil, invalid("/valid_from", "the facts of a "+n.name+" hold at any time")
		}
		return nil, nil
	}
	actor, err := tx.Actor(ctx)
	if err != nil {
		return nil, err
	}
	today, err := today(actor.Zone, actor.At)
	switch {
	case err != nil:
		return nil, err
	case from == nil:
		return &today, nil
	case *from > today:
		return nil, &domain.Error{Kind: domain.Refused, Code: "in_future", Detail: "facts cannot hold from a day after today (" + today.String() + ")",
			Fields: []domain.FieldError{{Pointer: "/valid_from", Detail: "must not be after today"}}}
	}
	return from, nil
}

// History says whose revisions to return, as far as they were known at a time.
type History[K any] struct {
	IDs     []K            // nil: all
	Site    *domain.SiteID // nil: all
	KnownAt *time.Time     // nil: now
}

// Revisions returns what the registry knew, ordered by id, then by the day it holds
// from, then by version: of each thing a history for [domain.FactsOn].
func (n *Noun[T, K]) Revisions(ctx context.Context, tx *Tx, h History[K]) ([]domain.Revision[T], error) {
	w := where(`r.coop_id = $`, tx.coop)
	w.and(`r.noun = $`, n.name)
	if h.IDs != nil {
		w.and(`r.id = any($)`, h.IDs)
	}
	if h.Site != nil {
		w.and(`r.site_id = $`, *h.Site)
	}
	if h.KnownAt != nil {
		w.and(`r.recorded_at <= $`, *h.KnownAt)
	}
	// A column that is younger than the revision has the value it has now.
	sql := fmt.Sprintf(`
		select r.valid_from, r.recorded_at, r.recorded_by, %s
		from revision r
		join %s n on n.coop_id = r.coop_id and %s and n.id = r.id
		cross join lateral jsonb_populate_record(n, r.facts) d
		where %s and %s
		order by r.id, r.valid_from nulls first, r.version`, n.columns("d", "d"), n.name, n.own("n"), w, n.ownRevision("r"))
	var history []domain.Revision[T]
	tx.queue(sql, w.args...).Query(func(rows pgx.Rows) (err error) {
		history, err = pgx.CollectRows(rows, toRevision[T])
		return err
	})
	err := tx.flush(ctx)
	return history, err
}

// toRevision reads the facts by name, after the three columns that come first.
func toRevision[T any](row pgx.CollectableRow) (r domain.Revision[T], err error) {
	r.Facts, err = pgx.RowToStructByName[T](behind{row, []any{&r.ValidFrom, &r.RecordedAt, &r.RecordedBy}})
	return r, err
}

// behind is a row without its first columns, which are read into first.
type behind struct {
	pgx.CollectableRow
	first []any
}

func (b behind) FieldDescriptions() []pgconn.FieldDescription {
	return b.CollectableRow.FieldDescriptions()[len(b.first):]
}

func (b behind) Scan(targets ...any) error {
	return b.CollectableRow.Scan(append(b.first, targets...)...)
}

// columns lists what makes a T, the dated facts from a source of their own.
func (n *Noun[T, K]) columns(plain, dated string) string {
	list := []string{plain + ".id"}
	for _, c := range n.fixed {
		list = append(list, plain+"."+c+" as "+strings.TrimSuffix(c, "_id"))
	}
	for _, c := range n.plain {
		list = append(list, plain+"."+c+" as "+strings.TrimSuffix(c, "_id"))
	}
	for _, c := range n.dated {
		list = append(list, dated+"."+c+" as "+strings.TrimSuffix(c, "_id"))
	}
	return strings.Join(append(list, plain+".version", plain+".created_at"), ", ")
}

// changing lists the columns a caller may set, of a new thing or of one that is there.
func (n *Noun[T, K]) changing(fixed bool) []string {
	var list []string
	if fixed {
		list = append(list, n.fixed...)
	}
	return append(append(list, n.plain...), n.dated...)
}

// packDated returns the values of the dated columns.
func (n *Noun[T, K]) packDated(facts *T) []any { return n.pack(facts)[len(n.fixed)+len(n.plain):] }

// own is the condition that a row of the noun's table is for the token, see [bind].
func (n *Noun[T, K]) own(row string) string {
	switch {
	case n.forAll:
		return "own_site(null)"
	case n.site == "":
		return "true"
	}
	return "own_site(" + row + "." + n.site + ")"
}

// ownRevision is own for a row of the table revision.
func (n *Noun[T, K]) ownRevision(row string) string {
	if n.site == "" {
		return n.own(row)
	}
	return "own_site(" + row + ".site_id)"
}

// ownValues lists placeholders for the columns of a new row, whose site, if it is at
// one, is nothing unless it is one of the token's.
func (n *Noun[T, K]) ownValues(from int, columns []string) string {
	list := placeholders(from, len(columns))
	if i := slices.Index(columns, "site_id"); i >= 0 {
		list[i] = "case when own_site(" + list[i] + ") then " + list[i] + "::uuid end"
	}
	return strings.Join(list, ", ")
}

func (n *Noun[T, K]) siteColumn() string {
	if n.site == "" {
		return "null::uuid"
	}
	return n.site
}

func placeholders(from, n int) []string {
	list := make([]string, n)
	for i := range list {
		list[i] = fmt.Sprintf("$%d", from+i)
	}
	return list
}

func invalid(pointer, detail string) error {
	return &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Detail: "the request cannot be as it is written",
		Fields: []domain.FieldError{{Pointer: pointer, Detail: detail}}}
}

func fixedMember(column string) error { return invalid("/"+column, "cannot be changed") }

// conditions builds a where clause from the filters that are given, since a clause
// for all that could be given is planned slower.
type conditions struct {
	sql  strings.Builder
	args []any
}

// where begins with a condition; $ stands for its argument.
func where(sql string, arg any) *conditions {
	w := &conditions{}
	w.sql.WriteString(strings.Replace(sql, "$", w.arg(arg), 1))
	return w
}

func (w *conditions) and(sql string, arg any) {
	w.sql.WriteString(" and " + strings.Replace(sql, "$", w.arg(arg), 1))
}

// arg adds an argument and returns the placeholder for it.
func (w *conditions) arg(v any) string {
	w.args = append(w.args, v)
	return fmt.Sprintf("$%d", len(w.args))
}

func (w *conditions) String() string { return w.sql.String() }
