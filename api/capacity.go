package api

import (
	"context"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireCapacity struct {
	Unit        domain.UnitID `json:"unit_id"`
	AsOf        domain.Date   `json:"as_of"`
	Species     *string       `json:"species"`
	Says        string        `json:"says"`
	Target      wireNumber    `json:"target_weight_g"`
	Ration      wireNumber    `json:"ration_percent"`
	Limits      []wireLimit   `json:"limits"`
	Binding     *string       `json:"binding"`
	Checks      []wireCheck   `json:"checks"`
	Now         wireHolding   `json:"now"`
	Grown       wireHolding   `json:"grown"`
	Harvest     wireHolding   `json:"harvest"`
	Power       wireNumber    `json:"power_w"`
	EnergyADay  wireNumber    `json:"energy_kwh_day"`
	EnergyPerKg wireNumber    `json:"energy_kwh_kg"`
	Water       []wireVerdict `json:"water"`
	Conflicts   []string      `json:"conflicts"`
	Cautions    []string      `json:"cautions"`
}

type wireLimit struct {
	Limit   string      `json:"limit"`
	Carries wireNumber  `json:"carries_kg"`
	Fish    wireNumber  `json:"fish"`
	By      []wireNamed `json:"by"`
	Says    string      `json:"says"`
}

type wireCheck struct {
	Check   string      `json:"check"`
	Verdict string      `json:"verdict"`
	By      []wireNamed `json:"by"`
	Says    string      `json:"says"`
}

type wireNamed struct {
	Name string `json:"name"`
	wireNumber
}

func named(list []domain.NamedNumber) []wireNamed {
	out := make([]wireNamed, len(list))
	for i, n := range list {
		out[i] = wireNamed{n.Name, sourced(n.Number)}
	}
	return out
}

type wireHolding struct {
	Basis         string       `json:"basis"`
	On            *domain.Date `json:"day"`
	Fish          domain.Fish  `json:"fish"`
	Biomass       wireNumber   `json:"biomass_kg"`
	Density       wireNumber   `json:"density_kg_m3"`
	OfLimit       wireNumber   `json:"of_density_limit"`
	OfSharedWater wireNumber   `json:"of_shared_water"`
	OfCarried     wireNumber   `json:"of_carried"`
}

func holding(h domain.Holding) wireHolding {
	return wireHolding{h.Basis, h.On, h.Fish, sourced(h.Biomass), sourced(h.Density), sourced(h.OfLimit), sourced(h.OfSharedWater), sourced(h.OfBinding)}
}

type wireVerdict struct {
	Parameter string      `json:"parameter"`
	Reading   wireNumber  `json:"reading"`
	ReadOn    domain.Date `json:"read_on"`
	Level     string      `json:"level"`
	Bound     wireNumber  `json:"bound"`
	TooFast   bool        `json:"too_fast"`
	Says      string      `json:"says"`
}

// GetCapacity shows what a tank can carry.
func (s *Server) GetCapacity(c *gin.Context, id openapi.UnitPath, params openapi.GetCapacityParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		unit, err := postgres.Units.Get(ctx, tx, domain.UnitID(id))
		if err != nil {
			return reply{}, err
		}
		r := &queried{c: c}
		q := domain.CapacityQuestion{TargetG: r.optional("target_weight_g"), RationPercent: r.optional("ration_percent"), Species: params.Species}
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		k, err := tx.Keeping(ctx, unit.Site, optionalDate(params.AsOf))
		if err != nil {
			return reply{}, err
		}
		capacity, err := k.Capacity(unit.ID, q)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusOK, newCapacity(unit.ID, k.Day, capacity))
	})
}

func newCapacity(id domain.UnitID, day domain.Date, c domain.Capacity) wireCapacity {
	w := wireCapacity{Unit: id, AsOf: day, Species: optionalText(c.Species.Value), Says: c.Says, Target: sourced(c.TargetG), Ration: sourced(c.RationPercent),
		Limits: []wireLimit{}, Checks: []wireCheck{}, Now: holding(c.Now), Grown: holding(c.Grown), Harvest: holding(c.Harvest),
		Power: sourced(c.PowerW), EnergyADay: sourced(c.EnergyADay), EnergyPerKg: sourced(c.EnergyPerKg),
		Water: []wireVerdict{}, Conflicts: texts(c.Conflicts), Cautions: texts(c.Cautions)}
	for _, l := range c.Limits {
		w.Limits = append(w.Limits, wireLimit{l.Name, sourced(l.Carries), sourced(l.Fish), named(l.By), l.Says})
	}
	if c.Binding != nil {
		w.Binding = &c.Binding.Name
	}
	for _, k := range c.Checks {
		w.Checks = append(w.Checks, wireCheck{k.Name, k.Verdict, named(k.By), k.Says})
	}
	for _, v := range c.Water {
		w.Water = append(w.Water, wireVerdict{v.Parameter, sourced(v.Reading), v.On, v.Level, sourced(v.Bound), v.TooFast, v.Says})
	}
	return w
}
