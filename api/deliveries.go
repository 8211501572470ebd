package api

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// wireWeighed is a count by weight.
type wireWeighed struct {
	WeightKg       *json.Number `json:"weight_kg"`
	SampleCount    domain.Fish  `json:"sample_count"`
	SampleWeightKg *json.Number `json:"sample_weight_kg"`
	CVPercent      *json.Number `json:"cv_percent,omitempty"`
}

// sentDelivery is a delivery as it is sent.
type sentDelivery struct {
	ID         domain.DeliveryID `json:"id"`
	Request    domain.RequestID  `json:"request_id"`
	OccurredOn domain.Date       `json:"occurred_on"`
	OccurredAt *string           `json:"occurred_at"`
	Loaded     *json.Number      `json:"loaded"`
	Counted    *json.Number      `json:"counted"`
	Weighed    *wireWeighed      `json:"weighed"`
	Dead       *json.Number      `json:"dead"`
	MeanWeight *json.Number      `json:"mean_weight_g"`
	Condition  *string           `json:"condition"`
	ReceivedBy string            `json:"received_by"`
	Note       *string           `json:"note"`
	Batch      *domain.BatchID   `json:"batch_id"`
	BatchName  *string           `json:"batch_name"`
	Into       *domain.BatchID   `json:"into_batch_id"`
}

// read returns the delivery that was sent, by the literal text of its numbers.
func (w *sentDelivery) read(r *reading, at string) domain.Delivery {
	d := domain.Delivery{ID: w.ID, Request: w.Request, On: w.OccurredOn, Condition: w.Condition, ReceivedBy: w.ReceivedBy, Note: w.Note, Batch: w.Batch, BatchName: w.BatchName, Into: w.Into}
	if w.OccurredAt != nil {
		m, err := domain.ParseMinute(*w.OccurredAt)
		r.note(err, at+"/occurred_at")
		d.At = &m
	}
	d.Loaded, d.Counted = r.pieces(w.Loaded, at+"/loaded"), r.pieces(w.Counted, at+"/counted")
	if n := r.pieces(w.Dead, at+"/dead"); n != nil {
		d.Dead = *n
	}
	d.MeanWeight = (*domain.Milligrams)(r.decimal(w.MeanWeight, at+"/mean_weight_g"))
	if x := w.Weighed; x != nil {
		d.Weighed = &domain.Weighed{Weight: domain.Grams(*r.decimal(x.WeightKg, at+"/weighed/weight_kg")), SampleCount: x.SampleCount,
			SampleWeight: domain.Grams(*r.decimal(x.SampleWeightKg, at+"/weighed/sample_weight_kg")), CVPercent: r.decimal(x.CVPercent, at+"/weighed/cv_percent")}
	}
	return d
}

// pieces reads a whole number of fish or units, if there is one.
func (r *reading) pieces(n *json.Number, pointer string) *domain.Pieces {
	v := r.decimal(n, pointer)
	if v == nil {
		return nil
	}
	p := domain.Pieces(*v / 1000)
	return &p
}

// wireDelivery is a delivery as it is kept.
type wireDelivery struct {
	ID         domain.DeliveryID `json:"id"`
	Order      domain.OrderID    `json:"order_id"`
	Request    domain.RequestID  `json:"request_id"`
	Site       domain.SiteID     `json:"site_id"`
	Unit       *domain.UnitID    `json:"unit_id,omitempty"`
	Batch      *domain.BatchID   `json:"batch_id,omitempty"`
	Entry      *domain.EntryID   `json:"entry_id,omitempty"`
	OccurredOn domain.Date       `json:"occurred_on"`
	OccurredAt *string           `json:"occurred_at,omitempty"`
	Loaded     *domain.Pieces    `json:"loaded,omitempty"`
	Counted    domain.Pieces     `json:"counted"`
	Weighed    *wireWeighed      `json:"weighed,omitempty"`
	CountError *json.Number      `json:"count_error,omitempty"`
	Dead       domain.Pieces     `json:"dead"`
	Alive      domain.Pieces     `json:"alive"`
	MeanWeight *json.Number      `json:"mean_weight_g,omitempty"`
	Condition  *string           `json:"condition,omitempty"`
	ReceivedBy string            `json:"received_by"`
	Note       *string           `json:"note,omitempty"`
	Amount     string            `json:"amount"`
	Claims     []wireClaim       `json:"claims"`
	RecordedAt time.Time         `json:"recorded_at"`
	RecordedBy string            `json:"recorded_by"`
	Reversed   *wireReversed     `json:"reversed,omitempty"`
}

