package postgres_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// owner connects as the owner of everything, who is a superuser in tests.
func owner(t *testing.T, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

func column[T any](t *testing.T, conn *pgx.Conn, sql string, args ...any) []T {
	t.Helper()
	rows, _ := conn.Query(t.Context(), sql, args...)
	found, err := pgx.CollectRows(rows, pgx.RowTo[T])
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// Tables of a co-operative's data: all that is not on the list of what is not.
const tenantTables = `
	select relname::text from pg_class
	where relnamespace = 'public'::regnamespace and relkind in ('r', 'p')
	and relname not in ('species', 'schema_migrations')
	order by relname`

// derived matches the tables that only the program writes, from the journal.
const derived = `'_(sum|day|head)$|^shared_cost$'`

func TestWallsInCatalogue(t *testing.T) {
	t.Parallel()
	conn := owner(t, postgrestest.New(t).URL)
	tables := column[string](t, conn, tenantTables)
	if len(tables) < 14 {
		t.Fatalf("only the tables %v", tables)
	}
	empty := func(what, sql string, args ...any) {
		t.Helper()
		if bad := column[string](t, conn, sql, args...); len(bad) > 0 {
			t.Errorf("%s: %s", what, strings.Join(bad, ", "))
		}
	}
	empty("without forced row-level security", `
		select relname::text from pg_class where relname = any($1) and relnamespace = 'public'::regnamespace
		and not (relrowsecurity and relforcerowsecurity)`, tables)
	empty("without a coop_id that is never null", `
		select name from unnest($1::text[]) name where not exists (
			select from pg_attribute where attrelid = name::regclass and attname = 'coop_id' and attnotnull)`, tables)
	empty("without the policy of the co-operative for every command", `
		select name from unnest($1::text[]) name where not exists (
			select from pg_policy where polrelid = name::regclass and polname = name || '_of_coop' and polcmd = '*' and polpermissive
			and polroles = '{0}' and pg_get_expr(polqual, polrelid) = '(coop_id = current_coop())')`, tables)
	empty("policies that open what another closes", `
		select polname::text from pg_policy where polpermissive and polname <> polrelid::regclass::text || '_of_coop'`)
	empty("tables at a site without the policy of the site", `
		select distinct attrelid::regclass::text from pg_attribute
		where attrelid::regclass::text = any($1) and attname like '%site_id'
		and not exists (select from pg_policy where polrelid = attrelid and not polpermissive and polcmd = '*'
			and pg_get_expr(polqual, polrelid) like '%sees_site(%')`, tables)
	empty("keys that do not begin with the co-operative", `
		select c.conname::text from pg_constraint c
		join pg_attribute a on a.attrelid = c.conrelid and a.attnum = c.conkey[1]
		where c.contype in ('p', 'u', 'f') and c.conrelid::regclass::text = any($1) and a.attname <> 'coop_id'
		and c.conname not in ('batch_species_fk', 'water_limit_species_fk', 'factor_species_fk', 'round_species_fk')`, tables)
	empty("indexes that do not begin with the co-operative", `
		select i.indexrelid::regclass::text from pg_index i
		join pg_attribute a on a.attrelid = i.indrelid and a.attnum = i.indkey[0]
		where i.indrelid::regclass::text = any($1) and a.attname <> 'coop_id'`, tables)
	empty("foreign keys to something without a co-operative", `
		select c.conname::text from pg_constraint c
		join pg_attribute a on a.attrelid = c.confrelid and a.attnum = c.confkey[1]
		where c.contype = 'f' and c.conrelid::regclass::text = any($1) and a.attname <> 'coop_id'
		and c.conname not in ('batch_species_fk', 'water_limit_species_fk', 'factor_species_fk', 'round_species_fk')`, tables)
	empty("history that could be rewritten", `
		select grantee || ' ' || privilege_type || ' ' || table_name from information_schema.role_table_grants
		where table_name in ('entry', 'revision', 'audit', 'round_plan', 'order_version', 'order_line', 'seal', 'report_copy') and grantee <> 'postgres' and privilege_type not in ('SELECT', 'INSERT')
		union
		select grantee || ' ' || privilege_type || ' ' || table_name || '.' || column_name from information_schema.role_column_grants
		where table_name in ('entry', 'revision', 'audit', 'round_plan', 'order_version', 'order_line', 'seal', 'report_copy') and grantee <> 'postgres' and privilege_type not in ('SELECT', 'INSERT')`)
	empty("an audit trail that the service could write", `
		select privilege_type from information_schema.role_table_grants
		where table_name = 'audit' and grantee <> 'postgres' and privilege_type <> 'SELECT'
		union
		select column_name || ' ' || privilege_type from information_schema.role_column_grants
		where table_name = 'audit' and grantee <> 'postgres' and privilege_type <> 'SELECT'`)
	empty("what anybody may do", `
		select table_name || ' ' || privilege_type from information_schema.role_table_grants
		where table_schema = 'public' and grantee = 'PUBLIC'`)
	empty("what may be emptied", `
		select table_name || ' ' || privilege_type from information_schema.role_table_grants
		where table_schema = 'public' and grantee = 'shoalbook_service' and privilege_type in ('TRUNCATE', 'REFERENCES', 'TRIGGER')`)
	empty("moving between co-operatives or sites", `
		select table_name || '.' || column_name from information_schema.role_column_grants
		where grantee = 'shoalbook_service' and privilege_type = 'UPDATE' and table_name !~ `+derived+`
		and column_name in ('coop_id', 'id', 'site_id', 'currency')`)
	empty("functions that act as somebody else", `
		select proname::text from pg_proc where pronamespace = 'public'::regnamespace and prosecdef and proname <> 'audited'`)
}

// Every key that a caller can break has a meaning; the rest is on this list.
func TestConstraintsHaveMeaning(t *testing.T) {
	t.Parallel()
	conn := owner(t, postgrestest.New(t).URL)
	internal := []string{
		"species_pk", "schema_migrations_pkey", // not written to
		"idempotency_pk", "idempotency_token_fk", "entry_token_fk", "held_token_fk", // from the transaction itself
		"site_coop_fk", "party_coop_fk", "product_coop_fk", "revision_coop_fk",
		"token_coop_fk", "token_hash_once", "member_coop_fk", // looked at before, and random
		"audit_pk", "audit_coop_fk", "audit_site_fk", "audit_token_fk", // written by a trigger, of what is there
		"seal_pk", "seal_coop_fk", // made alone
		"indicator_coop_fk", "funding_coop_fk", "factor_coop_fk", "report_link_hash_once", // looked at before, and random
		"revision_pk", "transit_pk", "transit_sent_fk", "transit_from_site_fk", // follow from what was written before
		"loop_of_site", "unit_of_site", "batch_of_site", "request_of_site", "delivery_of_site", "claim_of_site", // say less than the primary key
		"round_coop_fk", "round_plan_round_fk", "round_plan_token_fk", "purchase_order_round_fk", "purchase_order_quote_fk", "purchase_order_party_fk",
		"purchase_order_number_once", "order_version_pk", "order_version_order_fk", "order_line_pk", "order_line_once", "order_line_version_fk",
		"order_line_request_fk", "order_line_unit_fk", "order_deposit_order_fk", "allotment_pk", "allotment_once", "allotment_order_fk", "allotment_request_fk",
		"delivery_order_fk", "delivery_unit_fk", "delivery_entry_fk", "claim_pk", "claim_once", "claim_order_fk", "claim_delivery_fk", "credit_claim_fk",
		"charge_pk", "charge_round_fk", "charge_site_fk", "round_payment_round_fk", // of what was read before, or counted under its lock
	}
	names := column[string](t, conn, `
		select conname::text from pg_constraint where contype in ('p', 'u', 'f') and connamespace = 'public'::regnamespace
		and conrelid::regclass::text !~ `+derived+`
		union
		select indexrelid::regclass::text from pg_index i join pg_class c on c.oid = i.indrelid
		where indisunique and relnamespace = 'public'::regnamespace and c.relname !~ `+derived)
	for _, name := range names {
		if !slices.Contains(internal, name) && !slices.Contains(postgres.Violations(), name) {
			t.Errorf("the breach of %s means nothing to a caller", name)
		}
	}
	for _, name := range slices.Concat(internal, postgres.Violations()) {
		if !slices.Contains(names, name) {
			t.Errorf("there is no constraint %s", name)
		}
	}
}

// neighbour is a co-operative with one of everything.
type neighbour struct {
	farm
	site      domain.SiteID
	unit      domain.UnitID
	loop      domain.LoopID
	party     domain.PartyID
	product   domain.ProductID
	equipment domain.EquipmentID
	batch     domain.BatchID
}

func newNeighbour(t *testing.T, store *postgres.Store) neighbour {
	t.Helper()
	n := neighbour{
		farm: newFarm(t, store), loop: newID[domain.Loop](), party: newID[domain.Party](),
		product: newID[domain.Product](), equipment: newID[domain.Equipment](), batch: newID[domain.Batch](),
	}
	n.site = n.farm.site(t)
	n.unit = n.farm.unit(t, n.site)
	n.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		if _, err := postgres.Loops.Create(ctx, tx, domain.Loop{ID: n.loop, Site: n.site, Name: "Loop"}); err != nil {
			return err
		}
		if _, err := postgres.Parties.Create(ctx, tx, domain.Party{ID: n.party, Name: "Buyer"}); err != nil {
			return err
		}
		if _, err := postgres.Products.Create(ctx, tx, domain.Product{ID: n.product, Name: "Feed", Category: "feed", Unit: "kg", Stored: true}); err != nil {
			return err
		}
		if _, err := postgres.Equipment.Create(ctx, tx, domain.Equipment{ID: n.equipment, Site: n.site, Name: "Pump", Cost: 100, LifeMonths: 12, InUseFrom: domain.NewDate(2026, 1, 1)}); err != nil {
			return err
		}
		_, err := postgres.Batches.Create(ctx, tx, domain.Batch{ID: n.batch, Site: n.site, Unit: n.unit, Species: "CLZ", Name: "Batch"})
		return err
	})
	return n
}

