package client_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"
	"github.com/oapi-codegen/runtime/types"

	"shoalbook/openapi"
	"shoalbook/openapi/client"
)

// The client sends a body that the contract takes, and reads both the answer
// and a problem into their types.
func TestRecordEntries(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	contract := doc.Components.Schemas["EntriesRequest"].Value
	id := uuid.MustParse("019ade3a-7c00-7000-8000-0000000000a9")

	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Prefer") != "" {
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusUnprocessableEntity)
			io.WriteString(w, `{"type":"https://shoalbook.example/problems/not_all_recorded","title":"Nothing was recorded","status":422,"code":"not_all_recorded","request_id":"r1",
				"results":[{"index":0,"id":"`+id.String()+`","status":"refused","problem":{"code":"not_enough_fish","title":"Not enough fish","detail":"9 by the book"}}]}`)
			return
		}
		var body any
		if err := json.NewDecoder(r.Body).Decode(&body); err != nil {
			t.Error(err)
		}
		if err := contract.VisitJSON(body, openapi3.VisitAsRequest(), openapi3.EnableFormatValidation()); err != nil {
			t.Errorf("the contract refuses %v: %v", body, err)
		}
		w.Header().Set("Content-Type", "application/json")
		io.WriteString(w, `{"results":[{"index":0,"id":"`+id.String()+`","status":"created"}]}`)
	}))
	t.Cleanup(server.Close)

	var day types.Date
	if err := day.UnmarshalText([]byte("2026-04-02")); err != nil {
		t.Fatal(err)
	}
	var entry openapi.Entry
	err = entry.FromEntryFeeding(openapi.EntryFeeding{
		ID: id, Kind: openapi.EntryFeedingKindFeeding, SiteID: id, OccurredOn: day, BatchID: id, ProductID: id, WeightKg: 7.6,
	})
	if err != nil {
		t.Fatal(err)
	}
	c, err := client.NewClientWithResponses(server.URL)
	if err != nil {
		t.Fatal(err)
	}
	body := openapi.EntriesRequest{Entries: []openapi.Entry{entry}}

	answer, err := c.RecordEntriesWithResponse(t.Context(), &openapi.RecordEntriesParams{}, body)
	if err != nil {
		t.Fatal(err)
	}
	if answer.JSON200 == nil || len(answer.JSON200.Results) != 1 || answer.JSON200.Results[0].Status != openapi.ResultStatusCreated {
		t.Errorf("got %s", answer.Body)
	}

	strict := "handling=strict"
	answer, err = c.RecordEntriesWithResponse(t.Context(), &openapi.RecordEntriesParams{Prefer: &strict}, body)
	if err != nil {
		t.Fatal(err)
	}
	problem := answer.ApplicationProblemJSON422
	if problem == nil || len(problem.Results) != 1 || problem.Results[0].Problem.Code != openapi.ProblemCodeNotEnoughFish {
		t.Errorf("got %s", answer.Body)
	}
}
