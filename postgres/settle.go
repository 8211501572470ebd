package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// Those who record hold a lock of their co-operative together until they commit. Who takes
// it alone knows that nothing is on its way: all that was recorded can be seen, and what
// comes after is recorded later. Locks that are a session's and not a transaction's can be
// taken before the transaction has its picture of the data, and given back when it has.
const (
	holdSealing   = `select pg_advisory_lock(hashtextextended($1::uuid::text, 1))`
	giveSealing   = `select pg_advisory_unlock(hashtextextended($1::uuid::text, 1))`
	holdRecording = `select pg_advisory_lock(hashtextextended($1::uuid::text, 0))`
	giveRecording = `select pg_advisory_unlock(hashtextextended($1::uuid::text, 0))`
)

// Settle is Update with one unchanging picture of what was settled at a moment: whatever
// was recorded by then is in it, and whatever comes is recorded after. Who records waits
// only until the picture is taken, not for what is done with it. One settles at a time.
func (s *Store) Settle(ctx context.Context, c Credential, f func(*Tx) error) error {
	return s.transact(ctx, settling, func(tx *Tx) { tx.enter(c) }, f)
}

// OperateSettled is Settle for a command of the operator.
func (s *Store) OperateSettled(ctx context.Context, coop domain.CoopID, f func(*Tx) error) error {
	return s.transact(ctx, settling, func(tx *Tx) { tx.enterAsOperator(coop) }, f)
}

// settle takes the picture, with what is queued before.
func (tx *Tx) settle(ctx context.Context) error {
	locks := &pgx.Batch{}
	locks.Queue(holdSealing, tx.coop)
	locks.Queue(holdRecording, tx.coop)
	tx.sealing = true
	if err := tx.conn.SendBatch(ctx, locks).Close(); err != nil {
		return errors.Join(err, tx.cut(ctx))
	}
	given := false
	tx.queue(`select clock_timestamp()`).QueryRow(func(row pgx.Row) error { return row.Scan(&tx.settled) })
	tx.queue(giveRecording, tx.coop).QueryRow(func(row pgx.Row) error { return row.Scan(&given) })
	err := tx.flush(ctx)
	if !given {
		return errors.Join(err, tx.cut(ctx))
	}
	return err
}

// unseal lets others make seals.
func (tx *Tx) unseal(ctx context.Context) {
	if !tx.sealing || tx.conn.Conn().IsClosed() {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	var given bool
	if err := tx.conn.QueryRow(ctx, giveSealing, tx.coop).Scan(&given); err != nil || !given {
		_ = tx.cut(ctx)
	}
}

// cut ends the connection, and with it all of its locks.
func (tx *Tx) cut(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	return tx.conn.Conn().Close(ctx)
}

// settledAt returns the moment at which what is known was settled.
func (tx *Tx) settledAt() (time.Time, error) {
	if tx.settled == nil {
		return time.Time{}, errors.New("nothing is settled in this transaction: it is not one of Settle")
	}
	return *tx.settled, nil
}

// Seal seals what has been recorded in a co-operative since its last seal, a seal in each
// transaction, and returns the latest one.
func (s *Store) Seal(ctx context.Context, coop domain.CoopID) (domain.Seal, error) {
	return sealAll(ctx, func(f func(*Tx) error) error { return s.OperateSettled(ctx, coop, f) })
}

// SealAs is Seal for somebody who is to do what wants a seal: it leaves little to seal
// then, and is kept whatever comes of that.
func (s *Store) SealAs(ctx context.Context, c Credential) error {
	_, err := sealAll(ctx, func(f func(*Tx) error) error { return s.Settle(ctx, c, f) })
	return err
}

func sealAll(ctx context.Context, settle func(func(*Tx) error) error) (last domain.Seal, err error) {
	for more := true; more && err == nil; {
		err = settle(func(tx *Tx) (err error) {
			last, more, err = tx.sealNext(ctx, sealedAtMost)
			return err
		})
	}
	return last, err
}
