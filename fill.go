package main

import (
	"context"
	"math"
	"slices"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
)

// demoFunder is the name of the token that is made last: where it is, all else is.
const demoFunder = "Demo funder"

// isFilled reports whether a co-operative has all that a demo begins with.
func isFilled(ctx context.Context, store *postgres.Store, coop domain.CoopID) (filled bool, err error) {
	err = store.Inspect(ctx, coop, func(tx *postgres.Tx) error {
		tokens, _, err := tx.Tokens(ctx, nil, math.MaxInt32)
		filled = slices.ContainsFunc(tokens, func(t domain.TokenFacts) bool { return t.Name == demoFunder })
		return err
	})
	return filled, err
}

// fill records all that the people of a simulated co-operative have sent, in the
// order in which they sent it. The planner is told of the first of it before the
// rest comes: of tables that it takes for empty it reads far too much.
func fill(ctx context.Context, store *postgres.Store, url string, cred postgres.Credential, coop *simulate.Coop, say messages) error {
	requests, total := coop.Requests(), 0
	for _, entries := range requests {
		total += len(entries)
	}
	if err := store.Update(ctx, cred, func(tx *postgres.Tx) error { return fillRegistry(ctx, tx, coop) }); err != nil {
		return err
	}
	bar := say.bar("recording entries", total)
	for i, entries := range requests {
		err := store.Update(ctx, cred, func(tx *postgres.Tx) error {
			_, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true})
			return err
		})
		if err != nil {
			return err
		}
		bar.add(len(entries))
		if i == 0 || i == len(requests)-1 {
			if err := postgres.Analyze(ctx, url); err != nil {
				return err
			}
		}
	}
	return store.Update(ctx, cred, func(tx *postgres.Tx) error { return buy(ctx, tx, coop) })
}

func fillRegistry(ctx context.Context, tx *postgres.Tx, coop *simulate.Coop) error {
	if err := create(ctx, tx, &postgres.Parties, coop.Parties); err != nil {
		return err
	}
	if err := create(ctx, tx, &postgres.Products, coop.Products); err != nil {
		return err
	}
	for _, s := range coop.Sites {
		if _, err := postgres.Sites.Create(ctx, tx, s.Facts); err != nil {
			return err
		}
		if err := create(ctx, tx, &postgres.Loops, s.Loops); err != nil {
			return err
		}
		if err := create(ctx, tx, &postgres.Units, s.Units); err != nil {
			return err
		}
		if err := create(ctx, tx, &postgres.Equipment, s.Equipment); err != nil {
			return err
		}
		if err := create(ctx, tx, &postgres.Batches, s.Batches); err != nil {
			return err
		}
		if err := create(ctx, tx, &postgres.Periods, s.Calendar); err != nil {
			return err
		}
	}
	return nil
}

func create[T any, K ~[16]byte](ctx context.Context, tx *postgres.Tx, noun *postgres.Noun[T, K], all []T) error {
	for _, facts := range all {
		if _, err := noun.Create(ctx, tx, facts); err != nil {
			return err
		}
	}
	return nil
}
