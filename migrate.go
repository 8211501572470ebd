package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"shoalbook/postgres"
)

type migrateUp struct{}

// Run brings the schema to the latest version.
func (migrateUp) Run(ctx context.Context, s *Settings, out io.Writer) error {
	if err := postgres.MigrateUp(ctx, s.DatabaseURL); err != nil {
		return err
	}
	return migrateStatus{}.Run(ctx, s, out)
}

type migrateDown struct {
	DeleteAllData bool `required:"" help:"Say that this is what you want."`
}

// Run takes the schema away.
func (migrateDown) Run(ctx context.Context, s *Settings, out io.Writer) error {
	if err := postgres.MigrateDown(ctx, s.DatabaseURL); err != nil {
		return err
	}
	return migrateStatus{}.Run(ctx, s, out)
}

type migrateStatus struct{}

// Run prints which version the schema is at.
func (migrateStatus) Run(ctx context.Context, s *Settings, out io.Writer) error {
	version, dirty, latest, err := postgres.MigrateStatus(ctx, s.DatabaseURL)
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(out, "schema version %d of %d\n", version, latest); err != nil {
		return err
	}
	if dirty {
		return errors.New("the migration to this version has failed")
	}
	return nil
}

type migrateForce struct {
	Version int `arg:"" help:"The version that the schema really is at; 0 if it is empty."`
}

// Run records a version.
func (m migrateForce) Run(ctx context.Context, s *Settings, out io.Writer) error {
	if err := postgres.MigrateForce(ctx, s.DatabaseURL, m.Version); err != nil {
		return err
	}
	return migrateStatus{}.Run(ctx, s, out)
}
