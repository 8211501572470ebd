package postgres

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"shoalbook/domain"
)

// Credential is what a client showed: the co-operative its token names, and the
// hash of the token.
type Credential struct {
	Coop      domain.CoopID
	TokenHash [32]byte
	Roles     []domain.Role // those that may do what is to be done; none: nobody
	Device    string        // what the client calls the device it is on; may be empty
}

// Actor is who acts in a transaction, and what of the co-operative nearly every
// transaction needs to know.
type Actor struct {
	TokenID  domain.TokenID // zero: a command of the operator
	Name     string
	Role     domain.Role
	Sites    []domain.SiteID // nil: all
	Currency domain.Currency
	Zone     string    // of the co-operative
	At       time.Time // when the transaction began, by the database's clock
}

// Tx is a transaction inside one co-operative. It begins with its first round trip
// to the database: statements that are only queued travel with the next one that
// has to be waited for. It is used by one goroutine, and not after its function
// has returned.
type Tx struct {
	store   *Store
	coop    domain.CoopID
	sites   []domain.SiteID // what [ownSite] stands for; nil: all
	conn    *pgxpool.Conn
	batch   *pgx.Batch
	actor   Actor
	known   bool // whether sites are those of the token, which [Tx.enter] holds them against
	entered bool
	roles   []domain.Role // of which the actor must have one
	err     error         // the first failure; nothing works after it
	kept    []func()      // to be done once the transaction is kept
	careful bool          // look for what entries name before recording them, see [misnamed]
	settled *time.Time    // what is known was settled then, see [Store.Settle]
	sealing bool          // nobody else makes seals until the connection is given back
}

// The ways in which a transaction begins.
const (
	viewing  = `begin isolation level repeatable read, read only`
	updating = `begin isolation level read committed, read write`
	settling = `begin isolation level repeatable read, read write`
)

// View runs f with one unchanging picture of the data, which f cannot change. It
// may run f again, if the database asks for it.
func (s *Store) View(ctx context.Context, c Credential, f func(*Tx) error) error {
	return s.transact(ctx, viewing, func(tx *Tx) { tx.enter(c) }, f)
}

// Met reports whether a token held when it was last shown to this program.
func (s *Store) Met(c Credential) bool {
	_, ok := s.sites.Load(tokenKey{c.Coop, c.TokenHash})
	return ok
}

// Meet looks a token up. What is done with it afterwards asks again whether it holds.
func (s *Store) Meet(ctx context.Context, c Credential) error {
	c.Roles = domain.Roles
	return s.View(ctx, c, func(*Tx) error { return nil })
}

// Update runs f and keeps what it changed if f returns nil, and nothing of it
// otherwise. It may run f again, if the database asks for it, so f must not change
// what it finds outside.
func (s *Store) Update(ctx context.Context, c Credential, f func(*Tx) error) error {
	return s.transact(ctx, updating, func(tx *Tx) { tx.enter(c) }, f)
}

// Operate is Update for a command of the operator, who needs no token. It is under
// the same walls, inside the one co-operative that is named.
func (s *Store) Operate(ctx context.Context, coop domain.CoopID, f func(*Tx) error) error {
	return s.transact(ctx, updating, func(tx *Tx) { tx.enterAsOperator(coop) }, f)
}

// Inspect is View for a command of the operator.
func (s *Store) Inspect(ctx context.Context, coop domain.CoopID, f func(*Tx) error) error {
	return s.transact(ctx, viewing, func(tx *Tx) { tx.enterAsOperator(coop) }, f)
}

const attempts = 5

func (s *Store) transact(ctx context.Context, begin string, enter func(*Tx), f func(*Tx) error) error {
	careful := false
	for n := 1; ; n++ {
		err := s.attempt(ctx, begin, enter, func(tx *Tx) error {
			tx.careful = careful
			return f(tx)
		})
		careful = careful || misnamed(err)
		if err == nil || !passes(err) && !misnamed(err) && !errors.Is(err, errOtherSites) || n == attempts {
			return translate(err)
		}
		// Those who collided must not come back at the same moment.
		pause := time.Duration(1+rand.IntN(10<<n)) * time.Millisecond
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause):
		}
	}
}

