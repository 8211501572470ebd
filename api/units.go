package api

import (
	"encoding/json"
	"strconv"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireUnit struct {
	ID   domain.UnitID `json:"id"`
	Site domain.SiteID `json:"site_id"`
	Name string        `json:"name"`
	Kind string        `json:"kind"`
	wireUnitFacts
	Archived bool `json:"archived"`
}

type wireUnitFacts struct {
	WaterVolumeL     *json.Number   `json:"water_volume_l,omitempty"`
	BedAreaM2        *json.Number   `json:"bed_area_m2,omitempty"`
	PondAreaM2       *json.Number   `json:"pond_area_m2,omitempty"`
	DensityLimitKgM3 *json.Number   `json:"density_limit_kg_m3,omitempty"`
	Loop             *domain.LoopID `json:"loop_id,omitempty"`
}

var units = noun[domain.Unit, wireUnit]{
	store: &postgres.Units,
	key:   func(f *domain.Unit) (domain.UnitID, int64) { return f.ID, f.Version },
	begin: func(w *wireUnit, id domain.UnitID) domain.Unit { return domain.Unit{ID: id, Site: w.Site} },
	read: func(r *reading, w *wireUnit, f *domain.Unit) {
		f.Name, f.Kind, f.Loop, f.Archived = w.Name, w.Kind, w.Loop, w.Archived
		f.WaterVolumeL = r.decimal(w.WaterVolumeL, "/water_volume_l")
		f.BedAreaM2, f.PondAreaM2 = r.decimal(w.BedAreaM2, "/bed_area_m2"), r.decimal(w.PondAreaM2, "/pond_area_m2")
		f.DensityLimitKgM3 = r.decimal(w.DensityLimitKgM3, "/density_limit_kg_m3")
	},
	write: func(f *domain.Unit, _ domain.Currency) wireUnit {
		facts := wireUnitFacts{decimal(f.WaterVolumeL), decimal(f.BedAreaM2), decimal(f.PondAreaM2), decimal(f.DensityLimitKgM3), f.Loop}
		return wireUnit{ID: f.ID, Site: f.Site, Name: f.Name, Kind: f.Kind, wireUnitFacts: facts, Archived: f.Archived}
	},
	dated: func(w *wireUnit) any { return w.wireUnitFacts },
}

// ListUnits lists tanks, ponds, cages and beds.
func (s *Server) ListUnits(c *gin.Context, q openapi.ListUnitsParams) {
	units.list(s, c, asked{q.After, q.Limit, q.Archived, q.SiteID})
}

// CreateUnit adds a tank or bed.
func (s *Server) CreateUnit(c *gin.Context, p openapi.CreateUnitParams) {
	units.create(s, c, p.IdempotencyKey)
}

// GetUnit shows a tank or bed.
func (s *Server) GetUnit(c *gin.Context, id openapi.UnitPath) { units.get(s, c, domain.UnitID(id)) }

// ReviseUnit changes a tank or bed.
func (s *Server) ReviseUnit(c *gin.Context, id openapi.UnitPath, _ openapi.ReviseUnitParams) {
	units.revise(s, c, domain.UnitID(id))
}

// ListUnitRevisions lists what was recorded of the dated facts of a tank or bed.
func (s *Server) ListUnitRevisions(c *gin.Context, id openapi.UnitPath, q openapi.ListUnitRevisionsParams) {
	units.revisions(s, c, domain.UnitID(id), q.After, q.Limit)
}

type wireLoop struct {
	ID   domain.LoopID `json:"id"`
	Site domain.SiteID `json:"site_id"`
	Name string        `json:"name"`
	wireLoopFacts
	Archived bool `json:"archived"`
}

type wireLoopFacts struct {
	PumpFlowLH  *json.Number `json:"pump_flow_l_h,omitempty"`
	PumpPowerW  *json.Number `json:"pump_power_w,omitempty"`
	DrainFlowLH *json.Number `json:"drain_flow_l_h,omitempty"`
}

var loops = noun[domain.Loop, wireLoop]{
	store: &postgres.Loops,
	key:   func(f *domain.Loop) (domain.LoopID, int64) { return f.ID, f.Version },
	begin: func(w *wireLoop, id domain.LoopID) domain.Loop { return domain.Loop{ID: id, Site: w.Site} },
	read: func(r *reading, w *wireLoop, f *domain.Loop) {
		f.Name, f.Archived = w.Name, w.Archived
		f.PumpFlowLH = r.decimal(w.PumpFlowLH, "/pump_flow_l_h")
		f.PumpPowerW = r.decimal(w.PumpPowerW, "/pump_power_w")
		f.DrainFlowLH = r.decimal(w.DrainFlowLH, "/drain_flow_l_h")
	},
	write: func(f *domain.Loop, _ domain.Currency) wireLoop {
		facts := wireLoopFacts{decimal(f.PumpFlowLH), decimal(f.PumpPowerW), decimal(f.DrainFlowLH)}
		return wireLoop{ID: f.ID, Site: f.Site, Name: f.Name, wireLoopFacts: facts, Archived: f.Archived}
	},
	dated: func(w *wireLoop) any { return w.wireLoopFacts },
}

// ListLoops lists loops.
func (s *Server) ListLoops(c *gin.Context, q openapi.ListLoopsParams) {
	loops.list(s, c, asked{q.After, q.Limit, q.Archived, q.SiteID})
}

// CreateLoop adds a loop.
func (s *Server) CreateLoop(c *gin.Context, p openapi.CreateLoopParams) {
	loops.create(s, c, p.IdempotencyKey)
}

// GetLoop shows a loop.
func (s *Server) GetLoop(c *gin.Context, id openapi.LoopPath) { loops.get(s, c, domain.LoopID(id)) }

// ReviseLoop changes a loop.
func (s *Server) ReviseLoop(c *gin.Context, id openapi.LoopPath, _ openapi.ReviseLoopParams) {
	loops.revise(s, c, domain.LoopID(id))
}

// ListLoopRevisions lists what was recorded of the dated facts of a loop.
func (s *Server) ListLoopRevisions(c *gin.Context, id openapi.LoopPath, q openapi.ListLoopRevisionsParams) {
	loops.revisions(s, c, domain.LoopID(id), q.After, q.Limit)
}

type wireEquipment struct {
	ID   domain.EquipmentID `json:"id"`
	Site domain.SiteID      `json:"site_id"`
	Name string             `json:"name"`
	wireEquipmentFacts
	Archived bool `json:"archived"`
}

type wireEquipmentFacts struct {
	Cost       string       `json:"cost"`
	Salvage    string       `json:"salvage"`
	LifeMonths json.Number  `json:"life_months"`
	InUseFrom  domain.Date  `json:"in_use_from"`
	RetiredOn  *domain.Date `json:"retired_on,omitempty"`
}

var equipment = noun[domain.Equipment, wireEquipment]{
	store: &postgres.Equipment,
	key:   func(f *domain.Equipment) (domain.EquipmentID, int64) { return f.ID, f.Version },
	begin: func(w *wireEquipment, id domain.EquipmentID) domain.Equipment {
		if w.Salvage == "" {
			w.Salvage = "0"
		}
		return domain.Equipment{ID: id, Site: w.Site}
	},
	read: func(r *reading, w *wireEquipment, f *domain.Equipment) {
		f.Name, f.InUseFrom, f.RetiredOn, f.Archived = w.Name, w.InUseFrom, w.RetiredOn, w.Archived
		f.Cost = r.money(w.Cost, "/cost")
		f.Salvage = r.money(w.Salvage, "/salvage")
		f.LifeMonths = r.whole(w.LifeMonths, "/life_months")
	},
	write: func(f *domain.Equipment, c domain.Currency) wireEquipment {
		facts := wireEquipmentFacts{c.Format(f.Cost), c.Format(f.Salvage), json.Number(strconv.Itoa(int(f.LifeMonths))), f.InUseFrom, f.RetiredOn}
		return wireEquipment{ID: f.ID, Site: f.Site, Name: f.Name, wireEquipmentFacts: facts, Archived: f.Archived}
	},
	dated: func(w *wireEquipment) any { return w.wireEquipmentFacts },
}

// ListEquipment lists equipment.
func (s *Server) ListEquipment(c *gin.Context, q openapi.ListEquipmentParams) {
	equipment.list(s, c, asked{q.After, q.Limit, q.Archived, q.SiteID})
}

// CreateEquipment adds a piece of equipment.
func (s *Server) CreateEquipment(c *gin.Context, p openapi.CreateEquipmentParams) {
	equipment.create(s, c, p.IdempotencyKey)
}

// GetEquipment shows a piece of equipment.
func (s *Server) GetEquipment(c *gin.Context, id openapi.EquipmentPath) {
	equipment.get(s, c, domain.EquipmentID(id))
}

// ReviseEquipment changes a piece of equipment.
func (s *Server) ReviseEquipment(c *gin.Context, id openapi.EquipmentPath, _ openapi.ReviseEquipmentParams) {
	equipment.revise(s, c, domain.EquipmentID(id))
}

// ListEquipmentRevisions lists what was recorded of the dated facts of a piece of equipment.
func (s *Server) ListEquipmentRevisions(c *gin.Context, id openapi.EquipmentPath, q openapi.ListEquipmentRevisionsParams) {
	equipment.revisions(s, c, domain.EquipmentID(id), q.After, q.Limit)
}
