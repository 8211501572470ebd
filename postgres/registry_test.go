package postgres_test

import (
	"context"
	"errors"
	"slices"
	"testing"

	"shoalbook/domain"
	"shoalbook/postgres"
)

func ptr[T any](v T) *T { return &v }

// trip creates a thing, reads it back in both ways, changes its name and reads its
// history; every noun goes through it.
func trip[T any, K ~[16]byte](t *testing.T, f farm, n *postgres.Noun[T, K], facts T, id func(*T) K, kept func(*T) *domain.Kept, name func(*T) *string) T {
	t.Helper()
	var made T
	f.update(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		made, err = n.Create(ctx, tx, facts)
		return err
	})
	if k := kept(&made); k.Version != 1 || k.CreatedAt.IsZero() || k.Archived {
		t.Errorf("a new thing is kept as %+v", *k)
	}
	want := facts
	*kept(&want) = *kept(&made)
	if !equalJSON(made, want) {
		t.Errorf("created %+v, want %+v", made, want)
	}
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		got, err := n.Get(ctx, tx, id(&facts))
		if !equalJSON(got, made) {
			t.Errorf("got %+v, want %+v", got, made)
		}
		if err != nil {
			return err
		}
		listed, more, err := n.List(ctx, tx, postgres.Filter[K]{Limit: 500})
		if more || !slices.ContainsFunc(listed, func(l T) bool { return equalJSON(l, made) }) {
			t.Errorf("it is not in the list %+v", listed)
		}
		return err
	})
	var changed T
	f.update(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		changed, err = n.Revise(ctx, tx, id(&facts), 1, nil, func(v *T) error {
			*name(v) = "another name"
			kept(v).Archived = true
			return nil
		})
		return err
	})
	if k := kept(&changed); *name(&changed) != "another name" || k.Version != 2 || !k.Archived {
		t.Errorf("changed to %+v", changed)
	}
	// The second change has not seen the first.
	err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := n.Revise(t.Context(), tx, id(&facts), 1, nil, func(v *T) error { return nil })
		return err
	})
	wantCode(t, err, domain.Precondition, "version_mismatch")
	err = f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := n.Revise(t.Context(), tx, K(newID[T]()), 1, nil, func(v *T) error { return nil })
		return err
	})
	wantCode(t, err, domain.NotFound, "not_found")
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		history, err := n.Revisions(ctx, tx, postgres.History[K]{IDs: []K{id(&facts)}})
		if err != nil {
			return err
		}
		if len(history) != 2 || !equalJSON(history[0].Facts, made) || !equalJSON(history[1].Facts, changed) {
			t.Fatalf("the history is %+v", history)
		}
		first := history[0]
		if first.ValidFrom != nil || first.RecordedBy != "test coordinator" || first.RecordedAt.IsZero() {
			t.Errorf("the first revision is %+v", first)
		}
		before, err := n.Revisions(ctx, tx, postgres.History[K]{IDs: []K{id(&facts)}, KnownAt: &first.RecordedAt})
		if len(before) != 1 {
			t.Errorf("before the change was known there were %d revisions", len(before))
		}
		return err
	})
	return made
}

