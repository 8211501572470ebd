package integration_test

import (
	"bytes"
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"

	"shoalbook/postgres/postgrestest"
)

// The service is killed at every step of a delivery for three schools: when the database
// says that it is kept; then whenever it has said something, once more often each time,
// until nothing is left to be said. Either all of it is kept or nothing, and sent again all of it is there.
func TestCrashWhileReceiving(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	s := serveAt(t, url).neighbour()
	relay := newRelay(t, url)
	v := &village{program: newProgram(t, build(t), relay.url), token: s.coordinator}
	v.start()
	v.must("GET", "/v1/coop", nil)
	v.settled()
	conn := s.owner()
	kept := map[int64]int{}
	for step := int64(0); ; step++ {
		p := newPurchase(s)
		drops := []members{p.drop(0, members{"counted": 440}), p.drop(1, members{"counted": 300, "dead": 30}), p.drop(2, members{"counted": 200})}
		address, body := "/v1/orders/"+p.order+"/deliveries", members{"deliveries": drops}
		v.must("GET", "/v1/rounds/"+p.round+"/claims", nil) // so that the service knows the token again
		var said atomic.Int64
		answer := func(words []byte) bool {
			n := said.Add(1)
			if step == 0 && !bytes.Contains(words, []byte("COMMIT\x00")) || step > 0 && n != step {
				return false
			}
			v.kill()
			return true
		}
		relay.answer.Store(&answer)
		_, err := v.send("POST", address, body, "")
		relay.answer.Store(nil)
		if err == nil {
			t.Logf("a delivery is done after %d answers of the database; killed at each of them, %d times it was kept", said.Load(), kept[3])
			break
		}
		ids := []string{drops[0]["id"].(string), drops[1]["id"].(string), drops[2]["id"].(string)}
		batches := []string{drops[0]["batch_id"].(string), drops[1]["batch_id"].(string), drops[2]["batch_id"].(string)}
		entries := column[int64](t, conn, `select count(*) from entry where id = any($1::uuid[])`, ids)[0]
		other := column[string](t, conn, `select (select count(*) from delivery where order_id = $1) || ' deliveries, ' || (select count(*) from claim where order_id = $1) || ' claims, ' ||
			(select count(*) from batch where id = any($2::uuid[])) || ' batches, ' || (select state from round where id = $3)`, p.order, batches, p.round)[0]
		want := map[int64]string{0: "0 deliveries, 0 claims, 0 batches, ordered", 3: "3 deliveries, 2 claims, 3 batches, delivering"}[entries]
		if other != want {
			t.Errorf("killed at step %d there are %d entries and %s", step, entries, other)
		}
		kept[entries]++
		v.start()
		status := map[int64]int{0: http.StatusCreated, 3: http.StatusOK}[entries]
		for range 2 {
			r, err := v.send("POST", address, body, "")
			if err != nil {
				t.Fatal(err)
			}
			r.want(status)
			status = http.StatusOK
			for i := range drops {
				if became := r.at(fmt.Sprintf("/results/%d/status", i)); became != "exists" && became != "created" {
					t.Errorf("delivery %d is %s: %s", i, became, r.body)
				}
			}
		}
		if n := column[int64](t, conn, `select count(*) from delivery where order_id = $1`, p.order)[0]; n != 3 {
			t.Errorf("there are %d deliveries", n)
		}
		if step > 60 {
			t.Fatal("it is never done")
		}
	}
	if kept[0] < 3 || kept[3] == 0 {
		t.Errorf("too little happened: %v", kept)
	}
	if out := v.run("verify", s.coop.String()); out != "0 differences" {
		t.Error(out)
	}
}
