package api

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/api/render"
	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireReport struct {
	ID       domain.ReportID      `json:"id"`
	Grant    domain.GrantID       `json:"grant_id"`
	StartsOn domain.Date          `json:"starts_on"`
	EndsOn   domain.Date          `json:"ends_on"`
	Title    string               `json:"title"`
	Language string               `json:"language"`
	Texts    []domain.ReportWords `json:"texts"`
	State    string               `json:"state"`
	Restates *domain.ReportID     `json:"restates_id,omitempty"`
	Reason   *string              `json:"reason,omitempty"`
	KnownAt  *time.Time           `json:"known_at,omitempty"`
	IssuedBy *string              `json:"issued_by,omitempty"`
	SHA256   string               `json:"sha256,omitempty"`
	Archived bool                 `json:"archived"`
}

var reports = noun[domain.Report, wireReport]{
	store: &postgres.Reports,
	key:   func(f *domain.Report) (domain.ReportID, int64) { return f.ID, f.Version },
	begin: func(w *wireReport, id domain.ReportID) domain.Report {
		return domain.Report{ID: id, Grant: w.Grant, StartsOn: w.StartsOn, EndsOn: w.EndsOn, State: domain.ReportDraft}
	},
	read: func(_ *reading, w *wireReport, f *domain.Report) {
		f.Title, f.Language, f.Texts, f.Archived = w.Title, w.Language, nil, w.Archived
		if f.Language == "" {
			f.Language = "en"
		}
		for _, t := range w.Texts {
			f.Texts = append(f.Texts, domain.ReportText(t))
		}
	},
	write: func(f *domain.Report, _ domain.Currency) wireReport {
		w := wireReport{ID: f.ID, Grant: f.Grant, StartsOn: f.StartsOn, EndsOn: f.EndsOn, Title: f.Title, Language: f.Language, Texts: []domain.ReportWords{},
			State: f.State, Restates: f.Restates, Reason: f.Reason, KnownAt: inUTC(f.KnownAt), IssuedBy: f.IssuedBy, SHA256: hex.EncodeToString(f.SHA256), Archived: f.Archived}
		for _, t := range f.Texts {
			w.Texts = append(w.Texts, domain.ReportWords(t))
		}
		return w
	},
}

// ListReports lists reports; a funder sees those that were issued to it.
func (s *Server) ListReports(c *gin.Context, q openapi.ListReportsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.Report](c, q.After, q.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Reports(ctx, postgres.Filter[domain.ReportID]{After: after, Limit: p.limit, Archived: q.Archived})
		if err != nil {
			return reply{}, err
		}
		items, err := reports.show(ctx, tx, found...)
		if err != nil {
			return reply{}, err
		}
		return listReply(c, p, items, more, func(w wireReport) []string { return []string{w.ID.String()} })
	})
}

// CreateReport begins a report.
func (s *Server) CreateReport(c *gin.Context, p openapi.CreateReportParams) {
	reports.create(s, c, p.IdempotencyKey)
}

// GetReport shows what is known of a report.
func (s *Server) GetReport(c *gin.Context, id openapi.ReportPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		r, err := tx.Report(ctx, domain.ReportID(id))
		if err != nil {
			return reply{}, err
		}
		return reports.answer(ctx, tx, http.StatusOK, r)
	})
}

// ReviseReport changes a draft.
func (s *Server) ReviseReport(c *gin.Context, id openapi.ReportPath, _ openapi.ReviseReportParams) {
	reports.revise(s, c, domain.ReportID(id))
}

// GetReportDocument shows a report: as it was stored, or a draft as it would be now.
func (s *Server) GetReportDocument(c *gin.Context, id openapi.ReportPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		r, err := tx.Report(ctx, domain.ReportID(id))
		if err != nil {
			return reply{}, err
		}
		if r.State != domain.ReportDraft {
			kept, err := tx.Copy(ctx, r.ID, extensions[wanted(c)])
			if err != nil {
				return reply{}, err
			}
			return copyReply(kept), nil
		}
		d, err := tx.DraftDocument(ctx, r.ID)
		if err != nil {
			return reply{}, err
		}
		return draftReply(c, d)
	})
}

// copyReply answers with what is stored of a report, whose tag is its hash.
func copyReply(kept postgres.ReportCopy) reply {
	a := reply{status: http.StatusOK, media: kept.MediaType, body: kept.Content}.with("ETag", `"`+hex.EncodeToString(kept.SHA256)+`"`)
	if kept.MediaType == asHTML {
		a = a.with("Content-Security-Policy", render.ContentSecurityPolicy)
	}
	return a
}

// draftReply answers with a draft in the form that is wanted.
func draftReply(c *gin.Context, d domain.ReportDocument) (reply, error) {
	media := wanted(c)
	if media == asJSON {
		text, err := domain.CanonicalOf(d)
		return reply{status: http.StatusOK, body: text}, err
	}
	shown, err := reportPages(d, "")
	if err != nil {
		return reply{}, err
	}
	a, err := fileReply(media, reportName(d), reportForms(d, shown)[media])
	if media == asXML && err != nil {
		return reply{}, domain.Errorf(domain.NotFound, "not_found", "the report has no IATI data: %v", err)
	}
	return a, err
}

