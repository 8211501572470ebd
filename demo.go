package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"time"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/throwaway"
)

type demo struct {
	Seed  uint64 `default:"1" help:"Another number makes another co-operative."`
	Sites int    `default:"24" help:"How many schools it has."`
	PgBin string `name:"pg-bin" setting:"PG_BIN" placeholder:"FOLDER" help:"Where the programs of PostgreSQL are; found, or else downloaded, if left out."`
}

// Run serves an invented co-operative from a database that is thrown away
// afterwards.
func (d demo) Run(ctx context.Context, s *Settings, out io.Writer, log *slog.Logger) (err error) {
	say := func(text string) { _, _ = fmt.Fprintln(out, text) }
	server, err := throwaway.Start(ctx, throwaway.Options{BinDir: d.PgBin, Progress: say})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, server.Stop()) }()
	url := server.URL("postgres")
	if err := postgres.MigrateUp(ctx, url); err != nil {
		return err
	}
	store, err := postgres.Open(ctx, postgres.Options{URL: url, MaxConns: s.DatabaseConns})
	if err != nil {
		return err
	}
	defer store.Close()

	say("making up a co-operative")
	coop := simulate.New(simulate.Options{Seed: d.Seed, Sites: d.Sites, Today: domain.DateOf(time.Now(), time.UTC)})
	coordinator, recorded, err := load(ctx, store, coop)
	if err != nil {
		return err
	}
	keeper, err := makeToken(ctx, store, coop.Facts.ID, domain.TokenFacts{
		Name: "Keeper of the demo", Role: domain.Keeper, Sites: []domain.SiteID{coop.Sites[0].Facts.ID},
	}, 0)
	if err != nil {
		return err
	}
	return serveStore(ctx, s, log, store, func(address net.Addr) error {
		_, err := fmt.Fprintf(out, `
%s has %d schools and %d entries.

  a coordinator's token      %s
  a keeper's, of one school  %s

  to read and try            http://%s/docs
  to begin with              curl -H 'Authorization: Bearer %s' http://%s/v1/overview

Ctrl-C ends it, and nothing is kept.
`, coop.Facts.Name, len(coop.Sites), recorded, coordinator.Text(), keeper.Text(), address, coordinator.Text(), address)
		return err
	})
}

// load puts a simulated co-operative into the database, as its people would have.
// It returns the token of the coordinator who sent all of it, and how many entries
// that were.
func load(ctx context.Context, store *postgres.Store, coop *simulate.Coop) (token domain.Token, recorded int, err error) {
	if _, err := store.CreateCoop(ctx, coop.Facts); err != nil {
		return token, 0, err
	}
	token, err = makeToken(ctx, store, coop.Facts.ID, domain.TokenFacts{Name: "Coordinator of the demo", Role: domain.Coordinator}, 0)
	if err != nil {
		return token, 0, err
	}
	cred := postgres.Credential{Coop: token.Coop, TokenHash: token.Hash(), Roles: []domain.Role{domain.Coordinator}}
	err = store.Update(ctx, cred, func(tx *postgres.Tx) error { return loadRegistry(ctx, tx, coop) })
	if err != nil {
		return token, 0, err
	}
	for _, entries := range coop.Requests() {
		err := store.Update(ctx, cred, func(tx *postgres.Tx) error {
			_, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true})
			return err
		})
		if err != nil {
			return token, recorded, err
		}
		recorded += len(entries)
	}
	return token, recorded, nil
}

func loadRegistry(ctx context.Context, tx *postgres.Tx, coop *simulate.Coop) error {
	if err := create(ctx, tx, &postgres.Parties, coop.Parties); err != nil {
		return err
	}
	if err := create(ctx, tx, &postgres.Products, coop.Products); err != nil {
		return err
	}
	for _, s := range coop.Sites {
		err := create(ctx, tx, &postgres.Sites, []domain.SiteFacts{s.Facts})
		if err == nil {
			err = create(ctx, tx, &postgres.Loops, s.Loops)
		}
		if err == nil {
			err = create(ctx, tx, &postgres.Units, s.Units)
		}
		if err == nil {
			err = create(ctx, tx, &postgres.Equipment, s.Equipment)
		}
		if err == nil {
			err = create(ctx, tx, &postgres.Batches, s.Batches)
		}
		if err != nil {
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
