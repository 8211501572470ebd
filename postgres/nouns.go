package postgres

import (
	"context"
	"errors"
	"reflect"
	"slices"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// Coops has the one co-operative that a transaction is in.
var Coops = Noun[domain.Coop, domain.CoopID]{
	name:  "coop",
	fixed: []string{"currency"},
	plain: []string{"name", "zone", "country"},
	dated: []string{"share_by"},
	id:    func(f *domain.Coop) domain.CoopID { return f.ID },
	pack: func(f *domain.Coop) []any {
		return []any{f.Currency, f.Name, f.Zone, f.Country, f.ShareBy}
	},
	check: (*domain.Coop).Check,
	admit: func(_ context.Context, _ *Tx, _, is *domain.Coop) error { return CheckZone(is.Zone) },
}

// Sites has the schools and farms.
var Sites = Noun[domain.SiteFacts, domain.SiteID]{
	name:  "site",
	site:  "id",
	plain: []string{"name", "kind", "longitude", "latitude", "altitude_m", "zone", "tags", "archived"},
	id:    func(f *domain.SiteFacts) domain.SiteID { return f.ID },
	pack: func(f *domain.SiteFacts) []any {
		return []any{f.Name, f.Kind, f.Longitude, f.Latitude, f.AltitudeM, f.Zone, list(f.Tags), f.Archived}
	},
	check: (*domain.SiteFacts).Check,
	admit: func(_ context.Context, _ *Tx, _, is *domain.SiteFacts) error {
		if is.Zone == nil {
			return nil
		}
		return CheckZone(*is.Zone)
	},
}

// Units has the tanks, ponds, cages and grow beds.
var Units = Noun[domain.Unit, domain.UnitID]{
	name:   "unit",
	booked: true,
	site:   "site_id",
	fixed:  []string{"site_id"},
	plain:  []string{"name", "kind", "archived"},
	dated:  []string{"water_volume_l", "bed_area_m2", "pond_area_m2", "density_limit_kg_m3", "loop_id"},
	id:     func(f *domain.Unit) domain.UnitID { return f.ID },
	pack: func(f *domain.Unit) []any {
		return []any{f.Site, f.Name, f.Kind, f.Archived, f.WaterVolumeL, f.BedAreaM2, f.PondAreaM2, f.DensityLimitKgM3, f.Loop}
	},
	check: (*domain.Unit).Check,
	admit: func(ctx context.Context, tx *Tx, was, is *domain.Unit) error {
		if was == nil {
			if err := inUse(ctx, tx, "site", "/site_id", is.Site, is.Site); err != nil {
				return err
			}
		}
		if is.Loop == nil || was != nil && was.Loop != nil && *was.Loop == *is.Loop {
			return nil
		}
		return inUse(ctx, tx, "loop", "/loop_id", *is.Loop, is.Site)
	},
}

// Loops has what units share their water through.
var Loops = Noun[domain.Loop, domain.LoopID]{
	name:  "loop",
	site:  "site_id",
	fixed: []string{"site_id"},
	plain: []string{"name", "archived"},
	dated: []string{"pump_flow_l_h", "pump_power_w", "drain_flow_l_h"},
	id:    func(f *domain.Loop) domain.LoopID { return f.ID },
	pack: func(f *domain.Loop) []any {
		return []any{f.Site, f.Name, f.Archived, f.PumpFlowLH, f.PumpPowerW, f.DrainFlowLH}
	},
	check: (*domain.Loop).Check,
	admit: func(ctx context.Context, tx *Tx, was, is *domain.Loop) error {
		if was != nil {
			return nil
		}
		return inUse(ctx, tx, "site", "/site_id", is.Site, is.Site)
	},
}

// Parties has the hatcheries, sellers, buyers and funders.
var Parties = Noun[domain.Party, domain.PartyID]{
	name:  "party",
	plain: []string{"name", "roles", "phone", "archived"},
	id:    func(f *domain.Party) domain.PartyID { return f.ID },
	pack: func(f *domain.Party) []any {
		return []any{f.Name, list(f.Roles), f.Phone, f.Archived}
	},
	check: (*domain.Party).Check,
}

// Products has the feed and the other inputs.
var Products = Noun[domain.Product, domain.ProductID]{
	name:   "product",
	booked: true,
	fixed:  []string{"unit"},
	plain:  []string{"name", "category", "stored", "lead_days", "archived"},
	dated:  []string{"protein_percent", "moisture_percent"},
	id:     func(f *domain.Product) domain.ProductID { return f.ID },
	pack: func(f *domain.Product) []any {
		return []any{f.Unit, f.Name, f.Category, f.Stored, f.LeadDays, f.Archived, f.ProteinPercent, f.MoisturePercent}
	},
	check: (*domain.Product).Check,
	admit: func(_ context.Context, tx *Tx, was, is *domain.Product) error {
		if was != nil && !reflect.DeepEqual(was.ProteinPercent, is.ProteinPercent) {
			tx.alone() // before the change locks the sites, for which those who record wait
		}
		return nil
	},
	follow: func(ctx context.Context, tx *Tx, was, is *domain.Product, from domain.Date) error {
		if reflect.DeepEqual(was.ProteinPercent, is.ProteinPercent) {
			return nil
		}
		return tx.refoldFeedings(ctx, is.ID, from)
	},
}

// Equipment has what is written off over its life.
var Equipment = Noun[domain.Equipment, domain.EquipmentID]{
	name:   "equipment",
	booked: true,
	site:   "site_id",
	fixed:  []string{"site_id"},
	plain:  []string{"name", "archived"},
	dated:  []string{"cost", "salvage", "life_months", "in_use_from", "retired_on"},
	id:     func(f *domain.Equipment) domain.EquipmentID { return f.ID },
	pack: func(f *domain.Equipment) []any {
		return []any{f.Site, f.Name, f.Archived, f.Cost, f.Salvage, f.LifeMonths, f.InUseFrom, f.RetiredOn}
	},
	check: (*domain.Equipment).Check,
	admit: func(ctx context.Context, tx *Tx, was, is *domain.Equipment) error {
		if was != nil {
			return nil
		}
		return inUse(ctx, tx, "site", "/site_id", is.Site, is.Site)
	},
}

// Batches has the fish stocked together.
var Batches = Noun[domain.Batch, domain.BatchID]{
	name:  "batch",
	site:  "site_id",
	fixed: []string{"site_id", "unit_id", "species"},
	plain: []string{"name", "tags", "season", "target_weight", "target_on", "archived"},
	id:    func(f *domain.Batch) domain.BatchID { return f.ID },
	pack: func(f *domain.Batch) []any {
		return []any{f.Site, f.Unit, f.Species, f.Name, list(f.Tags), f.Season, f.TargetWeight, f.TargetOn, f.Archived}
	},
	check: (*domain.Batch).Check,
	admit: func(ctx context.Context, tx *Tx, was, is *domain.Batch) error {
		if was != nil {
			return nil
		}
		if err := inUse(ctx, tx, "site", "/site_id", is.Site, is.Site); err != nil {
			return err
		}
		return inUse(ctx, tx, "unit", "/unit_id", is.Unit, is.Site)
	},
}

// Periods has the calendars of the sites.
var Periods = Noun[domain.Period, domain.PeriodID]{
	name:  "period",
	site:  "site_id",
	fixed: []string{"site_id"},
	plain: []string{"kind", "name", "starts_on", "ends_on", "feeder", "archived"},
	id:    func(f *domain.Period) domain.PeriodID { return f.ID },
	pack: func(f *domain.Period) []any {
		return []any{f.Site, f.Kind, f.Name, f.StartsOn, f.EndsOn, f.Feeder, f.Archived}
	},
	check: (*domain.Period).Check,
}

// WaterLimits has what the co-operative holds good water to be.
var WaterLimits = Noun[domain.WaterLimit, domain.LimitID]{
	name:  "water_limit",
	fixed: []string{"species", "parameter"},
	plain: []string{"low_alarm", "low_warn", "high_warn", "high_alarm", "source", "archived"},
	id:    func(f *domain.WaterLimit) domain.LimitID { return f.ID },
	pack: func(f *domain.WaterLimit) []any {
		return []any{f.Species, f.Parameter, f.LowAlarm, f.LowWarn, f.HighWarn, f.HighAlarm, f.Source, f.Archived}
	},
	check: (*domain.WaterLimit).Check,
}

// Factors has what the co-operative takes to be eaten of its fish.
var Factors = Noun[domain.OwnFactor, domain.FactorID]{
	name:  "factor",
	fixed: []string{"species", "form"},
	plain: []string{"archived"},
	dated: []string{"yield", "protein", "source"},
	id:    func(f *domain.OwnFactor) domain.FactorID { return f.ID },
	pack: func(f *domain.OwnFactor) []any {
		return []any{f.Species, f.Form, f.Archived, f.Yield, f.Protein, f.Source}
	},
	check: (*domain.OwnFactor).Check,
}

// factorsOn returns the factors of the co-operative that are in use, as they hold on a day.
func (tx *Tx) factorsOn(ctx context.Context, day domain.Date) ([]domain.OwnFactor, error) {
	used, err := all[struct{ ID domain.FactorID }](ctx, tx, `select id from factor where coop_id = $1 and not archived`, tx.coop)
	if err != nil || len(used) == 0 {
		return nil, err
	}
	ids := make([]domain.FactorID, len(used))
	for i, f := range used {
		ids[i] = f.ID
	}
	history, err := Factors.Revisions(ctx, tx, History[domain.FactorID]{IDs: ids})
	var on []domain.OwnFactor
	for len(history) > 0 {
		n := 1
		for n < len(history) && history[n].Facts.ID == history[0].Facts.ID {
			n++
		}
		if f, ok := domain.FactsOn(history[:n], day); ok {
			on = append(on, f)
		}
		history = history[n:]
	}
	return on, err
}

// LimitsFor returns what readings of the water of a species are judged by.
func LimitsFor(ctx context.Context, tx *Tx, species string) ([]domain.LimitInForce, error) {
	var known []struct{ Code string }
	var own []domain.WaterLimit
	later(tx, &known, `select code from species where code = $1`, species)
	tx.limits(&own)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	if len(known) == 0 {
		return nil, domain.Missing("species")
	}
	return domain.LimitsInForce(species, own), nil
}

// limits queues the reading of the limits of the co-operative that are in force.
func (tx *Tx) limits(into *[]domain.WaterLimit) {
	later(tx, into, `select `+WaterLimits.columns("n", "n")+` from water_limit n where n.coop_id = $1 and not n.archived`, tx.coop)
}

// CreateBatch adds a batch under the id its sender made. The same batch again is
// what became of it, and not an error, even where it could not be made any more;
// created says which.
func CreateBatch(ctx context.Context, tx *Tx, b domain.Batch) (_ domain.Batch, created bool, err error) {
	made, known, err := knownBatch(ctx, tx, b)
	if err != nil || known {
		return made, false, err
	}
	made, created, err = Batches.create(ctx, tx, b)
	if err != nil || created {
		return made, created, err
	}
	made, known, err = knownBatch(ctx, tx, b) // somebody was faster
	if err == nil && !known {                 // at a site that is not to be seen
		conflict := violations["batch_pk"]
		return b, false, &conflict
	}
	return made, false, err
}

// knownBatch returns what became of a batch that was made with the same facts.
func knownBatch(ctx context.Context, tx *Tx, b domain.Batch) (_ domain.Batch, known bool, err error) {
	history, err := Batches.Revisions(ctx, tx, History[domain.BatchID]{IDs: []domain.BatchID{b.ID}})
	if err != nil || len(history) == 0 {
		return b, false, err
	}
	if !reflect.DeepEqual(Batches.pack(&history[0].Facts), Batches.pack(&b)) {
		conflict := violations["batch_pk"]
		return b, false, &conflict
	}
	return history[len(history)-1].Facts, true, nil
}

// AllSpecies returns the kinds of fish that batches can be of, by code.
func AllSpecies(ctx context.Context, tx *Tx) ([]domain.Species, error) {
	return all[domain.Species](ctx, tx, `select code, scientific_name, english_name, french_name, source from species order by code`)
}

// inUse refuses to hang something on a thing that is not there, at another site
// or out of use, and keeps it in use until the transaction ends.
func inUse(ctx context.Context, tx *Tx, noun, pointer string, id [16]byte, site domain.SiteID) error {
	column := "site_id"
	if noun == "site" {
		column = "id"
	}
	type parent struct {
		Archived bool
		Site     domain.SiteID
	}
	found, err := one[parent](ctx, tx, `select archived, `+column+` as site from `+noun+` where coop_id = $1 and own_site(`+column+`) and id = $2 for share`, tx.coop, id)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		refusal := unknown(noun, pointer)
		return &refusal
	case err != nil:
		return err
	case found.Site != site:
		return &domain.Error{Kind: domain.Refused, Code: "wrong_site", Detail: "the " + noun + " is at another site",
			Fields: []domain.FieldError{{Pointer: pointer, Detail: "is at another site"}}}
	case found.Archived:
		return &domain.Error{Kind: domain.Refused, Code: "archived", Detail: "the " + noun + " is out of use",
			Fields: []domain.FieldError{{Pointer: pointer, Detail: "is out of use"}}}
	}
	return nil
}

// list returns an empty list for none, and a list that is nobody else's.
func list(items []string) []string {
	return append([]string{}, slices.Clone(items)...)
}
