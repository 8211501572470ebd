package postgres

import (
	"context"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"shoalbook/domain"
)

// Pool is for tests that look at a connection behind the doors.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Violations are the constraints whose breach has a meaning to callers.
func Violations() []string {
	var names []string
	for name := range violations {
		names = append(names, name)
	}
	return names
}

// Query runs any statement inside a transaction and returns the first column of its rows.
func Query[T any](ctx context.Context, tx *Tx, sql string, args ...any) ([]T, error) {
	var found []T
	tx.queue(sql, args...).Query(func(rows pgx.Rows) (err error) {
		found, err = pgx.CollectRows(rows, pgx.RowTo[T])
		return err
	})
	return found, tx.flush(ctx)
}

// Queue queues any statement.
func Queue(tx *Tx, sql string, args ...any) { tx.queue(sql, args...) }

// Dated are the columns of each noun that figures of the past depend on.
func Dated() map[string][]string {
	return map[string][]string{
		Coops.name: Coops.dated, Sites.name: Sites.dated, Units.name: Units.dated, Loops.name: Loops.dated, Parties.name: Parties.dated,
		Factors.name: Factors.dated, Products.name: Products.dated, Equipment.name: Equipment.dated, Batches.name: Batches.dated, Members.name: Members.dated,
	}
}

// Forget forgets which tokens were used, as a new day does.
func (s *Store) Forget() { s.used.Clear() }

// StateColumns are the columns of a derived table that are written from a state.
func StateColumns(table string) []string {
	columns := map[string]string{"batch_day": batchColumns, "batch_sum": batchColumns, "store_day": storeColumns, "unit_day": unitColumns, "site_day": siteColumns}[table]
	return strings.FieldsFunc(columns, func(r rune) bool { return strings.ContainsRune(", \n\t", r) })
}

// AdviceFields are the fields of the state of a batch that advice is drawn from, in
// lower case.
func AdviceFields() []string {
	return strings.Fields(strings.NewReplacer(",", " ", "_", "").Replace(adviceColumns))
}

// All runs a query and returns its rows as structs.
func All[T any](ctx context.Context, tx *Tx, sql string, args ...any) ([]T, error) {
	return all[T](ctx, tx, sql, args...)
}

// AllByDriver is [All] as the driver reads structs.
func AllByDriver[T any](ctx context.Context, tx *Tx, sql string) ([]T, error) {
	var found []T
	tx.queue(sql).Query(func(rows pgx.Rows) (err error) {
		found, err = pgx.CollectRows(rows, pgx.RowToStructByName[T])
		return err
	})
	return found, tx.flush(ctx)
}

// SealNext seals so many records at most.
func (tx *Tx) SealNext(ctx context.Context, most int) (domain.Seal, bool, error) {
	return tx.sealNext(ctx, most)
}

// JournalKnown returns the entries of a site that stood by what was known at a moment, with
// the facts that they are folded by.
func (tx *Tx) JournalKnown(ctx context.Context, site domain.SiteID, known time.Time, until domain.Date) ([]domain.Entry, domain.Facts, error) {
	entries, facts, err := tx.journalKnown(ctx, site, known, until)
	return entries, facts.facts(), err
}
