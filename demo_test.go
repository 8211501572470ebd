package main

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// started is the line of demo --json.
type started struct {
	URL    string
	Tokens struct{ Coordinator, Keeper, Funder string }
}

// startDemo runs the demo and reads its line.
func startDemo(t *testing.T, env map[string]string, args ...string) (s started, errOut *lockedBuffer, stop func() error) {
	t.Helper()
	out, errOut, stop := background(t, env, append([]string{"demo", "--json"}, args...)...)
	for deadline := time.Now().Add(time.Minute); !strings.HasSuffix(out.String(), "\n"); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("the demo is not ready: %s", errOut)
		}
	}
	d := json.NewDecoder(strings.NewReader(out.String()))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil || strings.Count(out.String(), "\n") != 1 {
		t.Fatalf("not one line of JSON: %q, %v", out, err)
	}
	return s, errOut, stop
}

// ask gets something from the API, and returns the status of the answer.
func ask(t *testing.T, url, token string, into any) int {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), "GET", url, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+token)
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if err := json.NewDecoder(response.Body).Decode(into); err != nil {
		t.Errorf("%s: %v", url, err)
	}
	return response.StatusCode
}

func TestDemoInAGivenDatabase(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	if _, _, err := command(t, env, "migrate", "down", "--delete-all-data"); err != nil {
		t.Fatal(err)
	}
	args := []string{"--sites", "2", "--seasons", "1", "--listen", "127.0.0.1:0"}
	first, errOut, stop := startDemo(t, env, args...)
	type overview struct{ Items []struct{ Fish int } }
	for _, c := range []struct {
		token, path   string
		status, sites int
	}{
		{first.Tokens.Coordinator, "/v1/overview", 200, 2},
		{first.Tokens.Keeper, "/v1/overview", 200, 1},
		{first.Tokens.Funder, "/v1/overview", 403, 0},
		{first.Tokens.Coordinator, "/v1/accounts?limit=2", 200, 2},
		{first.Tokens.Keeper, "/v1/accounts", 403, 0},
	} {
		var got overview
		if status := ask(t, first.URL+c.path, c.token, &got); status != c.status || len(got.Items) != c.sites {
			t.Errorf("%s: status %d, %+v, want %d with %d items", c.path, status, got, c.status, c.sites)
		}
	}
	boughtTogether(t, first.URL, first.Tokens.Coordinator)
	if err := stop(); err != nil {
		t.Error(err)
	}
	if !refused(first.URL) {
		t.Error("it still takes connections")
	}
	if !strings.Contains(errOut.String(), "the data stay in the database") {
		t.Errorf("it does not say what becomes of the data: %s", errOut)
	}

	second, errOut, stop := startDemo(t, env, args...)
	if !strings.Contains(errOut.String(), "going on with") || strings.Contains(errOut.String(), "recording") {
		t.Errorf("the second start does not go on: %s", errOut)
	}
	for _, token := range []string{first.Tokens.Keeper, second.Tokens.Keeper} {
		var got overview
		if status := ask(t, second.URL+"/v1/overview", token, &got); status != 200 || len(got.Items) != 1 || got.Items[0].Fish == 0 {
			t.Errorf("after a second start: status %d, %+v", status, got)
		}
	}
	if err := stop(); err != nil {
		t.Error(err)
	}

	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--seed", "2"}, "which is not the demo of --seed=2"},
		{[]string{"--data", t.TempDir()}, "leave out one of them"},
		{[]string{"--sites", "0"}, "1 to 500"},
		{[]string{"--seasons=-1"}, "1 to 10"},
	} {
		out, _, err := command(t, env, append([]string{"demo", "--listen", "127.0.0.1:0"}, c.args...)...)
		if err == nil || !strings.Contains(err.Error(), c.want) || out != "" {
			t.Errorf("%q: prints %q and returns %v", c.args, out, err)
		}
	}
}

