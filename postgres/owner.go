package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// AllCoops lists the co-operatives in a database, at whatever version its schema is.
// Only the owner of the tables can: nobody else is over the walls. A database in
// which there is nothing yet has none; one that holds other tables than those of
// this program is an error, so that nothing is added to it by mistake.
func AllCoops(ctx context.Context, url string) (ids []domain.CoopID, err error) {
	err = asOwner(ctx, url, func(conn *pgx.Conn) error {
		const tables = `
			select to_regclass('public.coop') is not null as ours, exists (
				select from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p')
				and relname <> 'schema_migrations') as any`
		var ours, any bool
		if err := conn.QueryRow(ctx, tables).Scan(&ours, &any); err != nil || !any {
			return err
		}
		if !ours {
			return errors.New("the database holds tables of something else")
		}
		tx, err := conn.Begin(ctx)
		if err != nil {
			return err
		}
		defer tx.Rollback(context.WithoutCancel(ctx)) // which puts the wall up again
		if _, err := tx.Exec(ctx, `set local lock_timeout = '5s'; alter table public.coop no force row level security`); err != nil {
			return err
		}
		rows, _ := tx.Query(ctx, `select coop_id from public.coop order by coop_id`)
		ids, err = pgx.CollectRows(rows, pgx.RowTo[domain.CoopID])
		return err
	})
	return ids, err
}

// Analyze counts what is in the tables anew, for the planner, after much was added.
func Analyze(ctx context.Context, url string) error {
	return asOwner(ctx, url, func(conn *pgx.Conn) error {
		_, err := conn.Exec(ctx, `analyze`)
		return err
	})
}

// asOwner does something with the rights of the login of an address, not with those
// of the service.
func asOwner(ctx context.Context, url string, do func(*pgx.Conn) error) error {
	config, err := parseURL(url)
	if err != nil {
		return err
	}
	conn, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return fmt.Errorf("connect: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if err := do(conn); err != nil {
		if sqlState(err) == insufficientPrivilege {
			return fmt.Errorf("the login must be that of the owner of the tables: %w", err)
		}
		return err
	}
	return nil
}
