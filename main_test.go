package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
	"shoalbook/postgres/throwaway"
)

func TestMain(m *testing.M) { postgrestest.Main(m) }

// command runs the program as a shell would, and returns what it prints.
func command(t *testing.T, env map[string]string, args ...string) (out, errOut string, err error) {
	t.Helper()
	var o, e bytes.Buffer
	err = run(t.Context(), func(name string) string { return env[name] }, args, &o, &e)
	return o.String(), e.String(), err
}

func TestHelpListsEverySettingWithItsVariable(t *testing.T) {
	t.Parallel()
	out, _, err := command(t, nil, "--help")
	if err != nil {
		t.Fatal(err)
	}
	var p program
	parser, err := kong.New(&p)
	if err != nil {
		t.Fatal(err)
	}
	settings := 0
	for _, flag := range parser.Model.Flags {
		if flag.Name == "help" {
			continue
		}
		settings++
		name := flag.Tag.Get("setting")
		if name == "" || !strings.Contains(out, "[$"+name) || !strings.Contains(out, flag.Name) {
			t.Errorf("%s is not in the help with its variable %q:\n%s", flag.Name, name, out)
		}
		if !flag.HasDefault {
			t.Errorf("%s has no default", flag.Name)
		}
	}
	if settings == 0 || settings > 12 {
		t.Errorf("there are %d settings", settings)
	}
}

// TestReadmeListsEverySetting holds the table of README.md against the settings.
func TestReadmeListsEverySetting(t *testing.T) {
	t.Parallel()
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(readme), "\n## Settings\n")
	section, _, _ = strings.Cut(section, "\n## ")
	var got, want []string
	for line := range strings.Lines(section) {
		if strings.HasPrefix(line, "| `") {
			got = append(got, strings.TrimSpace(line))
		}
	}
	var p program
	parser, err := kong.New(&p)
	if err != nil {
		t.Fatal(err)
	}
	for _, flag := range parser.Model.Flags {
		name := flag.Tag.Get("setting")
		if name == "" {
			continue
		}
		long, value := "--"+flag.Name, flag.Default
		if flag.Tag.Negatable != "" {
			long = "--[no-]" + flag.Name
		}
		if value != "" {
			value = "`" + value + "`"
		}
		want = append(want, fmt.Sprintf("| `%s` | `%s` | %s | %s |", name, long, value, flag.Help))
	}
	if !slices.Equal(got, want) {
		t.Errorf("README.md has\n%s\nthe help\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestWrongCommandLinesAreUsageErrors(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{}, {"brew"}, {"migrate"}, {"migrate", "force"}, {"migrate", "force", "two"}, {"migrate", "down"}, {"verify"},
		{"verify", "not-an-id"}, {"migrate", "status", "--colour"}, {"migrate", "status", "--log-level=loud"}, {"token", "create"},
	} {
		_, _, err := command(t, map[string]string{"DATABASE_URL": "postgres:///not-reached"}, args...)
		if _, ok := errors.AsType[*kong.ParseError](err); !ok {
			t.Errorf("%q: %v", args, err)
		}
	}
}

func TestFlagsGoBeforeTheEnvironment(t *testing.T) {
	t.Parallel()
	db := postgrestest.New(t)
	for _, c := range []struct {
		env  string
		args []string
		ok   bool
	}{
		{db.URL, []string{"migrate", "status"}, true},
		{"postgres://nobody@127.0.0.1:1/none", []string{"migrate", "status", "--database-url", db.URL}, true},
		{db.URL, []string{"migrate", "status", "--database-url", "postgres://nobody@127.0.0.1:1/none"}, false},
	} {
		if _, _, err := command(t, map[string]string{"DATABASE_URL": c.env}, c.args...); (err == nil) != c.ok {
			t.Errorf("%q: %v", c.args, err)
		}
	}
}