func TestRegistryTrips(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	site, other := f.site(t), f.site(t)

	trip(t, f, &postgres.Sites,
		domain.SiteFacts{
			ID: newID[domain.SiteFacts](), Name: "Shule ya Mlimani", Kind: "school", Longitude: ptr(34.75), Latitude: ptr(-0.1),
			AltitudeM: ptr(domain.Thousandths(1_131_500)), Zone: ptr("Africa/Kampala"), Tags: []string{"lake", "pilot"},
		},
		func(v *domain.SiteFacts) domain.SiteID { return v.ID },
		func(v *domain.SiteFacts) *domain.Kept { return &v.Kept },
		func(v *domain.SiteFacts) *string { return &v.Name })

	trip(t, f, &postgres.Loops,
		domain.Loop{ID: newID[domain.Loop](), Site: site, Name: "Loop A", PumpFlowLH: ptr(domain.Thousandths(2_000_500)), PumpPowerW: ptr(domain.Thousandths(65_000))},
		func(v *domain.Loop) domain.LoopID { return v.ID },
		func(v *domain.Loop) *domain.Kept { return &v.Kept },
		func(v *domain.Loop) *string { return &v.Name })

	loop := domain.Loop{ID: newID[domain.Loop](), Site: site, Name: "Loop B"}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Loops.Create(ctx, tx, loop)
		return err
	})
	unit := trip(t, f, &postgres.Units,
		domain.Unit{
			ID: newID[domain.Unit](), Site: site, Name: "Tank 1", Kind: "tank", WaterVolumeL: ptr(domain.Thousandths(4_500_500)),
			BedAreaM2: ptr(domain.Thousandths(2_250)), DensityLimitKgM3: ptr(domain.Thousandths(40_000)), Loop: &loop.ID,
		},
		func(v *domain.Unit) domain.UnitID { return v.ID },
		func(v *domain.Unit) *domain.Kept { return &v.Kept },
		func(v *domain.Unit) *string { return &v.Name })

	trip(t, f, &postgres.Parties,
		domain.Party{ID: newID[domain.Party](), Name: "Kisumu Hatchery", Roles: []string{"hatchery", "feed_seller"}, Phone: ptr("+254 700 000000")},
		func(v *domain.Party) domain.PartyID { return v.ID },
		func(v *domain.Party) *domain.Kept { return &v.Kept },
		func(v *domain.Party) *string { return &v.Name })

	trip(t, f, &postgres.Products,
		domain.Product{
			ID: newID[domain.Product](), Name: "Grower 4 mm", Category: "feed", Unit: "kg", Stored: true,
			ProteinPercent: ptr(domain.Thousandths(35_000)), MoisturePercent: ptr(domain.Thousandths(9_500)),
		},
		func(v *domain.Product) domain.ProductID { return v.ID },
		func(v *domain.Product) *domain.Kept { return &v.Kept },
		func(v *domain.Product) *string { return &v.Name })

	trip(t, f, &postgres.Equipment,
		domain.Equipment{
			ID: newID[domain.Equipment](), Site: site, Name: "Pump", Cost: 1_250_000, Salvage: 100_000, LifeMonths: 36,
			InUseFrom: domain.NewDate(2026, 1, 15), RetiredOn: ptr(domain.NewDate(2028, 2, 29)),
		},
		func(v *domain.Equipment) domain.EquipmentID { return v.ID },
		func(v *domain.Equipment) *domain.Kept { return &v.Kept },
		func(v *domain.Equipment) *string { return &v.Name })

	open := f.unit(t, site)
	batch := domain.Batch{
		ID: newID[domain.Batch](), Site: site, Unit: open, Species: "CLZ", Name: "March fingerlings", Tags: []string{"grade a"},
		Season: ptr("2026 long rains"), Plan: domain.Plan{TargetWeight: ptr(domain.Milligrams(600_000)), TargetOn: ptr(domain.NewDate(2026, 9, 1))},
	}
	trip(t, f, &postgres.Batches, batch,
		func(v *domain.Batch) domain.BatchID { return v.ID },
		func(v *domain.Batch) *domain.Kept { return &v.Kept },
		func(v *domain.Batch) *string { return &v.Name })

	refuse := func(code string, kind domain.Kind, run func(context.Context, *postgres.Tx) error) {
		t.Helper()
		err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error { return run(t.Context(), tx) })
		wantCode(t, err, kind, code)
	}
	create := func(b domain.Batch) func(context.Context, *postgres.Tx) error {
		b.ID = newID[domain.Batch]()
		return func(ctx context.Context, tx *postgres.Tx) error {
			_, err := postgres.Batches.Create(ctx, tx, b)
			return err
		}
	}
	b := batch
	b.Species = "ZZZ"
	refuse("unknown_reference", domain.Refused, create(b))
	b = batch
	b.Site = other
	refuse("wrong_site", domain.Refused, create(b))
	b = batch
	b.Unit = unit.ID
	refuse("archived", domain.Refused, create(b))
	b = batch
	b.Unit = newID[domain.Unit]()
	refuse("unknown_reference", domain.Refused, create(b))
	b = batch
	b.Name = ""
	refuse("invalid_request", domain.Invalid, create(b))
	refuse("id_conflict", domain.Conflict, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Batches.Create(ctx, tx, batch)
		return err
	})
	refuse("wrong_site", domain.Refused, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Units.Create(ctx, tx, domain.Unit{ID: newID[domain.Unit](), Site: other, Name: "Tank", Kind: "tank", Loop: &loop.ID})
		return err
	})
	refuse("invalid_request", domain.Invalid, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Units.Revise(ctx, tx, open, 1, nil, func(u *domain.Unit) error { u.Site = other; return nil })
		return err
	})
	refuse("invalid_request", domain.Invalid, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Sites.Create(ctx, tx, domain.SiteFacts{ID: newID[domain.SiteFacts](), Name: "Nowhere", Kind: "other", Zone: ptr("Mars/Olympus")})
		return err
	})
	refuse("invalid_request", domain.Invalid, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Sites.Revise(ctx, tx, site, 1, ptr(domain.NewDate(2026, 1, 1)), func(*domain.SiteFacts) error { return nil })
		return err
	})
}