func (s *Store) attempt(ctx context.Context, begin string, enter func(*Tx), f func(*Tx) error) (err error) {
	conn, err := s.acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	tx := &Tx{store: s, conn: conn, batch: &pgx.Batch{}}
	defer tx.unseal(ctx)
	done := false
	defer func() { // also when f panics
		if !done {
			tx.rollback(ctx)
		}
	}()
	tx.batch.Queue(begin)
	enter(tx)
	if begin == settling {
		if err := tx.settle(ctx); err != nil {
			return err
		}
	}
	if !tx.known {
		if err := tx.flush(ctx); err != nil {
			return err
		}
	}
	if err := f(tx); err != nil {
		if !tx.entered { // whoever may not ask is told that before anything else
			if denied := tx.flush(ctx); denied != nil {
				return denied
			}
		}
		return err
	}
	if !tx.entered { // nothing may be kept before it is known whose it is
		if err := tx.flush(ctx); err != nil {
			return err
		}
	}
	tx.queue(`commit`)
	if err := tx.flush(ctx); err != nil {
		return err
	}
	done = true
	for _, f := range tx.kept {
		f()
	}
	return nil
}

// rollback leaves the connection clean, also when the request is over. If it
// cannot, the pool throws the connection away.
func (tx *Tx) rollback(ctx context.Context) {
	conn := tx.conn.Conn()
	if conn.IsClosed() || conn.PgConn().TxStatus() == 'I' {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if _, err := conn.Exec(ctx, `rollback`); err != nil {
		conn.Close(ctx)
	}
}

// errOtherSites says that a token is for other sites than statements were queued for.
var errOtherSites = errors.New("the sites of a token have changed")

// enter queues the showing of the token. What is queued after it travels with it, so
// the sites of the token are remembered from an earlier transaction; only the first
// one with a token waits to be told them. That they are right is seen before anything
// of the transaction is used or kept.
func (tx *Tx) enter(c Credential) {
	tx.coop, tx.roles = c.Coop, c.Roles
	key := tokenKey{c.Coop, c.TokenHash}
	if sites, ok := tx.store.sites.Load(key); ok {
		tx.sites, tx.known = sites.([]domain.SiteID), true
	}
	const sql = `select token_id, name, role, sites, currency, zone, at, last_used_on from enter($1, $2, $3)`
	tx.queue(sql, c.Coop, c.TokenHash[:], c.Device).QueryRow(func(row pgx.Row) error {
		var token *domain.TokenID
		var name, role, currency, zone *string
		var at *time.Time
		var used *domain.Date
		if err := row.Scan(&token, &name, &role, &tx.actor.Sites, &currency, &zone, &at, &used); err != nil {
			return err
		}
		if token == nil { // the transaction is in no co-operative, where nothing is found
			tx.store.sites.Delete(key)
			tx.err = domain.Errorf(domain.Unauthenticated, "unauthenticated", "this token is not known, or no longer holds")
			return nil
		}
		tx.actor.TokenID, tx.actor.Name, tx.actor.Role = *token, *name, domain.Role(*role)
		tx.actor.Currency, tx.actor.Zone, tx.actor.At = domain.Currency(*currency), *zone, *at
		if !tx.known || !sameSites(tx.sites, tx.actor.Sites) {
			tx.store.sites.Store(key, tx.actor.Sites)
			if tx.known {
				tx.err = errOtherSites
				return nil
			}
			tx.sites, tx.known = tx.actor.Sites, true
		}
		tx.entered = true
		tx.store.currencies.LoadOrStore(tx.coop, tx.actor.Currency)
		if today := domain.DateOf(*at, time.UTC); used == nil || *used < today {
			tx.store.noteUse(tx.coop, *token, today)
		}
		return nil
	})
}

// tokenKey is a token of a co-operative, by its hash.
type tokenKey struct {
	coop domain.CoopID
	hash [32]byte
}

func (tx *Tx) enterAsOperator(coop domain.CoopID) {
	tx.coop, tx.known = coop, true
	const settings = `select set_config('app.coop', $1, true), set_config('app.sites', '*', true),
		set_config('app.token', '', true), set_config('app.actor', 'operator', true), set_config('app.device', '', true)`
	tx.queue(settings, coop.String())
	const facts = `select coalesce((select currency from coop where coop_id = $1), ''),
		coalesce((select zone from coop where coop_id = $1), ''), now()`
	tx.queue(facts, coop).QueryRow(func(row pgx.Row) error {
		tx.actor = Actor{Name: "operator", Role: domain.Coordinator}
		tx.roles = domain.Roles
		tx.entered = true
		return row.Scan(&tx.actor.Currency, &tx.actor.Zone, &tx.actor.At)
	})
}

// Actor returns who acts. It costs a round trip if it is asked for first.
func (tx *Tx) Actor(ctx context.Context) (Actor, error) {
	if !tx.entered {
		if err := tx.flush(ctx); err != nil {
			return Actor{}, err
		}
	}
	return tx.actor, nil
}

// Currency returns the co-operative's currency, without a round trip if this
// program has met the co-operative before: it never changes.
func (tx *Tx) Currency(ctx context.Context) (domain.Currency, error) {
	if c, ok := tx.store.currencies.Load(tx.coop); ok {
		return c.(domain.Currency), nil
	}
	actor, err := tx.Actor(ctx)
	return actor.Currency, err
}

// queue adds a statement that is sent with the next one that is waited for, or
// with the commit. The caller may set what reads its result. Every table of a site in
// it is bound by own_site, see [bind].
func (tx *Tx) queue(sql string, args ...any) *pgx.QueuedQuery {
	sql, args = bind(sql, args, tx.sites)
	return tx.batch.Queue(sql, args...)
}

// flush sends what is queued and waits for all of it.
func (tx *Tx) flush(ctx context.Context) error {
	if tx.err != nil {
		return tx.err
	}
	batch := tx.batch
	tx.batch = &pgx.Batch{}
	err := tx.conn.SendBatch(ctx, batch).Close()
	switch {
	case tx.err != nil: // turned away; whatever else went wrong is a consequence
	case err != nil:
		tx.err = err
	case !slices.Contains(tx.roles, tx.actor.Role):
		tx.err = domain.Errorf(domain.Forbidden, "forbidden", "a token of the role %s is not for that", tx.actor.Role)
	}
	return tx.err
}

// later queues a query whose rows are in into once the transaction was flushed.
func later[T any](tx *Tx, into *[]T, sql string, args ...any) {
	tx.queue(sql, args...).Query(func(rows pgx.Rows) error {
		found, err := rowsTo[T](rows, false)
		*into = found
		return err
	})
}

// all returns the rows of a query as structs, by the names of the columns.
func all[T any](ctx context.Context, tx *Tx, sql string, args ...any) ([]T, error) {
	var found []T
	later(tx, &found, sql, args...)
	err := tx.flush(ctx)
	return found, err
}

// one returns the only row of a query, or pgx.ErrNoRows.
func one[T any](ctx context.Context, tx *Tx, sql string, args ...any) (T, error) {
	found, err := all[T](ctx, tx, sql, args...)
	switch {
	case err != nil:
		var none T
		return none, err
	case len(found) == 0:
		var none T
		return none, pgx.ErrNoRows
	case len(found) > 1:
		var none T
		return none, errors.New("a query for one row found more")
	}
	return found[0], nil
}
