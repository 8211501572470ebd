package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"shoalbook/domain"
	"shoalbook/postgres"
)

type verifyCoops struct {
	Repair bool            `help:"Write the figures that differ anew. Nobody can record meanwhile."`
	Seals  string          `placeholder:"FILE" help:"Seals that were kept elsewhere, as /v1/seals answers or 'seals print' prints: hold those in the database against them."`
	Coops  []domain.CoopID `arg:"" name:"coop" help:"The co-operatives to verify."`
}

// Run prints each difference, and fails if there is one that was not repaired, or
// something that is not as it was sealed.
func (v verifyCoops) Run(ctx context.Context, s *Settings, out io.Writer) error {
	kept, err := readSeals(v.Seals)
	if err != nil {
		return err
	}
	store, _, err := open(ctx, s)
	if err != nil {
		return err
	}
	defer store.Close()
	differences, faults := 0, 0
	for _, coop := range v.Coops {
		d, f, err := v.verify(ctx, store, coop, kept)
		if err != nil {
			return err
		}
		differences, faults = differences+len(d), faults+len(f)
		for _, line := range append(d, f...) {
			if _, err := fmt.Fprintln(out, line); err != nil {
				return err
			}
		}
	}
	if _, err := fmt.Fprintf(out, "%d differences\n", differences); err != nil {
		return err
	}
	switch {
	case faults > 0:
		return fmt.Errorf("%d times something is not as it was sealed", faults)
	case differences > 0 && !v.Repair:
		return fmt.Errorf("%d figures are not what the journal says; verify --repair writes them anew", differences)
	}
	return nil
}

// verify returns a line for each difference and for each fault of the seals.
func (v verifyCoops) verify(ctx context.Context, store *postgres.Store, coop domain.CoopID, kept []domain.Seal) (differences, faults []string, err error) {
	enter := store.Inspect
	if v.Repair {
		enter = store.Operate
	}
	err = enter(ctx, coop, func(tx *postgres.Tx) error {
		differences, faults = nil, nil
		if _, err := postgres.Coops.Get(ctx, tx, coop); err != nil {
			return err
		}
		found, err := tx.Verify(ctx, v.Repair)
		if err != nil {
			return err
		}
		for _, d := range found {
			differences = append(differences, d.String())
		}
		broken, err := tx.VerifySeals(ctx, of(coop, kept))
		for _, f := range broken {
			faults = append(faults, f.String())
		}
		return err
	})
	return differences, faults, err
}

// of returns the seals of one co-operative.
func of(coop domain.CoopID, seals []domain.Seal) (own []domain.Seal) {
	for _, s := range seals {
		if s.Coop == coop {
			own = append(own, s)
		}
	}
	return own
}

// sealList is a list of seals as /v1/seals answers.
type sealList struct {
	Items []domain.Seal `json:"items"`
}

// readSeals reads seals that were kept; without a file there are none.
func readSeals(file string) ([]domain.Seal, error) {
	if file == "" {
		return nil, nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	var list sealList
	if err := json.Unmarshal(text, &list); err != nil {
		return nil, fmt.Errorf("%s holds no list of seals: %w", file, err)
	}
	if len(list.Items) == 0 {
		return nil, fmt.Errorf("%s holds no seals", file)
	}
	return list.Items, nil
}
