package integration_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
)

// TestSimulatedSeason sends everything that a small simulated co-operative has
// recorded, in the order in which its people did, with their mistakes and with what
// came late. The figures must be those that follow from what stands in the end.
func TestSimulatedSeason(t *testing.T) {
	t.Parallel()
	today := todayAt(t, "Africa/Lusaka")
	coop := simulate.New(simulate.Options{Seed: 7, Sites: 2, Seasons: 1, Today: today})
	s := newService(t).neighbour(coop.Facts.Currency)
	r := &replay{service: s, coop: coop, ids: map[string]string{}, journal: map[domain.SiteID][]domain.Entry{}}
	r.register()
	sent := 0
	for _, entries := range coop.Requests() {
		r.send(entries)
		sent += len(entries)
	}
	figures := 0
	for i := range coop.Sites {
		m := r.model(&coop.Sites[i])
		for _, asOf := range []domain.Date{today - 150, today - 60, today - 7, today} {
			figures += m.compare(s, asOf)
		}
	}
	s.sound()
	t.Logf("%d entries, %d figures are those of the model", sent, figures)
	if sent < 500 || figures < 1000 {
		t.Error("the co-operative is too small")
	}
}

// A replay tells the service what has happened in a simulated co-operative.
type replay struct {
	*service
	coop    *simulate.Coop
	ids     map[string]string                // of the simulation, to those that the service gave
	journal map[domain.SiteID][]domain.Entry // what was sent, by the ids of the service
}

// register adds what the co-operative has.
func (r *replay) register() {
	r.t.Helper()
	for _, p := range r.coop.Parties {
		r.ids[p.ID.String()] = r.create("/v1/parties", members{"name": p.Name, "roles": p.Roles})
	}
	for _, p := range r.coop.Products {
		r.ids[p.ID.String()] = r.create("/v1/products", filledIn(members{"name": p.Name, "category": p.Category, "unit": p.Unit, "stored": p.Stored,
			"protein_percent": numeral(p.ProteinPercent), "moisture_percent": numeral(p.MoisturePercent)}))
	}
	for _, x := range r.coop.Sites {
		site := r.create("/v1/sites", members{"name": x.Facts.Name, "kind": x.Facts.Kind})
		r.ids[x.Facts.ID.String()] = site
		for _, l := range x.Loops {
			r.ids[l.ID.String()] = r.create("/v1/loops", filledIn(members{"site_id": site, "name": l.Name, "pump_flow_l_h": numeral(l.PumpFlowLH)}))
		}
		for _, u := range x.Units {
			unit := members{"site_id": site, "name": u.Name, "kind": u.Kind, "water_volume_l": numeral(u.WaterVolumeL), "bed_area_m2": numeral(u.BedAreaM2)}
			if u.Loop != nil {
				unit["loop_id"] = r.ids[u.Loop.String()]
			}
			r.ids[u.ID.String()] = r.create("/v1/units", filledIn(unit))
		}
		for _, e := range x.Equipment {
			equipment := members{"site_id": site, "name": e.Name, "cost": r.coop.Facts.Currency.Format(e.Cost), "salvage": r.coop.Facts.Currency.Format(e.Salvage),
				"life_months": e.LifeMonths, "in_use_from": e.InUseFrom.String()}
			if e.RetiredOn != nil {
				equipment["retired_on"] = e.RetiredOn.String()
			}
			r.create("/v1/equipment", equipment)
		}
		for _, b := range x.Batches {
			r.do("POST", "/v1/batches", r.coordinator, members{"id": b.ID.String(), "site_id": site, "unit_id": r.ids[b.Unit.String()], "species": b.Species, "name": b.Name}).want(http.StatusCreated)
		}
	}
}

func numeral(v *domain.Thousandths) any {
	if v == nil {
		return nil
	}
	return json.Number(v.Format())
}

// filledIn leaves out the members that are nothing.
func filledIn(m members) members {
	for name, v := range m {
		if v == nil {
			delete(m, name)
		}
	}
	return m
}

