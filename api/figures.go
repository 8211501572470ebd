package api

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// GetPerformance shows how a batch does.
func (s *Server) GetPerformance(c *gin.Context, id openapi.BatchPath, params openapi.GetPerformanceParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		m := postgres.Moment{AsOf: optionalDate(params.AsOf), KnownAt: params.KnownAt}
		perf, err := tx.Performance(ctx, domain.BatchID(id), m)
		if err != nil {
			return reply{}, err
		}
		explain := params.Explain != nil && *params.Explain
		return reply{status: http.StatusOK, body: writePerformance(perf, explain)}, nil
	})
}

// writePerformance renders figures as the contract has them: a name such as
// feed.fcr_economic is the member fcr_economic of the object feed.
func writePerformance(perf *postgres.Performance, explain bool) []byte {
	p := perf.Measure(perf.Batch, explain).Figures()
	out := make([]byte, 0, 4096)
	out = append(out, `{"batch_id":"`+perf.Batch.String()+`","as_of":"`+perf.AsOf.String()+`","known_at":"`+perf.KnownAt.UTC().Format(time.RFC3339Nano)+`"`...)
	out = appendFigures(out, p.Figures)
	out = append(out, `,"missing":[`...)
	for _, f := range p.Figures {
		if f.Literal == "" {
			out = appendJSON(out, wireMissing{f.Name, f.Reason})
		}
	}
	out = append(out, `],"cautions":`...)
	out = appendJSON(out, p.Cautions)
	if explain {
		out = append(out, `,"explain":[`...)
		for _, f := range p.Figures {
			if f.Why != nil {
				out = appendJSON(out, explained(perf, f))
			}
		}
		out = append(out, ']')
	}
	return append(out, '}')
}

// appendFigures appends figures as members, those of one group as one object.
func appendFigures(out []byte, figures []domain.Figure) []byte {
	group := ""
	for _, f := range figures {
		prefix, name, grouped := strings.Cut(f.Name, ".")
		if !grouped {
			prefix, name = "", f.Name
		}
		if prefix != group {
			if group != "" {
				out = append(out, '}')
			}
			if group = prefix; group != "" {
				out = append(out, `,"`+group+`":{`...)
			}
		}
		if out[len(out)-1] != '{' {
			out = append(out, ',')
		}
		out = append(append(append(out, '"'), name...), '"', ':')
		if f.Literal == "" {
			out = append(out, "null"...)
		} else {
			out = append(out, f.Literal...)
		}
	}
	if group != "" {
		out = append(out, '}')
	}
	return out
}

// appendJSON appends a value, after a comma where one belongs.
func appendJSON(out []byte, v any) []byte {
	if last := out[len(out)-1]; last == '}' {
		out = append(out, ',')
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		panic(err) // texts and numbers always encode
	}
	return append(out, bytes.TrimRight(b.Bytes(), "\n")...)
}

type wireMissing struct {
	Figure string `json:"figure"`
	Reason string `json:"reason"`
}

type wireExplained struct {
	Figure      string  `json:"figure"`
	Value       *string `json:"value"`
	Formula     string  `json:"formula"`
	Numerator   *string `json:"numerator"`
	Denominator *string `json:"denominator"`
	Unit        string  `json:"unit"`
	Rounding    string  `json:"rounding"`
	Basis       string  `json:"basis"`
	Source      *string `json:"source"`
	Entries     string  `json:"entries"`
}

// explained says where a figure comes from, with the list of the entries behind it.
func explained(perf *postgres.Performance, f domain.Figure) wireExplained {
	e := wireExplained{Figure: f.Name, Formula: f.Why.Formula, Numerator: optionalText(f.Why.Numerator), Denominator: optionalText(f.Why.Denominator),
		Unit: f.Why.Unit, Rounding: f.Why.Rounding, Basis: "measured", Source: optionalText(f.Why.Source)}
	if v := strings.Trim(f.Literal, `"`); !strings.HasPrefix(v, "[") {
		e.Value = &v
	}
	if f.Why.Estimated {
		e.Basis = "estimated"
	}
	q := url.Values{"batch_id": {perf.Batch.String()}, "to": {perf.AsOf.String()}}
	if len(f.Why.Kinds) > 0 {
		q["kind"] = f.Why.Kinds
	}
	if f.Why.Site {
		q.Set("include_site", "true")
	}
	e.Entries = "/v1/entries?" + q.Encode()
	return e
}

func optionalText(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// GetLineage shows the family of a batch.
func (s *Server) GetLineage(c *gin.Context, id openapi.BatchPath, params openapi.GetLineageParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		f, err := tx.Family(ctx, domain.BatchID(id), optionalDate(params.AsOf))
		if err != nil {
			return reply{}, err
		}
		return reply{status: http.StatusOK, body: writeFamily(domain.BatchID(id), f)}, nil
	})
}

type wireMember struct {
	Batch domain.BatchID `json:"batch_id"`
	Name  string         `json:"name"`
	Unit  domain.UnitID  `json:"unit_id"`
	State string         `json:"state"`
}

type wireLink struct {
	From    domain.BatchID  `json:"from_batch_id"`
	To      domain.BatchID  `json:"to_batch_id"`
	Fish    domain.Fish     `json:"fish"`
	Biomass json.RawMessage `json:"biomass_kg"`
	Cost    string          `json:"cost"`
	Entry   domain.EntryID  `json:"entry_id"`
}

func writeFamily(id domain.BatchID, f *postgres.Family) []byte {
	out := append(make([]byte, 0, 2048), `{"batch_id":"`+id.String()+`","family":[`...)
	for _, m := range f.Members {
		w := wireMember{Batch: m.ID, Name: m.Name, Unit: m.Unit, State: "growing"}
		if b := m.Measure.State; b != nil {
			w.Unit = b.Unit
			if b.Closed() {
				w.State = "closed"
			}
		}
		out = appendJSON(out, w)
	}
	out = append(out, `],"links":[`...)
	for _, l := range f.Links {
		w := wireLink{From: l.From, To: l.To, Fish: l.Fish, Biomass: json.RawMessage("null"), Cost: f.Currency.Format(l.Cost), Entry: l.Entry}
		if l.Weight != nil {
			w.Biomass = json.RawMessage(l.Weight.Grams().Format())
		}
		out = appendJSON(out, w)
	}
	measures := make([]domain.Measure, len(f.Members))
	for i, m := range f.Members {
		measures[i] = m.Measure
	}
	figures := domain.FamilyFigures(measures)
	out = append(out, `],"totals":{`...)
	out = appendFigures(out, figures)
	out = append(out, `,"missing":[`...)
	for _, t := range figures {
		if t.Literal == "" {
			out = appendJSON(out, wireMissing{t.Name, t.Reason})
		}
	}
	return append(out, `]}}`...)
}
