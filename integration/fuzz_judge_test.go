package integration_test

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// wordy lists what the contract says in words only: members that can make a bad
// request of one that its schemas allow.
var wordy = map[string][]string{
	"createGrant":     {"/starts_on", "/ends_on", "/currency", "/sites", "/lines", "/rates", "/indicators", "/other_funds", "/portion_g", "/iati_"},
	"reviseGrant":     {"/starts_on", "/ends_on", "/currency", "/sites", "/lines", "/rates", "/indicators", "/other_funds", "/portion_g", "/iati_"},
	"createGrantCost": {"/entry_id"},              // or the equipment
	"createReport":    {"/starts_on", "/ends_on"}, // after 1990; not before, and at most ten years

	"createProduct":   {"/unit", "/stored"},                                                       // feed is in kg and kept in a store
	"createEquipment": {"/salvage", "/in_use_from", "/retired_on"},                                // not more than the cost; after 1990; not before
	"reviseEquipment": {"/salvage", "/in_use_from", "/retired_on"},                                //
	"createBatch":     {"/plan/target_on"},                                                        // after 1990
	"reviseBatch":     {"/plan/target_on"},                                                        //
	"createMember":    {"/sites"},                                                                 // a keeper has some
	"reviseMember":    {"/sites"},                                                                 //
	"createToken":     {"/name", "/role", "/sites", "/expires_at"},                                // needed without a member; within two years
	"reverseEntry":    {"/occurred_on", "/replacement"},                                           // an entry that cannot be
	"createPeriod":    {"/starts_on", "/ends_on"},                                                 // after 1990; not before, and at most a year
	"revisePeriod":    {"/starts_on", "/ends_on"},                                                 //
	"createLimit":     {"/low_", "/high_"},                                                        // some, in rising order
	"reviseLimit":     {"/low_", "/high_"},                                                        //
	"createRound":     {"/species", "/window_", "/need", "/deadline"},                             // a species or a product; days in order, of this century
	"reviseRound":     {"/window_", "/need", "/deadline"},                                         //
	"setRoundState":   {"/reason"},                                                                // to cancel
	"createRequest":   {"/earliest", "/latest"},                                                   // of this century
	"reviseRequest":   {"/earliest", "/latest"},                                                   //
	"createQuote":     {"/steps", "/earliest", "/latest", "/fee_", "/valid_until", "/expires_on"}, // what can be added up
	"reviseQuote":     {"/steps", "/earliest", "/latest", "/fee_", "/valid_until", "/expires_on"}, //
	"payDeposit":      {"/amount"},                                                                // more than nothing
	"getPerformance":  {"/query/as_of"},                                                           // not in the future
	"getLineage":      {"/query/as_of"},                                                           //
	"getCapacity":     {"/query/as_of"},                                                           //
	"getRation":       {"/query/as_of"},                                                           //
	"compareGroups":   {"/query/as_of"},                                                           //
	"compareCost":     {"/query/as_of", "/query/other_site_id"},                                   // which is needed against a site
	"getForecast":     {"/query/as_of", "/query/until"},                                           //

	"recordDeliveries":   {"/deliveries/"}, // counted or weighed; a batch for what lives
	"answerClaim":        {"/declined"},    // in place of a credit note
	"recordRoundPayment": {"/amount"},      // more or less than nothing
}

// judge fails unless the answer is the one that is due.
func (w *world) judge(rt *rapid.T, r fuzzed, a response) {
	switch {
	case a.status >= 500:
		rt.Fatal("the service failed")
	case r.broken != "":
		// What has more places than are kept is found out only after other things.
		later := strings.HasPrefix(r.broken, "too precise") && a.status == http.StatusUnprocessableEntity
		if a.status != r.want && !later {
			rt.Fatalf("it is broken, and not answered with %d", r.want)
		}
	case !r.op.allows(r.role):
		if a.status != http.StatusForbidden {
			rt.Fatal("it is not forbidden to the role")
		}
	case r.sees != "" && a.status == http.StatusForbidden && !strings.HasPrefix(r.path, "/v1/batches") && r.op.method != http.MethodGet:
		// it is of the whole co-operative
	case r.repeats:
		w.judgeAgain(rt, r, a)
	case a.status < 300:
		if r.op.OperationID == "recordEntries" {
			judgeResults(rt, r, a)
		}
	case r.follows:
		rt.Fatal("the link to the next page leads to nothing")
	default:
		w.judgeRefusal(rt, r, a)
	}
}