type wireReversed struct {
	At     time.Time `json:"at"`
	By     string    `json:"by"`
	Reason string    `json:"reason"`
}

func newDelivery(d *postgres.DeliveryRow, claims []postgres.ClaimRow, c domain.Currency) wireDelivery {
	w := wireDelivery{ID: d.ID, Order: d.OrderID, Request: d.RequestID, Site: d.SiteID, Unit: d.UnitID, Batch: d.BatchID, Entry: d.EntryID, OccurredOn: d.OccurredOn,
		Loaded: d.Loaded, Counted: d.Counted, Dead: d.Dead, Alive: d.Counted - d.Dead, MeanWeight: decimal(d.MeanWeight), Condition: d.Condition, ReceivedBy: d.ReceivedBy,
		Note: d.Note, Amount: c.Format(d.Amount), Claims: make([]wireClaim, len(claims)), RecordedAt: d.RecordedAt.UTC(), RecordedBy: d.RecordedBy}
	if d.OccurredAt != nil {
		at := d.OccurredAt.String()
		w.OccurredAt = &at
	}
	if d.Weight != nil {
		weight, sample := d.Weight.Grams(), d.SampleWeight.Grams()
		w.Weighed = &wireWeighed{decimal(&weight), *d.SampleCount, decimal(&sample), decimal(d.CVPercent)}
		if n := d.CountError(); n != nil {
			text := json.Number(strconv.FormatFloat(*n, 'f', 3, 64))
			w.CountError = &text
		}
	}
	for i := range claims {
		w.Claims[i] = newClaim(&claims[i], c)
	}
	if d.ReversedAt != nil {
		w.Reversed = &wireReversed{d.ReversedAt.UTC(), *d.ReversedBy, *d.Reason}
	}
	return w
}

// deliveriesShown returns deliveries with their claims, as they are on the wire.
func deliveriesShown(ctx context.Context, tx *postgres.Tx, rows []postgres.DeliveryRow) ([]wireDelivery, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, err
	}
	ids := make([]domain.DeliveryID, len(rows))
	for i := range rows {
		ids[i] = rows[i].ID
	}
	claims, err := tx.ClaimsOf(ctx, ids)
	shown := make([]wireDelivery, len(rows))
	for i := range rows {
		shown[i] = newDelivery(&rows[i], claims[rows[i].ID], currency)
	}
	return shown, err
}

// deliveryResult is what became of a delivery.
type deliveryResult struct {
	Status    string          `json:"status"`
	Delivery  wireDelivery    `json:"delivery"`
	Questions []entryQuestion `json:"questions,omitempty"`
}

// RecordDeliveries records what came of an order.
func (s *Server) RecordDeliveries(c *gin.Context, id openapi.OrderPath, params openapi.RecordDeliveriesParams) {
	var a reply
	err := s.store.Update(c.Request.Context(), credentialOf(c), func(tx *postgres.Tx) (err error) {
		ctx := c.Request.Context()
		drops, err := decodeDeliveries(ctx, tx, domain.OrderID(id), bodyOf(c))
		if err != nil {
			return err
		}
		became, err := tx.Receive(ctx, drops)
		if err != nil {
			return err
		}
		a, err = deliveriesReply(ctx, tx, became)
		if err == nil && params.DryRun != nil && *params.DryRun {
			a.status = http.StatusOK
			return errDryRun
		}
		return err
	})
	if errors.Is(err, errDryRun) {
		err = nil
	}
	finish(c, a, err)
}

