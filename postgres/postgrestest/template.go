package postgrestest

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"

	"shoalbook/migrations"
	"shoalbook/postgres"
)

// templateLock is the key of an advisory lock: "shoal" in ASCII. Such locks belong
// to a database, so that it is taken in the one that all test binaries are given.
// It also keeps two of them from creating roles, which the cluster shares, at once.
const templateLock = 0x73686f616c

// prepareTemplate returns the name of a database with the schema of the embedded
// migrations and creates it if it is not there. Each set of migrations has its own,
// so that checkouts can share a server.
func prepareTemplate(ctx context.Context, address string) (_ string, err error) {
	hash, err := hashFiles(migrations.FS)
	if err != nil {
		return "", err
	}
	name := "shoalbook_template_" + hash
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return "", fmt.Errorf("connecting: %w", err)
	}
	defer func() { err = errors.Join(err, conn.Close(ctx)) }() // releases the lock too
	if _, err := conn.Exec(ctx, "select pg_advisory_lock($1)", templateLock); err != nil {
		return "", fmt.Errorf("waiting for another test binary: %w", err)
	}
	var complete bool
	const isTemplate = "select exists (select from pg_database where datname = $1 and datistemplate)"
	if err := conn.QueryRow(ctx, isTemplate, name).Scan(&complete); err != nil {
		return "", err
	}
	if complete {
		return name, nil
	}
	// Something of that name that is not a template was left half made.
	for _, sql := range []string{"drop database if exists " + name + " with (force)", "create database " + name} {
		if _, err := conn.Exec(ctx, sql); err != nil {
			return "", fmt.Errorf("%s: %w", sql, err)
		}
	}
	template, err := withDatabase(address, name)
	if err != nil {
		return "", err
	}
	if err := postgres.MigrateUp(ctx, template); err != nil {
		return "", err
	}
	// A connection to it would keep it from being copied.
	const finish = "alter database %s with is_template true allow_connections false"
	if _, err := conn.Exec(ctx, fmt.Sprintf(finish, name)); err != nil {
		return "", err
	}
	return name, nil
}

// hashFiles returns a short hash of the names and contents of all files.
func hashFiles(files fs.FS) (string, error) {
	h := sha256.New()
	err := fs.WalkDir(files, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(files, path)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(h, "%q %d\n%s", path, len(content), content)
		return err
	})
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:8]), nil
}