func TestMigrateDownAndUpAgain(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	_, _, latest, err := postgres.MigrateStatus(t.Context(), env["DATABASE_URL"])
	if err != nil {
		t.Fatal(err)
	}
	whole := fmt.Sprintf("schema version %d of %d\n", latest, latest)
	empty := fmt.Sprintf("schema version 0 of %d\n", latest)
	for _, c := range []struct {
		args string
		out  string
		ok   bool
	}{
		{"migrate status", whole, true},
		{"migrate down --delete-all-data", empty, true},
		{"coop create --name x --currency ZMW --zone Africa/Lusaka --country ZM", "", false}, // there are no tables
		{"migrate up", whole, true},
		{"migrate up", whole, true},
		{"migrate force 1", fmt.Sprintf("schema version 1 of %d\n", latest), true},
		{"coop create --name x --currency ZMW --zone Africa/Lusaka --country ZM", "", false}, // they are not as they should be
		{"migrate force 99", "", false},
		{fmt.Sprintf("migrate force %d", latest), whole, true},
	} {
		out, _, err := command(t, env, strings.Fields(c.args)...)
		if out != c.out || (err == nil) != c.ok {
			t.Errorf("%s: prints %q and returns %v", c.args, out, err)
		}
	}
}

func TestCoopAndTokenCanBeUsed(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	out, _, err := command(t, env, "coop", "create", "--name", "Chisamba schools", "--currency", "ZMW", "--zone", "Africa/Lusaka", "--country", "ZM")
	if err != nil {
		t.Fatal(err)
	}
	coop, err := domain.ParseID[domain.Coop](strings.TrimSpace(out))
	if err != nil {
		t.Fatalf("%q: %v", out, err)
	}
	for _, args := range []string{"--role keeper", "--role coordinator --days 0"} {
		out, log, err := command(t, env, append([]string{"token", "create", "--coop", coop.String(), "--name", "Ms Banda"}, strings.Fields(args)...)...)
		if err != nil {
			t.Fatal(err)
		}
		token, err := domain.ParseToken(strings.TrimSpace(out))
		if err != nil || token.Coop != coop {
			t.Fatalf("%q: %v", out, err)
		}
		if strings.Contains(log, token.Text()) {
			t.Errorf("the token is in the log: %s", log)
		}
		store := openStore(t, env["DATABASE_URL"])
		cred := postgres.Credential{Coop: coop, TokenHash: token.Hash(), Roles: domain.Roles}
		err = store.View(t.Context(), cred, func(tx *postgres.Tx) error {
			actor, err := tx.Actor(t.Context())
			if err == nil && (actor.Name != "Ms Banda" || !strings.Contains(args, string(actor.Role))) {
				t.Errorf("%s acts as %+v", args, actor)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
	}
	for name, args := range map[string]string{
		"no such co-operative": "token create --name x --coop 019ade3a-7c00-7000-8000-000000000001",
		"no such site":         "token create --name x --site 019ade3a-7c00-7000-8000-000000000001 --coop " + coop.String(),
		"in the past":          "token create --name x --days=-1 --coop " + coop.String(),
		"no such currency":     "coop create --name x --currency XYZ --zone Africa/Lusaka --country ZM",
		"no such zone":         "coop create --name x --currency ZMW --zone Africa/Atlantis --country ZM",
	} {
		if out, _, err := command(t, env, strings.Fields(args)...); err == nil || out != "" {
			t.Errorf("%s: prints %q", name, out)
		}
	}
}

func openStore(t *testing.T, url string) *postgres.Store {
	t.Helper()
	store, err := postgres.Open(t.Context(), postgres.Options{URL: url})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	return store
}

func TestVerifyFindsAndRepairs(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	store, d := openStore(t, env["DATABASE_URL"]), demo{Seed: 3, Sites: 1, Seasons: 1}
	coop := d.simulate()
	if _, err := store.CreateCoop(t.Context(), coop.Facts); err != nil {
		t.Fatal(err)
	}
	if _, err := d.prepare(t.Context(), store, env["DATABASE_URL"], coop, false, messages{t.Output()}); err != nil {
		t.Fatal(err)
	}
	id := coop.Facts.ID.String()
	if out, _, err := command(t, env, "verify", id); err != nil || out != "0 differences\n" {
		t.Fatalf("at first: %q, %v", out, err)
	}
	conn, err := pgx.Connect(t.Context(), env["DATABASE_URL"])
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	tag, err := conn.Exec(t.Context(), `delete from batch_sum`)
	if err != nil || tag.RowsAffected() == 0 {
		t.Fatalf("%s, %v", tag, err)
	}
	want := fmt.Sprintf("%d differences\n", tag.RowsAffected())
	out, _, err := command(t, env, "verify", id)
	if err == nil || !strings.HasSuffix(out, want) || !strings.Contains(out, "batch_sum") {
		t.Errorf("damaged: %q, %v", out, err)
	}
	if out, _, err := command(t, env, "verify", "--repair", id); err != nil || !strings.HasSuffix(out, want) {
		t.Errorf("repairing: %q, %v", out, err)
	}
	if out, _, err := command(t, env, "verify", id); err != nil || out != "0 differences\n" {
		t.Errorf("repaired: %q, %v", out, err)
	}
	if out, _, err := command(t, env, "verify", "019ade3a-7c00-7000-8000-000000000001"); err == nil {
		t.Errorf("a co-operative there is not: %q", out)
	}
}

// A request that is being answered when the service is told to end is answered; a
// new one is not taken.
func TestServeDrains(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := "http://" + listener.Addr().String()
	begun, goOn := make(chan struct{}), make(chan struct{})
	var ending atomic.Bool
	handler := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		close(begun)
		<-goOn
		_, _ = io.WriteString(w, "whole")
	})
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- serveUntil(ctx, listener, handler, slog.New(slog.DiscardHandler), func() { ending.Store(true) })
	}()
	answered := make(chan string, 1)
	go func() {
		body, err := get(address)
		answered <- fmt.Sprint(body, err)
	}()
	<-begun
	stop()
	for !refused(address) {
		time.Sleep(20 * time.Millisecond)
	}
	if !ending.Load() {
		t.Error("no notice was given")
	}
	select {
	case err := <-ended:
		t.Errorf("it ended with a request unanswered: %v", err)
	default:
	}
	close(goOn)
	if got := <-answered; got != "whole<nil>" {
		t.Errorf("the request got %s", got)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// background runs the program until the test calls stop, which returns its error.
func background(t *testing.T, env map[string]string, args ...string) (out, errOut *lockedBuffer, stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	out, errOut = &lockedBuffer{}, &lockedBuffer{}
	go func() { ended <- run(ctx, func(name string) string { return env[name] }, args, out, errOut) }()
	stop = sync.OnceValue(func() error {
		cancel()
		return <-ended
	})
	t.Cleanup(func() { _ = stop() }) // for a test that fails before
	return out, errOut, stop
}

// A lockedBuffer is read while it is written.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// find waits for what matches the pattern and returns its first group.
func (l *lockedBuffer) find(t *testing.T, pattern string) string {
	t.Helper()
	re := regexp.MustCompile(pattern)
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if found := re.FindStringSubmatch(l.String()); found != nil {
			return found[1]
		}
	}
	t.Fatalf("no %s in\n%s", pattern, l)
	return ""
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func TestServeUntilTold(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL, "LISTEN": "127.0.0.1:0", "METRICS": "false"}
	_, output, stop := background(t, env, "serve")
	address := "http://" + output.find(t, `"address":"([^"]+)"`)
	if body, err := get(address + "/readyz"); err != nil || body != `{"status":"ok"}` {
		t.Errorf("%s, %v", body, err)
	}
	if body, err := get(address + "/metrics"); err != nil || !strings.Contains(body, "not_found") {
		t.Errorf("switched off, but %s, %v", body, err)
	}
	output.find(t, `(could see over the walls)`) // the tests log in as superuser
	if err := stop(); err != nil {
		t.Error(err)
	}
	if !refused(address) {
		t.Error("it still takes connections")
	}
}

func TestServeRefusesADatabaseThatIsNotAsItKnowsIt(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL, "LISTEN": "127.0.0.1:0"}
	if _, _, err := command(t, env, "migrate", "down", "--delete-all-data"); err != nil {
		t.Fatal(err)
	}
	if _, _, err := command(t, env, "serve"); err == nil {
		t.Error("it serves from an empty database")
	}
	unused, err := throwaway.Start(t.Context(), throwaway.Options{BinDir: os.Getenv("PG_BIN")})
	if err != nil {
		t.Fatal(err)
	}
	defer unused.Stop()
	env["DATABASE_URL"] = unused.URL("postgres")
	if _, _, err := command(t, env, "serve"); err == nil || !strings.Contains(err.Error(), "migrate the database first") {
		t.Errorf("from a server on which nothing was migrated: %v", err)
	}
}

func get(url string) (string, error) {
	response, err := http.Get(url)
	if err != nil {
		return "", err
	}
	defer response.Body.Close()
	b, err := io.ReadAll(response.Body)
	return string(b), err
}

func refused(url string) bool {
	conn, err := net.DialTimeout("tcp", strings.TrimPrefix(url, "http://"), time.Second)
	if err == nil {
		conn.Close()
	}
	return err != nil
}