// boughtTogether fails unless there is a round that is settled, whose days are over, with
// an order that came on one of them and what schools owe for it, and one that is open, with
// requests and quotes from which a plan can be made.
func boughtTogether(t *testing.T, url, token string) {
	t.Helper()
	type list struct {
		Items []struct {
			ID, State  string
			Deadline   time.Time
			WindowFrom string `json:"window_from"`
			WindowTo   string `json:"window_to"`
			ArrivesOn  string `json:"arrives_on"`
			Sums       struct{ Cost string }
		}
	}
	get := func(path string) (l list) {
		t.Helper()
		if status := ask(t, url+path, token, &l); status != 200 {
			t.Fatalf("%s: status %d", path, status)
		}
		return l
	}
	rounds := get("/v1/rounds")
	if len(rounds.Items) != 2 || rounds.Items[0].State != "settled" || rounds.Items[1].State != "open" {
		t.Fatalf("the rounds are %+v", rounds)
	}
	over := rounds.Items[0]
	zone, err := time.LoadLocation(simulate.Zone)
	if err != nil {
		t.Fatal(err)
	}
	if today := domain.DateOf(time.Now(), zone).String(); over.WindowTo > today || over.Deadline.Format(time.DateOnly) >= over.WindowFrom {
		t.Errorf("the settled round has days ahead, or took requests on them: %+v", over)
	}
	settled, open := "/v1/rounds/"+rounds.Items[0].ID, "/v1/rounds/"+rounds.Items[1].ID
	if orders := get(settled + "/orders"); len(orders.Items) == 0 || orders.Items[0].Sums.Cost == "" {
		t.Errorf("the orders are %+v", orders)
	} else if on := orders.Items[0].ArrivesOn; on < over.WindowFrom || on > over.WindowTo {
		t.Errorf("what was ordered came on %s, and the round wanted it from %s to %s", on, over.WindowFrom, over.WindowTo)
	}
	var charges struct{ Sites []struct{ Owed string } }
	if status := ask(t, url+settled+"/charges", token, &charges); status != 200 || len(charges.Sites) != 2 {
		t.Errorf("charges: status %d, %+v", status, charges)
	}
	if requests, quotes := get(open+"/requests"), get(open+"/quotes"); len(requests.Items) == 0 || len(quotes.Items) != 3 {
		t.Errorf("there are %d requests and %d quotes", len(requests.Items), len(quotes.Items))
	}
}