// send sends some entries, all of which must be taken, and notes what crosses sites
// with the value that it has then.
func (r *replay) send(entries []domain.Entry) {
	r.t.Helper()
	var pairs []string
	for theirs, ours := range r.ids {
		pairs = append(pairs, theirs, ours)
	}
	ours := strings.NewReplacer(pairs...)
	var raw []json.RawMessage
	var sent []domain.EntryID
	for _, e := range entries {
		text := ours.Replace(string(domain.EncodeEntry(&e, r.coop.Facts.Currency)))
		raw = append(raw, json.RawMessage(text))
		entry, err := domain.DecodeEntry([]byte(text), r.coop.Facts.Currency)
		if err != nil {
			r.t.Fatal(err)
		}
		if r.known(entry) {
			continue
		}
		switch b := entry.Body.(type) {
		case domain.Sent:
			sent = append(sent, e.ID)
		case domain.Received:
			entry.Fixed = r.crossed(b.Sent)
		}
		r.journal[entry.Site] = append(r.journal[entry.Site], entry)
	}
	r.do("POST", "/v1/entries", r.coordinator, members{"entries": raw}, "Prefer", "handling=strict").want(http.StatusOK)
	for _, id := range sent {
		r.fix(id)
	}
}

// known reports whether an entry was sent before.
func (r *replay) known(e domain.Entry) bool {
	for _, other := range r.journal[e.Site] {
		if other.ID == e.ID {
			return true
		}
	}
	return false
}

// crossed returns what was sent by an entry.
func (r *replay) crossed(sent domain.EntryID) *domain.Consignment {
	for _, entries := range r.journal {
		for _, e := range entries {
			if e.ID == sent {
				return e.Fixed
			}
		}
	}
	return nil
}

// fix gives what was sent the value that it has by what is recorded so far.
func (r *replay) fix(sent domain.EntryID) {
	r.t.Helper()
	for site, entries := range r.journal {
		for i := range entries {
			if entries[i].ID != sent {
				continue
			}
			standing := simulate.Standing(entries)
			if err := domain.NewSite(site, r.facts(site)).Fold(standing, nil); err != nil {
				r.t.Fatal(err)
			}
			for _, e := range standing {
				if e.ID == sent {
					entries[i].Fixed = e.Fixed
				}
			}
		}
	}
}

// facts returns what the registry says of a site, by the ids of the service.
func (r *replay) facts(site domain.SiteID) domain.Facts {
	all := domain.Facts{Batches: map[domain.BatchID]domain.Batch{}, Units: map[domain.UnitID]domain.Unit{}, Products: map[domain.ProductID]domain.ProductFacts{}}
	for i := range r.coop.Sites {
		x := &r.coop.Sites[i]
		if r.ids[x.Facts.ID.String()] != site.String() {
			continue
		}
		theirs := r.coop.FactsOf(x)
		for key, b := range theirs.Batches {
			b.Unit = id[domain.Unit](r.ids[b.Unit.String()])
			all.Batches[key] = b
		}
		for key, u := range theirs.Units {
			all.Units[id[domain.Unit](r.ids[key.String()])] = u
		}
		for key, p := range theirs.Products {
			all.Products[id[domain.Product](r.ids[key.String()])] = p
		}
	}
	return all
}

// model returns the model of a site.
func (r *replay) model(x *simulate.Site) *model {
	site := id[domain.SiteFacts](r.ids[x.Facts.ID.String()])
	m := &model{site: site, facts: r.facts(site), entries: simulate.Standing(r.journal[site]), currency: r.coop.Facts.Currency,
		rules: []domain.Revision[string]{{Facts: domain.ByGramDays}}, water: map[domain.UnitID][]domain.Revision[*domain.Thousandths]{}}
	for _, u := range x.Units {
		m.water[id[domain.Unit](r.ids[u.ID.String()])] = []domain.Revision[*domain.Thousandths]{{Facts: u.WaterVolumeL}}
	}
	for _, e := range x.Equipment {
		m.equipment = append(m.equipment, domain.DepreciationLines([]domain.EquipmentFrom{{From: e.InUseFrom, Equipment: e}})...)
	}
	return m
}