// shut tries every door to a thing of somebody else.
func shut[T any, K ~[16]byte](t *testing.T, noun string, store *postgres.Store, c postgres.Credential, n *postgres.Noun[T, K], id K) {
	t.Helper()
	err := store.View(t.Context(), c, func(tx *postgres.Tx) error {
		listed, more, err := n.List(t.Context(), tx, postgres.Filter[K]{Limit: 500})
		if err != nil || more {
			t.Errorf("listing %s: more %v, %v", noun, more, err)
		}
		if text := fmt.Sprintf("%v", listed); strings.Contains(text, fmt.Sprintf("%v", id)) {
			t.Errorf("%s is in the list", noun)
		}
		history, err := n.Revisions(t.Context(), tx, postgres.History[K]{IDs: []K{id}})
		if len(history) != 0 || err != nil {
			t.Errorf("%s has %d revisions, %v", noun, len(history), err)
		}
		_, err = n.Get(t.Context(), tx, id)
		return err
	})
	wantCode(t, err, domain.NotFound, "not_found")
	err = store.Update(t.Context(), c, func(tx *postgres.Tx) error {
		_, err := n.Revise(t.Context(), tx, id, 1, nil, func(*T) error {
			t.Errorf("%s could be changed", noun)
			return nil
		})
		return err
	})
	wantCode(t, err, domain.NotFound, "not_found")
}

