package api

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// wireNumber is a number with what it is worth, or the reason why there is none.
type wireNumber struct {
	Value      *json.Number `json:"value"`
	Unit       string       `json:"unit"`
	Source     *string      `json:"source"`
	Provenance *string      `json:"provenance"`
	Reason     *string      `json:"reason"`
}

func sourced(n domain.Number) wireNumber {
	if !n.Known() {
		return wireNumber{Unit: n.Unit, Reason: &n.Reason}
	}
	v := json.Number(n.Literal())
	return wireNumber{Value: &v, Unit: n.Unit, Source: optionalText(n.Source), Provenance: optionalText(string(n.Provenance))}
}

// texts is a list that is never null.
func texts(list []string) []string { return append([]string{}, list...) }

type wireTransport struct {
	Species    string     `json:"species"`
	Verdict    string     `json:"verdict"`
	Says       string     `json:"says"`
	Load       wireNumber `json:"load_g_l"`
	FineTo     wireNumber `json:"fine_to_g_l"`
	Most       wireNumber `json:"most_g_l"`
	TableHours wireNumber `json:"table_hours"`
	Size       string     `json:"size"`
	FineFish   wireNumber `json:"fine_fish"`
	FineBags   wireNumber `json:"fine_bags"`
	Advice     []string   `json:"advice"`
	Conflicts  []string   `json:"conflicts"`
	Cautions   []string   `json:"cautions"`
}

// CheckTransport judges a delivery of live fish.
func (s *Server) CheckTransport(c *gin.Context, params openapi.CheckTransportParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		if _, err := tx.Actor(ctx); err != nil { // whoever asks must be let in, though nothing is read
			return reply{}, err
		}
		r := &queried{c: c}
		t := domain.LiveTransport{
			Species: params.Species, Fish: domain.Fish(params.Fish), Bags: *params.Bags,
			MeanWeightMg: domain.Milligrams(r.decimal("mean_weight_g")), Litres: r.decimal("litres"), Hours: r.decimal("hours"), TemperatureC: r.decimal("temperature_c"),
		}
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		k := t.Check()
		return jsonReply(http.StatusOK, wireTransport{t.Species, k.Verdict, k.Says, sourced(k.Load), sourced(k.FineTo), sourced(k.MostAt), sourced(k.TableTime), k.Size,
			sourced(k.FineFish), sourced(k.FineBags), texts(k.Advice), texts(k.Conflicts), texts(k.Cautions)})
	})
}

// queried reads decimals of the query by their literal text.
type queried struct {
	c *gin.Context
	reading
}

// decimal returns a parameter that the contract requires; 0 if it cannot be read.
func (q *queried) decimal(name string) domain.Thousandths {
	n := json.Number(q.c.Query(name))
	return *q.reading.decimal(&n, "/query/"+name)
}

// optional returns a parameter that may be left out.
func (q *queried) optional(name string) *domain.Thousandths {
	if _, given := q.c.GetQuery(name); !given {
		return nil
	}
	v := q.decimal(name)
	return &v
}