// IssueReport issues a report. What was not sealed for long is sealed first, step by step,
// so that issuing does not take long.
func (s *Server) IssueReport(c *gin.Context, id openapi.ReportPath, p openapi.IssueReportParams) {
	if err := s.store.SealAs(c.Request.Context(), credentialOf(c)); err != nil {
		writeProblem(c, err)
		return
	}
	s.settle(c, claiming(c, p.IdempotencyKey, inClear, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		r, err := tx.IssueReport(ctx, domain.ReportID(id), reportCopies)
		if err != nil {
			return reply{}, err
		}
		return reports.answer(ctx, tx, http.StatusCreated, r)
	}))
}

type wireReportCheck struct {
	Same     bool     `json:"same"`
	Stored   string   `json:"stored_sha256"`
	Computed string   `json:"computed_sha256"`
	Differs  []string `json:"differs"`
}

// CheckReport works an issued report out again.
func (s *Server) CheckReport(c *gin.Context, id openapi.ReportPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		r, err := tx.Report(ctx, domain.ReportID(id))
		if err != nil {
			return reply{}, err
		}
		check, err := tx.CheckReport(ctx, r.ID)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusOK, wireReportCheck{check.Stored == check.Computed, hex.EncodeToString(check.Stored[:]), hex.EncodeToString(check.Computed[:]), check.Differs})
	})
}

// CreateRestatement begins a report that takes the place of an issued one.
func (s *Server) CreateRestatement(c *gin.Context, id openapi.ReportPath, p openapi.CreateRestatementParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct{ Reason string }
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		made, err := uuid.NewV7()
		if err != nil {
			return reply{}, err
		}
		r, err := tx.Restatement(ctx, domain.ReportID(id), domain.ReportID(made), body.Reason)
		if err != nil {
			return reply{}, err
		}
		a, err := reports.answer(ctx, tx, http.StatusCreated, r)
		return a.with("Location", "/v1/reports/"+r.ID.String()), err
	})
}

type wireReportLink struct {
	ID        domain.LinkID   `json:"id"`
	Report    domain.ReportID `json:"report_id"`
	Name      string          `json:"name"`
	CreatedAt time.Time       `json:"created_at"`
	ExpiresAt time.Time       `json:"expires_at"`
	RevokedAt *time.Time      `json:"revoked_at,omitempty"`
	Path      string          `json:"path,omitempty"` // only of one that was made just now
}

func newWireReportLink(l domain.ReportLink) wireReportLink {
	return wireReportLink{ID: l.ID, Report: l.Report, Name: l.Name, CreatedAt: l.CreatedAt.UTC(), ExpiresAt: l.ExpiresAt.UTC(), RevokedAt: inUTC(l.RevokedAt)}
}

// ListReportLinks lists the links to a report.
func (s *Server) ListReportLinks(c *gin.Context, id openapi.ReportPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		found, err := tx.Links(ctx, domain.ReportID(id))
		items := make([]wireReportLink, len(found))
		for i, l := range found {
			items[i] = newWireReportLink(l)
		}
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusOK, map[string]any{"items": items})
	})
}

// CreateReportLink shares a report by a link, whose secret is shown this once and in the
// replay of this request, which nobody else can read.
func (s *Server) CreateReportLink(c *gin.Context, id openapi.ReportPath, p openapi.CreateReportLinkParams) {
	kept, err := sealed(c.Request.Header, p.IdempotencyKey)
	if err != nil {
		writeProblem(c, err)
		return
	}
	s.onceKept(c, p.IdempotencyKey, kept, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var w wireReportLink
		if err := json.Unmarshal(bodyOf(c), &w); err != nil {
			return reply{}, err
		}
		made, err := uuid.NewV7()
		if err != nil {
			return reply{}, err
		}
		secret, err := domain.NewToken(credentialOf(c).Coop, rand.Reader)
		if err != nil {
			return reply{}, err
		}
		l, err := tx.ShareReport(ctx, domain.ReportLink{ID: domain.LinkID(made), Report: domain.ReportID(id), Name: w.Name, ExpiresAt: w.ExpiresAt}, secret.Hash())
		if err != nil {
			return reply{}, err
		}
		w = newWireReportLink(l)
		w.Path = sharedPath + secret.Digits()
		a, err := jsonReply(http.StatusCreated, w)
		return a.with("Location", "/v1/report-links/"+l.ID.String()), err
	})
}

// RevokeReportLink ends a link.
func (s *Server) RevokeReportLink(c *gin.Context, id openapi.ReportLinkPath, _ openapi.RevokeReportLinkParams) {
	s.update(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		return reply{status: http.StatusNoContent}, tx.RevokeLink(ctx, domain.LinkID(id))
	})
}

// sharedPath is where reports are read by a link.
const sharedPath = "/shared/"

// errNoLink is the answer to a link that is none, or holds no more.
var errNoLink = domain.Missing("report, or the link to it does not hold any more")

// GetSharedReport shows a report to whoever has a link to it.
func (s *Server) GetSharedReport(c *gin.Context, _ openapi.SharedPath) {
	by := requestOf(c).credential // of the link, see limits.limit
	if by.Coop.IsZero() {         // the database is not asked about what was made up
		writeProblem(c, errNoLink)
		return
	}
	kept, err := s.store.Shared(c.Request.Context(), by.Coop, by.TokenHash, extensions[wanted(c)])
	finish(c, copyReply(kept), err)
}