func TestCoop(t *testing.T) {
	t.Parallel()
	store := open(t)
	f := newFarm(t, store)
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		changed, err := postgres.Coops.Revise(ctx, tx, f.coop, 1, nil, func(c *domain.Coop) error {
			c.ShareBy, c.Zone = "unit_days", "Africa/Kampala"
			return nil
		})
		if changed.Version != 2 || changed.ShareBy != "unit_days" || changed.Zone != "Africa/Kampala" || changed.Currency != "KES" {
			t.Errorf("changed to %+v", changed)
		}
		return err
	})
	for what, change := range map[string]func(*domain.Coop){
		"another currency": func(c *domain.Coop) { c.Currency = "UGX" },
		"no zone":          func(c *domain.Coop) { c.Zone = "Local" },
		"no country":       func(c *domain.Coop) { c.Country = "Kenya" },
	} {
		err := store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
			_, err := postgres.Coops.Revise(t.Context(), tx, f.coop, 2, nil, func(c *domain.Coop) error { change(c); return nil })
			return err
		})
		t.Log(what)
		wantCode(t, err, domain.Invalid, "invalid_request")
	}
	_, err := store.CreateCoop(t.Context(), domain.Coop{ID: f.coop, Name: "Again", Currency: "KES", Zone: "UTC", Country: "KE", ShareBy: "gram_days"})
	wantCode(t, err, domain.Conflict, "id_conflict")
}

// A change for the past ends where a later one begins, and does not touch today.
func TestDatedFacts(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	id := f.unit(t, f.site(t)) // 5000 l since ever
	march, may, june := domain.NewDate(2026, 3, 1), domain.NewDate(2025, 5, 1), domain.NewDate(2025, 6, 1)
	revise := func(version int64, from *domain.Date, litres domain.Thousandths) domain.Unit {
		t.Helper()
		var changed domain.Unit
		f.update(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
			changed, err = postgres.Units.Revise(ctx, tx, id, version, from, func(u *domain.Unit) error {
				u.WaterVolumeL = ptr(litres * 1000)
				return nil
			})
			return err
		})
		return changed
	}
	if u := revise(1, &june, 6000); *u.WaterVolumeL != 6_000_000 {
		t.Errorf("after the change of June it holds %d ml", *u.WaterVolumeL)
	}
	if u := revise(2, &may, 4000); *u.WaterVolumeL != 6_000_000 || u.Version != 3 {
		t.Errorf("the change of May has changed today: %+v", u)
	}
	// What a change of one member is shown of the others is what held on its day.
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Units.Revise(ctx, tx, id, 3, &may, func(u *domain.Unit) error {
			if *u.WaterVolumeL != 4_000_000 {
				t.Errorf("in May it held %d ml", *u.WaterVolumeL)
			}
			u.DensityLimitKgM3 = ptr(domain.Thousandths(30_000))
			return nil
		})
		return err
	})
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		history, err := postgres.Units.Revisions(ctx, tx, postgres.History[domain.UnitID]{IDs: []domain.UnitID{id}})
		if err != nil {
			return err
		}
		for _, want := range []struct {
			on     domain.Date
			litres domain.Thousandths
			limit  bool
		}{
			{domain.NewDate(2025, 4, 30), 5000, false}, {may, 4000, true}, {june - 1, 4000, true}, {june, 6000, false}, {march, 6000, false},
		} {
			u, ok := domain.FactsOn(history, want.on)
			if !ok || *u.WaterVolumeL != want.litres*1000 || (u.DensityLimitKgM3 != nil) != want.limit {
				t.Errorf("on %s it was %+v", want.on, u)
			}
		}
		return nil
	})
	err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := postgres.Units.Revise(t.Context(), tx, id, 4, ptr(domain.NewDate(2100, 1, 1)), func(*domain.Unit) error { return nil })
		return err
	})
	wantCode(t, err, domain.Refused, "in_future")
}

