package main

import (
	"context"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
)

// isFilled reports whether a co-operative has sites: fill is done as a whole or not
// at all.
func isFilled(ctx context.Context, store *postgres.Store, cred postgres.Credential) (filled bool, err error) {
	err = store.View(ctx, cred, func(tx *postgres.Tx) error {
		sites, _, err := postgres.Sites.List(ctx, tx, postgres.Filter[domain.SiteID]{Limit: 1})
		filled = len(sites) > 0
		return err
	})
	return filled, err
}

// fill records all that the people of a simulated co-operative have sent, in the
// order in which they sent it.
func fill(ctx context.Context, store *postgres.Store, cred postgres.Credential, coop *simulate.Coop, say messages) error {
	requests, total := coop.Requests(), 0
	for _, entries := range requests {
		total += len(entries)
	}
	return store.Update(ctx, cred, func(tx *postgres.Tx) error {
		if err := fillRegistry(ctx, tx, coop); err != nil {
			return err
		}
		bar := say.bar("recording entries", total)
		for _, entries := range requests {
			if _, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true}); err != nil {
				return err
			}
			bar.add(len(entries))
		}
		return nil
	})
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
