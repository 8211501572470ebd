package postgres_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

func TestZZTrace(t *testing.T) {
	db, _ := postgrestest.NewDurable(t)
	store := openAt(t, db.URL, postgres.Options{MaxConns: 1})
	f := newFarm(t, store)
	p := newPond(t, f)
	p.must(t, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 1000, MeanWeight: ptr(domain.Milligrams(5_000))}),
		p.entry(0, domain.Receipt{Product: p.feed, Quantity: 1_000_000_000, Origin: "bought", Amount: ptr(domain.Money(1_000_000_000))}))
	for i := range 12 {
		start := time.Now()
		store.Update(context.Background(), p.all, func(tx *postgres.Tx) error {
			_, err := tx.Record(context.Background(), postgres.Recording{Entries: []domain.Entry{p.entry(10, domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 1_250})}})
			return err
		})
		fmt.Println(i, time.Since(start))
	}
	c, _ := store.Pool().Acquire(context.Background())
	defer c.Release()
	c.Exec(context.Background(), "reset role")
	rows, _ := c.Query(context.Background(), "select calls, round(total_plan_time::numeric,2) , round(total_exec_time::numeric,2), left(regexp_replace(query, '\\s+', ' ', 'g'), 90) from pg_stat_statements order by total_exec_time+total_plan_time desc limit 30")
	for rows.Next() {
		v, _ := rows.Values()
		fmt.Println(v...)
	}
	fmt.Println(rows.Err())
}