func TestNeighbours(t *testing.T) {
	t.Parallel()
	store := open(t)
	a, b := newNeighbour(t, store), newNeighbour(t, store)
	shut(t, "coop", store, a.all, &postgres.Coops, b.coop)
	shut(t, "site", store, a.all, &postgres.Sites, b.site)
	shut(t, "unit", store, a.all, &postgres.Units, b.unit)
	shut(t, "loop", store, a.all, &postgres.Loops, b.loop)
	shut(t, "party", store, a.all, &postgres.Parties, b.party)
	shut(t, "product", store, a.all, &postgres.Products, b.product)
	shut(t, "equipment", store, a.all, &postgres.Equipment, b.equipment)
	shut(t, "batch", store, a.all, &postgres.Batches, b.batch)

	err := store.Update(t.Context(), a.all, func(tx *postgres.Tx) error {
		_, err := postgres.Units.Create(t.Context(), tx, domain.Unit{ID: newID[domain.Unit](), Site: b.site, Name: "Tank", Kind: "tank"})
		return err
	})
	wantCode(t, err, domain.Refused, "unknown_reference")

	// An id that a neighbour has in use is free here, or it would tell of the neighbour.
	a.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Parties.Create(ctx, tx, domain.Party{ID: b.party, Name: "Ours"})
		return err
	})
	b.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		party, err := postgres.Parties.Get(ctx, tx, b.party)
		if party.Name != "Buyer" {
			t.Errorf("the neighbour's party is %+v", party)
		}
		tokens, more, err2 := tx.Tokens(ctx, nil, 10)
		if len(tokens) != 1 || more || err2 != nil {
			t.Errorf("%d tokens, %v", len(tokens), err2)
		}
		return err
	})

	// A token speaks for the co-operative it was made for and for no other.
	crossed := postgres.Credential{Coop: b.coop, TokenHash: a.all.TokenHash}
	wantCode(t, store.View(t.Context(), crossed, func(*postgres.Tx) error { return nil }), domain.Unauthenticated, "unauthenticated")
}