func TestCreateBatchAgain(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	site := f.site(t)
	batch := domain.Batch{ID: newID[domain.Batch](), Site: site, Unit: f.unit(t, site), Species: "TLN", Name: "Batch 1"}
	make := func(c postgres.Credential, b domain.Batch) (made domain.Batch, created bool, err error) {
		err = f.store.Update(t.Context(), c, func(tx *postgres.Tx) error {
			made, created, err = postgres.CreateBatch(t.Context(), tx, b)
			return err
		})
		return made, created, err
	}
	recorder := f.token(t, domain.Keeper, []domain.SiteID{site})
	if _, created, err := make(recorder, batch); err != nil || !created {
		t.Fatalf("created %v, %v", created, err)
	}
	if made, created, err := make(recorder, batch); err != nil || created || made.Version != 1 {
		t.Errorf("the same again: %+v, created %v, %v", made, created, err)
	}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Units.Revise(ctx, tx, batch.Unit, 1, nil, func(u *domain.Unit) error { u.Archived = true; return nil })
		if err != nil {
			return err
		}
		_, err = postgres.Batches.Revise(ctx, tx, batch.ID, 1, nil, func(b *domain.Batch) error { b.Name = "Batch one"; return nil })
		return err
	})
	if made, created, err := make(recorder, batch); err != nil || created || made.Name != "Batch one" {
		t.Errorf("the same after a change: %+v, created %v, %v", made, created, err)
	}
	another := batch
	another.Species = "CLZ"
	_, _, err := make(recorder, another)
	wantCode(t, err, domain.Conflict, "id_conflict")
	elsewhere := f.token(t, domain.Keeper, []domain.SiteID{f.site(t)})
	_, _, err = make(elsewhere, batch)
	var refused *domain.Error
	if !errors.As(err, &refused) {
		t.Errorf("from another site: %v", err)
	}
}

func TestPaging(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	var want []domain.PartyID
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		for range 25 {
			p, err := postgres.Parties.Create(ctx, tx, domain.Party{ID: newID[domain.Party](), Name: "Buyer", Roles: []string{"buyer"}})
			if err != nil {
				return err
			}
			want = append(want, p.ID)
		}
		return nil
	})
	slices.SortFunc(want, domain.PartyID.Compare)
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		var got []domain.PartyID
		filter := postgres.Filter[domain.PartyID]{Limit: 7, Archived: ptr(false)}
		for pages := 1; ; pages++ {
			page, more, err := postgres.Parties.List(ctx, tx, filter)
			if err != nil {
				return err
			}
			for _, p := range page {
				got = append(got, p.ID)
			}
			if !more {
				if pages != 4 || !slices.Equal(got, want) {
					t.Errorf("%d pages with %d parties, want 4 with all 25 in order", pages, len(got))
				}
				return nil
			}
			filter.After = &got[len(got)-1]
		}
	})
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		page, more, err := postgres.Parties.List(ctx, tx, postgres.Filter[domain.PartyID]{Limit: 25, Archived: ptr(true)})
		if len(page) != 0 || more {
			t.Errorf("%d archived parties", len(page))
		}
		return err
	})
}

func TestSpecies(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		all, err := postgres.AllSpecies(ctx, tx)
		byCode := map[string]domain.Species{}
		for _, s := range all {
			byCode[s.Code] = s
			if s.Source == "" {
				t.Errorf("%s has no source", s.Code)
			}
		}
		// published source: ASFIS, 2023 and 2020 lists; the trap of the two African catfish.
		if byCode["CLZ"].ScientificName != "Clarias gariepinus" || byCode["HEB"].EnglishName != "African catfish" {
			t.Errorf("the species are %+v", all)
		}
		return err
	})
}