func decodeDeliveries(ctx context.Context, tx *postgres.Tx, order domain.OrderID, raw []byte) (postgres.Drops, error) {
	drops := postgres.Drops{Order: order, Kinds: mayRecord}
	var body struct {
		Deliveries []sentDelivery `json:"deliveries"`
	}
	if err := json.Unmarshal(raw, &body); err != nil {
		return drops, err
	}
	currency, err := tx.Currency(ctx)
	r := &reading{currency: currency}
	for i := range body.Deliveries {
		drops.Deliveries = append(drops.Deliveries, body.Deliveries[i].read(r, "/deliveries/"+strconv.Itoa(i)))
	}
	if err != nil {
		return drops, err
	}
	return drops, r.refusal()
}

// deliveriesReply shows what became of deliveries: created, if that is so of any.
func deliveriesReply(ctx context.Context, tx *postgres.Tx, became []postgres.Received) (reply, error) {
	ids := make([]domain.DeliveryID, len(became))
	for i, b := range became {
		ids[i] = b.ID
	}
	rows, err := tx.DeliveriesByID(ctx, ids...)
	if err != nil {
		return reply{}, err
	}
	shown, err := deliveriesShown(ctx, tx, rows)
	if err != nil {
		return reply{}, err
	}
	at := map[domain.DeliveryID]wireDelivery{}
	for _, w := range shown {
		at[w.ID] = w
	}
	status, results := http.StatusOK, make([]deliveryResult, len(became))
	for i, b := range became {
		results[i] = deliveryResult{Status: b.Status, Delivery: at[b.ID]}
		for _, q := range b.Questions {
			results[i].Questions = append(results[i].Questions, entryQuestion(q))
		}
		if b.Status == "created" {
			status = http.StatusCreated
		}
	}
	return jsonReply(status, struct {
		Results []deliveryResult `json:"results"`
	}{results})
}

// ListDeliveries lists what came of an order.
func (s *Server) ListDeliveries(c *gin.Context, id openapi.OrderPath, q openapi.ListDeliveriesParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.Delivery](c, q.After, q.Limit)
		if err != nil {
			return reply{}, err
		}
		rows, more, err := tx.Deliveries(ctx, domain.OrderID(id), after, p.limit)
		if err != nil {
			return reply{}, err
		}
		items, err := deliveriesShown(ctx, tx, rows)
		if err != nil {
			return reply{}, err
		}
		return listReply(c, p, items, more, func(w wireDelivery) []string { return []string{w.ID.String()} })
	})
}

// GetDelivery shows a delivery.
func (s *Server) GetDelivery(c *gin.Context, id openapi.DeliveryPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		return deliveryReply(ctx, tx, http.StatusOK, domain.DeliveryID(id))
	})
}

func deliveryReply(ctx context.Context, tx *postgres.Tx, status int, id domain.DeliveryID) (reply, error) {
	rows, err := tx.DeliveriesByID(ctx, id)
	if err == nil && len(rows) == 0 {
		err = domain.Missing("delivery")
	}
	if err != nil {
		return reply{}, err
	}
	shown, err := deliveriesShown(ctx, tx, rows)
	if err != nil {
		return reply{}, err
	}
	return jsonReply(status, shown[0])
}

// ReverseDelivery takes a delivery back.
func (s *Server) ReverseDelivery(c *gin.Context, id openapi.DeliveryPath, p openapi.ReverseDeliveryParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			Reason string `json:"reason"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		entry, err := uuid.NewV7()
		if err != nil {
			return reply{}, err
		}
		if err := tx.ReverseDelivery(ctx, domain.DeliveryID(id), body.Reason, domain.EntryID(entry), mayRecord); err != nil {
			return reply{}, err
		}
		return deliveryReply(ctx, tx, http.StatusCreated, domain.DeliveryID(id))
	})
}