// Even a query that forgets to name the co-operative stays inside, in every table.
func TestForgetfulQuery(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	store := openAt(t, url, postgres.Options{})
	a, b := newNeighbour(t, store), newNeighbour(t, store)
	tables := column[string](t, owner(t, url), tenantTables)
	a.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		for _, table := range tables {
			found, err := postgres.Query[domain.CoopID](ctx, tx, "select coop_id from "+table)
			if err != nil {
				return err
			}
			if slices.Contains(found, b.coop) {
				t.Errorf("%s shows the neighbour", table)
			}
		}
		return nil
	})
	err := store.Update(t.Context(), a.all, func(tx *postgres.Tx) error {
		_, err := postgres.Query[int](t.Context(), tx, `insert into party (coop_id, id, name) values ($1, $2, 'theirs')`, b.coop, newID[domain.Party]())
		return err
	})
	wantCode(t, err, domain.Forbidden, "forbidden")
	a.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Query[int](ctx, tx, `update party set name = 'ours'`)
		return err
	})
	b.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		party, err := postgres.Parties.Get(ctx, tx, b.party)
		if party.Name != "Buyer" {
			t.Errorf("the neighbour's party is %+v", party)
		}
		return err
	})
	for _, table := range tables { // and outside of any transaction there is nothing
		var n int
		if err := store.Pool().QueryRow(t.Context(), "select count(*) from "+table).Scan(&n); err != nil || n != 0 {
			t.Errorf("%d rows of %s without a co-operative, %v", n, table, err)
		}
	}
}

// A token for some sites sees those, and what belongs to the whole co-operative.
func TestSites(t *testing.T) {
	t.Parallel()
	store := open(t)
	n := newNeighbour(t, store)
	own := n.farm.site(t)
	ownUnit := n.farm.unit(t, own)
	c := n.token(t, domain.Coordinator, []domain.SiteID{own})
	shut(t, "site", store, c, &postgres.Sites, n.site)
	shut(t, "unit", store, c, &postgres.Units, n.unit)
	shut(t, "loop", store, c, &postgres.Loops, n.loop)
	shut(t, "equipment", store, c, &postgres.Equipment, n.equipment)
	shut(t, "batch", store, c, &postgres.Batches, n.batch)
	err := store.View(t.Context(), c, func(tx *postgres.Tx) error {
		actor, err := tx.Actor(t.Context())
		if err != nil || !slices.Equal(actor.Sites, []domain.SiteID{own}) {
			t.Errorf("the actor is %+v, %v", actor, err)
		}
		if _, err := postgres.Units.Get(t.Context(), tx, ownUnit); err != nil {
			return err
		}
		if _, err := postgres.Coops.Get(t.Context(), tx, n.coop); err != nil {
			return err
		}
		if _, err := postgres.Parties.Get(t.Context(), tx, n.party); err != nil {
			return err
		}
		_, err = postgres.Products.Get(t.Context(), tx, n.product)
		return err
	})
	if err != nil {
		t.Error(err)
	}
	for what, run := range map[string]func(*postgres.Tx) error{
		"add a site": func(tx *postgres.Tx) error {
			_, err := postgres.Sites.Create(t.Context(), tx, domain.SiteFacts{ID: newID[domain.SiteFacts](), Name: "New", Kind: "school"})
			return err
		},
		"add a party": func(tx *postgres.Tx) error {
			_, err := postgres.Parties.Create(t.Context(), tx, domain.Party{ID: newID[domain.Party](), Name: "New"})
			return err
		},
		"change a product": func(tx *postgres.Tx) error {
			_, err := postgres.Products.Revise(t.Context(), tx, n.product, 1, nil, func(p *domain.Product) error { p.Name = "New"; return nil })
			return err
		},
		"change the co-operative": func(tx *postgres.Tx) error {
			_, err := postgres.Coops.Revise(t.Context(), tx, n.coop, 1, nil, func(c *domain.Coop) error { c.Name = "New"; return nil })
			return err
		},
		"make a token": func(tx *postgres.Tx) error {
			_, err := tx.CreateToken(t.Context(), domain.TokenFacts{ID: newID[domain.Token](), Name: "all", Role: domain.Coordinator}, [32]byte{1})
			return err
		},
	} {
		t.Log(what)
		wantCode(t, store.Update(t.Context(), c, run), domain.Forbidden, "forbidden")
	}
	err = store.Update(t.Context(), c, func(tx *postgres.Tx) error {
		_, err := postgres.Units.Create(t.Context(), tx, domain.Unit{ID: newID[domain.Unit](), Site: n.site, Name: "Tank", Kind: "tank"})
		return err
	})
	wantCode(t, err, domain.Refused, "unknown_reference")
}
