package simulate

import (
	"iter"
	"testing"

	"shoalbook/domain"
)

// compared are the batches of a simulated co-operative as they are given to comparisons.
func compared(t *testing.T, coop *Coop, today domain.Date) iter.Seq[*domain.ComparedBatch] {
	t.Helper()
	var all []domain.ComparedBatch
	shared := map[domain.SiteID][]domain.SharedCost{}
	states := fold(t, coop, func(x *Site, _ *domain.Site, d domain.Day) {
		shared[x.Facts.ID] = append(shared[x.Facts.ID], d.Shared...)
	})
	for i, site := range states {
		x := &coop.Sites[i]
		shared := shared[x.Facts.ID]
		for _, e := range x.Equipment {
			shared = append(shared, domain.DepreciationLines([]domain.EquipmentFrom{{From: e.InUseFrom, Equipment: e}})...)
		}
		sharing := domain.ShareOut(today, domain.ByGramDays, shared, site.Batches)
		for _, b := range x.Batches {
			m := domain.Measure{State: site.Batches[b.ID], AsOf: today, Species: b.Species, Currency: coop.Facts.Currency}
			if s := sharing.Batches[b.ID]; s != nil {
				m.Share = *s
			}
			for _, u := range x.Units {
				if m.State != nil && u.ID == m.State.Unit {
					m.Water = u.WaterVolumeL
				}
			}
			all = append(all, m.Compared(domain.BatchFacts{ID: b.ID, Site: b.Site, Season: b.Season, Tags: b.Tags, UnitKind: "tank"}))
		}
	}
	return func(yield func(*domain.ComparedBatch) bool) {
		for i := range all {
			if !yield(&all[i]) {
				return
			}
		}
	}
}

// Every measure can be taken of a simulated co-operative, and what a kilogram costs at
// each of its sites be told from what it costs at all.
func TestComparisonsOfASimulatedCoop(t *testing.T) {
	t.Parallel()
	today := domain.NewDate(2026, 11, 1)
	coop := New(Options{Seed: 11, Sites: 24, Seasons: 3, Today: today})
	batches := compared(t, coop, today)
	for i := range domain.Yardsticks {
		for _, by := range domain.ComparedBy {
			q := domain.CompareQuestion{Measure: &domain.Yardsticks[i], By: by, Standardise: []string{"species", "size"}}
			c := q.Compare(batches)
			if by != "site" {
				continue
			}
			if q.Measure.Name == "energy_per_kg" { // of which there are only the meters of whole sites
				if c.All.Value != nil || c.LeftOut[0].Batches < 100 {
					t.Errorf("electricity: %v, %v", c.All, c.LeftOut)
				}
				continue
			}
			if c.All.Value == nil {
				t.Errorf("%s: %s, %v", q.Measure.Name, c.All.NoValue, c.LeftOut)
				continue
			}
			n := map[string]int{}
			for _, g := range c.Groups {
				n[g.Verdict]++
			}
			t.Logf("%-18s %8.3f %v of %3d batches; φ %.2f, τ² %.4f, %v %s; left out %v", q.Measure.Name, *c.All.Value, *c.All.Interval, c.All.Batches, c.Dispersion.Phi, c.Dispersion.Tau2, n, c.NoVerdicts, c.LeftOut)
		}
	}
	split := 0
	for i := range coop.Sites {
		a := domain.CostQuestion{Site: coop.Sites[i].Facts.ID, Against: "coop"}.Answer(batches)
		if a.Reason != "" {
			t.Errorf("%s: %s", coop.Sites[i].Facts.Name, a.Reason)
			continue
		}
		split++
		t.Logf("%-24s %d → %d: %v", coop.Sites[i].Facts.Name, a.From, a.To, a.Parts)
	}
	if split < 20 {
		t.Errorf("the cost of %d sites can be split", split)
	}
}
