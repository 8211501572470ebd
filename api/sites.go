package api

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireCoop struct {
	ID        domain.CoopID   `json:"id"`
	Name      string          `json:"name"`
	Currency  domain.Currency `json:"currency"`
	Zone      string          `json:"zone"`
	Country   string          `json:"country"`
	ShareBy   string          `json:"share_by"`
	CreatedAt time.Time       `json:"created_at"`
}

// coops are never listed or added here: a token sees the one it belongs to.
var coops = noun[domain.Coop, wireCoop]{
	store: &postgres.Coops,
	key:   func(f *domain.Coop) (domain.CoopID, int64) { return f.ID, f.Version },
	read: func(_ *reading, w *wireCoop, f *domain.Coop) {
		f.Name, f.Zone, f.Country, f.ShareBy = w.Name, w.Zone, w.Country, w.ShareBy
	},
	write: func(f *domain.Coop, _ domain.Currency) wireCoop {
		return wireCoop{ID: f.ID, Name: f.Name, Currency: f.Currency, Zone: f.Zone, Country: f.Country, ShareBy: f.ShareBy, CreatedAt: f.CreatedAt.UTC()}
	},
}

// GetCoop shows the co-operative of the token.
func (s *Server) GetCoop(c *gin.Context) { coops.get(s, c, credentialOf(c).Coop) }

// ReviseCoop changes the co-operative of the token.
func (s *Server) ReviseCoop(c *gin.Context, _ openapi.ReviseCoopParams) {
	coops.revise(s, c, credentialOf(c).Coop)
}

type wireSite struct {
	ID        domain.SiteID `json:"id"`
	Name      string        `json:"name"`
	Kind      string        `json:"kind"`
	Location  *wirePoint    `json:"location,omitempty"`
	AltitudeM *json.Number  `json:"altitude_m,omitempty"`
	Zone      *string       `json:"zone,omitempty"`
	Tags      []string      `json:"tags"`
	Archived  bool          `json:"archived"`
}

// wirePoint is a point of GeoJSON (RFC 7946): longitude comes first.
type wirePoint struct {
	Type        string     `json:"type"`
	Coordinates [2]float64 `json:"coordinates"`
}

var sites = noun[domain.SiteFacts, wireSite]{
	store: &postgres.Sites,
	key:   func(f *domain.SiteFacts) (domain.SiteID, int64) { return f.ID, f.Version },
	begin: func(_ *wireSite, id domain.SiteID) domain.SiteFacts { return domain.SiteFacts{ID: id} },
	read: func(r *reading, w *wireSite, f *domain.SiteFacts) {
		f.Name, f.Kind, f.Zone, f.Tags, f.Archived = w.Name, w.Kind, w.Zone, w.Tags, w.Archived
		f.AltitudeM = r.decimal(w.AltitudeM, "/altitude_m")
		f.Longitude, f.Latitude = nil, nil
		if w.Location != nil {
			f.Longitude, f.Latitude = &w.Location.Coordinates[0], &w.Location.Coordinates[1]
		}
	},
	write: func(f *domain.SiteFacts, _ domain.Currency) wireSite {
		w := wireSite{ID: f.ID, Name: f.Name, Kind: f.Kind, AltitudeM: decimal(f.AltitudeM), Zone: f.Zone, Tags: f.Tags, Archived: f.Archived}
		if f.Longitude != nil {
			w.Location = &wirePoint{Type: "Point", Coordinates: [2]float64{*f.Longitude, *f.Latitude}}
		}
		return w
	},
}

// ListSites lists the sites that the token may see.
func (s *Server) ListSites(c *gin.Context, q openapi.ListSitesParams) {
	sites.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateSite adds a site.
func (s *Server) CreateSite(c *gin.Context, p openapi.CreateSiteParams) {
	sites.create(s, c, p.IdempotencyKey)
}

// GetSite shows a site.
func (s *Server) GetSite(c *gin.Context, id openapi.SitePath) { sites.get(s, c, domain.SiteID(id)) }

// ReviseSite changes a site.
func (s *Server) ReviseSite(c *gin.Context, id openapi.SitePath, _ openapi.ReviseSiteParams) {
	sites.revise(s, c, domain.SiteID(id))
}

type wireSpecies struct {
	Code           string  `json:"code"`
	ScientificName string  `json:"scientific_name"`
	EnglishName    string  `json:"english_name"`
	FrenchName     *string `json:"french_name,omitempty"`
	Source         string  `json:"source"`
}

// ListSpecies lists the kinds of fish that batches can be of.
func (s *Server) ListSpecies(c *gin.Context) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		found, err := postgres.AllSpecies(ctx, tx)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireSpecies, len(found))
		for i, f := range found {
			items[i] = wireSpecies(f)
		}
		return jsonReply(http.StatusOK, struct {
			Items []wireSpecies `json:"items"`
		}{items})
	})
}
