package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// open connects to a database whose schema is the one that this program knows. The
// warning is that of [postgres.Store.Check].
func open(ctx context.Context, s *Settings) (store *postgres.Store, warning string, err error) {
	store, err = postgres.Open(ctx, postgres.Options{URL: s.DatabaseURL, MaxConns: s.DatabaseConns})
	if err != nil {
		return nil, "", err
	}
	if warning, err = store.Check(ctx); err != nil {
		store.Close()
		return nil, "", err
	}
	return store, warning, nil
}

type coopCreate struct {
	Name     string `required:"" help:"What people call it."`
	Currency string `required:"" help:"ISO 4217 code of its money, such as ZMW. It can never be changed."`
	Zone     string `required:"" help:"IANA time zone by which its days begin and end, such as Africa/Lusaka."`
	Country  string `required:"" help:"ISO 3166-1 code of two letters, such as ZM."`
	ShareBy  string `default:"gram_days" enum:"gram_days,unit_days" help:"What the shared cost of a site is shared by: gram_days or unit_days."`
}

// Run adds a co-operative and prints its id.
func (c coopCreate) Run(ctx context.Context, s *Settings, out io.Writer) error {
	store, _, err := open(ctx, s)
	if err != nil {
		return err
	}
	defer store.Close()
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	made, err := store.CreateCoop(ctx, domain.Coop{
		ID: domain.CoopID(id), Name: c.Name, Currency: domain.Currency(c.Currency), Zone: c.Zone, Country: c.Country, ShareBy: c.ShareBy,
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, made.ID)
	return err
}

type tokenCreate struct {
	Coop  domain.CoopID   `required:"" placeholder:"ID" help:"The co-operative it is for."`
	Name  string          `required:"" help:"Whose it is; what it records bears this name."`
	Role  string          `default:"keeper" enum:"coordinator,adviser,keeper,treasurer,funder,auditor" help:"What it may be used for: coordinator, adviser, keeper, treasurer, funder or auditor."`
	Sites []domain.SiteID `name:"site" placeholder:"ID" help:"A site it is for; may be repeated. All sites if left out."`
	Days  int             `default:"365" help:"How long it holds; 0 for as long as it is not revoked."`
}

// Run makes a token, keeps its hash and prints it.
func (c tokenCreate) Run(ctx context.Context, s *Settings, out io.Writer) error {
	store, _, err := open(ctx, s)
	if err != nil {
		return err
	}
	defer store.Close()
	token, err := makeToken(ctx, store, c.Coop, domain.TokenFacts{Name: c.Name, Role: domain.Role(c.Role), Sites: c.Sites}, c.Days)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, token.Text())
	return err
}

// makeToken adds a token that holds for so many days, or for ever if that is 0.
func makeToken(ctx context.Context, store *postgres.Store, coop domain.CoopID, facts domain.TokenFacts, days int) (domain.Token, error) {
	if days < 0 {
		return domain.Token{}, fmt.Errorf("a token cannot hold for %d days", days)
	}
	if days > 0 {
		end := time.Now().AddDate(0, 0, days)
		facts.ExpiresAt = &end
	}
	id, err := uuid.NewV7()
	if err != nil {
		return domain.Token{}, err
	}
	facts.ID = domain.TokenID(id)
	token, err := domain.NewToken(coop, rand.Reader)
	if err != nil {
		return domain.Token{}, err
	}
	_, err = store.CreateToken(ctx, coop, facts, token.Hash())
	return token, err
}