func (w *world) judgeRefusal(rt *rapid.T, r fuzzed, a response) {
	o := r.op.OperationID
	if ofReports(r, a) {
		return
	}
	switch a.status {
	case http.StatusBadRequest:
		var problem struct{ Errors []struct{ Pointer string } }
		a.into(&problem)
		for _, e := range problem.Errors {
			if !slices.ContainsFunc(wordy[o], func(p string) bool { return strings.HasPrefix(e.Pointer, p) }) {
				rt.Fatalf("%s is allowed by the contract", e.Pointer)
			}
		}
		if len(problem.Errors) == 0 {
			rt.Fatal("it is allowed by the contract")
		}
	case http.StatusNotFound:
		// Not every round has a plan. In the calendar of another site it is not, and a site that is asked for may be nowhere.
		if !r.strangeID && r.sees == "" && !strings.Contains(r.path, "/calendar/") && !strings.HasSuffix(r.path, "/plan") && !strings.Contains(r.path, "/statements/") &&
			!((strings.HasPrefix(r.path, "/v1/advice") || r.path == "/v1/comparison/cost") && r.query.Has("site_id")) {
			rt.Fatal("it was there before")
		}
	case http.StatusForbidden:
		if o != "reverseEntry" || r.role != "treasurer" && r.role != "adviser" { // who may reverse what is about money, or visits
			rt.Fatal("it is for the role")
		}
	case http.StatusConflict:
		if slices.Contains([]string{"round_state", "deadline_passed", "already_requested", "plan_outdated", "already_received", "already_credited", "already_reversed"}, a.at("/code")) {
			break // it has gone on, is over, or there is such a request
		}
		limit := slices.Contains([]string{"createLimit", "reviseLimit", "createFactor", "reviseFactor"}, o) && a.at("/code") == "already_set"
		if !limit && (!slices.Contains([]string{"createBatch", "reverseEntry", "recordDeliveries"}, o) || a.at("/code") != "id_conflict") {
			rt.Fatal("there is no other of the same id")
		}
	case http.StatusPreconditionFailed:
		if i := slices.Index(r.headers, "If-Match"); r.headers[i+1] == "*" || r.headers[i+1] == w.tags[r.path] && !strings.HasPrefix(r.path, "/v1/batches/") && !strings.HasPrefix(r.path, "/v1/rounds/") {
			rt.Fatal("it has not changed since") // a batch does with its entries, a round with its steps
		}
	case http.StatusUnprocessableEntity:
		if o == "recordEntries" {
			judgeResults(rt, r, a)
		} else if a.at("/detail") == "" {
			rt.Fatal("it does not say why")
		}
	default:
		rt.Fatal("there is no reason for that")
	}
}

// ofReports reports whether it is refused for what only reports can be refused for.
func ofReports(r fuzzed, a response) bool {
	at := strings.HasPrefix(r.path, "/v1/reports")
	switch a.status {
	case http.StatusNotFound: // not issued to the funder, a form that it does not have, a link that is made up or revoked
		return at && r.role == "funder" || strings.HasSuffix(r.path, "/document") || strings.HasPrefix(r.path, "/shared/")
	case http.StatusConflict: // in another state, or the code of another indicator
		code := a.at("/code")
		return at && strings.HasPrefix(code, "report_") || r.op.OperationID == "createIndicator" && code == "already_set"
	case http.StatusPreconditionFailed: // it changes when it is issued
		return at
	}
	return false
}

// judgeResults fails unless there is a result for each entry.
func judgeResults(rt *rapid.T, r fuzzed, a response) {
	var answer struct {
		Results []struct {
			Index   int
			ID      string
			Status  string
			Problem *struct{ Code string }
		}
	}
	a.into(&answer)
	body := r.body.(map[string]any)
	entries := body["entries"].([]any)
	refused := 0
	for i, result := range answer.Results {
		if i >= len(entries) || result.Index != i || result.ID != entries[i].(map[string]any)["id"] {
			rt.Fatalf("result %d is of another entry", i)
		}
		if result.Status == "refused" || result.Status == "conflict" {
			refused++
		}
		if (result.Problem == nil) != (result.Status == "created" || result.Status == "exists") {
			rt.Fatalf("result %d is %s, and its problem %v", i, result.Status, result.Problem)
		}
		if result.Status == "held" && body["on_refusal"] != "hold" {
			rt.Fatalf("result %d is held, and nobody asked for it", i)
		}
	}
	if len(answer.Results) != len(entries) {
		rt.Fatalf("there are %d results of %d entries", len(answer.Results), len(entries))
	}
	strict := slices.ContainsFunc(r.headers, func(h string) bool { return strings.Contains(h, "strict") })
	if (a.status == http.StatusUnprocessableEntity) != (strict && refused > 0) {
		rt.Fatalf("%d are refused, and strict is %v", refused, strict)
	}
}

// judgeAgain fails unless what is sent again is answered again, and changes nothing.
func (w *world) judgeAgain(rt *rapid.T, r fuzzed, a response) {
	i := slices.IndexFunc(w.before, func(b fuzzed) bool {
		return bytes.Equal(b.raw, r.raw) && slices.Equal(b.headers, r.headers) && b.path == r.path
	})
	was := w.answers[i]
	switch {
	case slices.Contains(r.headers, "Idempotency-Key"):
		if a.status != was.status || !bytes.Equal(a.body, was.body) || a.header.Get("Replayed") != "true" || a.header.Get("ETag") != was.header.Get("ETag") {
			rt.Fatalf("it was %d %s before", was.status, was.body)
		}
	case r.op.OperationID == "recordEntries":
		judgeResults(rt, r, a)
		for i := range r.body.(map[string]any)["entries"].([]any) {
			at := fmt.Sprintf("/results/%d/status", i)
			if is := a.at(at); (was.at(at) == "created" || was.at(at) == "exists") && is != "exists" {
				rt.Fatalf("entry %d was %s before", i, was.at(at))
			}
		}
	case a.status != http.StatusOK:
		rt.Fatalf("it was %d before", was.status)
	}
}

// statuses counts the answers, by operation and status.
type statuses map[string]map[int]int

func (s statuses) add(operation string, status int) {
	if s[operation] == nil {
		s[operation] = map[int]int{}
	}
	s[operation][status]++
}

func (s statuses) of(operation string, from, to int) int {
	n := 0
	for status, count := range s[operation] {
		if status >= from && status <= to {
			n += count
		}
	}
	return n
}

func (s statuses) all() int {
	n := 0
	for operation := range s {
		n += s.of(operation, 0, 999)
	}
	return n
}

// table prints how often each operation was answered with which status.
func (s statuses) table(t testing.TB) string {
	var b strings.Builder
	allowed := 0
	for _, o := range operations(t) {
		allowed += s.of(o.OperationID, 200, 299)
		fmt.Fprintf(&b, "%-24s %s\n", o.OperationID, marshal(s[o.OperationID]))
	}
	return fmt.Sprintf("%d requests, %d of them successful\n%s", s.all(), allowed, &b)
}