// TestDemoKeepsItsData does as a newcomer does: it looks at the table, runs the
// commands that the demo prints, ends it and starts it again.
func TestDemoKeepsItsData(t *testing.T) {
	t.Parallel()
	data := filepath.Join(enterable(t), "kept")
	env := map[string]string{"PG_BIN": os.Getenv("PG_BIN")}
	args := []string{"--sites", "2", "--data", data, "--listen", "127.0.0.1:0"}
	out, _, stop := background(t, env, append([]string{"demo"}, args...)...)
	out.find(t, `(Ctrl-C ends the demo)`)
	text := out.String()

	var commands, answers []string
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "curl ") {
			answer, err := exec.CommandContext(t.Context(), "bash", "-c", line).Output()
			if err != nil {
				t.Fatalf("%s%v", line, err)
			}
			commands, answers = append(commands, line), append(answers, string(answer))
		}
	}
	tells := []string{`"fish":`, `"cost":`, `"severity":`, `"today_kg":`, `"biomass_basis":`, `"status":"created"`}
	if len(commands) != len(tells) {
		t.Fatalf("%d commands\n%s", len(commands), text)
	}
	for i, tell := range tells {
		if !strings.Contains(answers[i], tell) {
			t.Fatalf("%sanswers %q, want %s", commands[i], answers[i], tell)
		}
	}
	var p struct {
		Survival struct {
			ByAccount float64 `json:"by_account"`
		}
		Feed struct {
			FCR *float64 `json:"fcr_economic"`
		}
		Cost struct {
			PerKg *string `json:"per_kg"`
		}
	}
	if err := json.Unmarshal([]byte(answers[1]), &p); err != nil {
		t.Fatal(err)
	}
	fcr, perKg := "-", "-" // of some batches they are not known
	if p.Feed.FCR != nil {
		fcr = fmt.Sprintf("%.2f", *p.Feed.FCR)
	}
	if p.Cost.PerKg != nil {
		v, err := strconv.ParseFloat(*p.Cost.PerKg, 64)
		if err != nil {
			t.Fatal(err)
		}
		perKg = fmt.Sprintf("%.2f", v)
	}
	_, table, _ := strings.Cut(text, "per kg\n")
	row, _, _ := strings.Cut(table, "\n")
	want := fmt.Sprintf(" closed %.1f %% %s %s", 100*p.Survival.ByAccount, fcr, perKg)
	if !strings.HasSuffix(strings.Join(strings.Fields(row), " "), want) || p.Survival.ByAccount <= 0 {
		t.Errorf("the table has %q, the API %q", row, want)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}

	// The last command again: its entry is there.
	again, errOut, stop := startDemo(t, env, args...)
	if !strings.Contains(errOut.String(), "going on with") {
		t.Errorf("the second start does not go on: %s", errOut)
	}
	line := strings.ReplaceAll(commands[len(commands)-1], out.find(t, `(http://[^/]+)/docs`), again.URL)
	answer, err := exec.CommandContext(t.Context(), "bash", "-c", line).Output()
	if err != nil || !strings.Contains(string(answer), `"status":"exists"`) {
		t.Errorf("after the second start the entry is answered by %s, %v", answer, err)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

func TestDemoRefusesTheDatabaseOfOthers(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	if _, _, err := command(t, env, "coop", "create", "--name", "Chisamba schools", "--currency", "ZMW", "--zone", "Africa/Lusaka", "--country", "ZM"); err != nil {
		t.Fatal(err)
	}
	out, _, err := command(t, env, "demo", "--listen", "127.0.0.1:0")
	if err == nil || !strings.Contains(err.Error(), "nothing was changed") || out != "" {
		t.Errorf("it prints %q and returns %v", out, err)
	}
	coops, err := postgres.AllCoops(t.Context(), env["DATABASE_URL"])
	if err != nil || len(coops) != 1 {
		t.Errorf("now there are the co-operatives %v, %v", coops, err)
	}
}

func TestDemoWhereAnotherProgramIs(t *testing.T) {
	t.Parallel()
	other, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	taken := other.Addr().String()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	s, errOut, stop := startDemo(t, env, "--sites", "1", "--seasons", "1", "--listen", taken)
	if s.URL == "http://"+taken || !strings.Contains(errOut.String(), "another program is at "+taken+": the demo takes "+strings.TrimPrefix(s.URL, "http://")) {
		t.Errorf("it serves at %s, and says %s", s.URL, errOut)
	}
	if body, err := get(s.URL + "/readyz"); err != nil || body != `{"status":"ok"}` {
		t.Errorf("%s, %v", body, err)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	env["LISTEN"] = taken
	if _, _, err := command(t, env, "demo"); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("with a taken address in the environment: %v", err)
	}
}

// TestDemoInterrupted: after a start that was interrupted while it filled the
// database, the next one begins anew.
func TestDemoInterrupted(t *testing.T) {
	t.Parallel()
	env := map[string]string{"PG_BIN": os.Getenv("PG_BIN")}
	args := []string{"--sites", "4", "--data", filepath.Join(enterable(t), "kept"), "--listen", "127.0.0.1:0"}
	out, errOut, stop := background(t, env, append([]string{"demo"}, args...)...)
	errOut.find(t, `(recording entries: )`)
	if err := stop(); err == nil || err.Error() != "interrupted before the demo was ready" {
		t.Errorf("it returns %v", err)
	}
	if out.String() != "" {
		t.Errorf("it prints %s", out)
	}
	s, errOut, stop := startDemo(t, env, args...)
	if !strings.Contains(errOut.String(), "recording entries: ") {
		t.Errorf("the next start records nothing: %s", errOut)
	}
	var got struct{ Items []struct{ Fish int } }
	if status := ask(t, s.URL+"/v1/overview", s.Tokens.Coordinator, &got); status != 200 || len(got.Items) != 4 {
		t.Errorf("after the next start: status %d, %+v", status, got)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// TestDemoHalfFilledInAGivenDatabase: nothing is thrown away that the demo did not
// start itself.
func TestDemoHalfFilledInAGivenDatabase(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	d := demo{Seed: 1, Sites: 1, Seasons: 1}
	if _, err := openStore(t, env["DATABASE_URL"]).CreateCoop(t.Context(), d.simulate().Facts); err != nil {
		t.Fatal(err)
	}
	out, _, err := command(t, env, "demo", "--sites", "1", "--seasons", "1", "--listen", "127.0.0.1:0")
	if err == nil || !strings.Contains(err.Error(), "migrate down --delete-all-data") || out != "" {
		t.Errorf("it prints %q and returns %v", out, err)
	}
	if coops, err := postgres.AllCoops(t.Context(), env["DATABASE_URL"]); err != nil || len(coops) != 1 {
		t.Errorf("now there are the co-operatives %v, %v", coops, err)
	}
}

// enterable returns a temporary folder that the user of a server can enter, unlike
// those of t.TempDir.
func enterable(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "demo-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestReachable(t *testing.T) {
	t.Parallel()
	for address, want := range map[string]string{
		"127.0.0.1:80": "127.0.0.1:80", "0.0.0.0:8080": "127.0.0.1:8080", "[::]:8080": "127.0.0.1:8080", "[::1]:8080": "[::1]:8080",
	} {
		tcp, err := net.ResolveTCPAddr("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		if got := reachable(tcp); got != want {
			t.Errorf("%s is reached at %s, want %s", address, got, want)
		}
	}
}

func TestAligned(t *testing.T) {
	t.Parallel()
	got := aligned([][]string{{"Tank", "kg"}, {"A", "1.5"}, {"Étang", "120.25"}}, 1)
	want := "" +
		"Tank       kg\n" +
		"A         1.5\n" +
		"Étang  120.25\n"
	if got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

// TestBar: where nobody sees it move, progress is a few lines.
func TestBar(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	b := messages{&out}.bar("weighing", 10)
	for range 10 {
		b.add(1)
	}
	if want := "weighing: 3 of 10\nweighing: 5 of 10\nweighing: 8 of 10\nweighing: 10 of 10\n"; out.String() != want {
		t.Errorf("got\n%swant\n%s", &out, want)
	}
}
