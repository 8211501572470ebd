package throwaway_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/postgres/throwaway"
)

// helperVariable makes the test binary play another process, see TestMain.
const helperVariable = "SHOALBOOK_TEST_HELPER"

func TestMain(m *testing.M) {
	if os.Getenv(helperVariable) == "" {
		os.Exit(m.Run())
	}
	if err := helper(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// helper starts a server, prints the process id of its postmaster and its URL,
// and stops it at the end of its input.
func helper() error {
	ctx := context.Background()
	s, err := throwaway.Start(ctx, throwaway.Options{})
	if err != nil {
		return err
	}
	pid, err := postmaster(ctx, s)
	if err != nil {
		return err
	}
	fmt.Println(pid, s.URL("postgres"))
	if _, err := os.Stdin.Read(make([]byte, 1)); err == nil {
		return errors.New("input where none was expected")
	}
	return s.Stop()
}

func TestStart(t *testing.T) {
	t.Parallel()
	var told []string
	s := start(t, throwaway.Options{Progress: func(what string) { told = append(told, what) }})
	if len(told) == 0 {
		t.Error("Progress was told nothing")
	}
	for setting, want := range map[string]string{
		"listen_addresses": "", "max_connections": "200", "shared_buffers": "128MB", "TimeZone": "UTC",
		"fsync": "off", "synchronous_commit": "off", "server_encoding": "UTF8",
	} {
		if got := query(t, s, "select current_setting($1)", setting); got != want {
			t.Errorf("%s = %q, want %q", setting, got, want)
		}
	}
	version, err := strconv.Atoi(query(t, s, "select current_setting('server_version_num')"))
	if err != nil || version < 15_00_00 {
		t.Errorf("server_version_num = %d, %v, want at least 150000", version, err)
	}
	if locale := query(t, s, "select datcollate from pg_database where datname = $1", "postgres"); locale != "C.UTF-8" && locale != "C" {
		t.Errorf("locale = %q, want C.UTF-8 or C", locale)
	}

	pid, err := postmaster(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if group, err := syscall.Getpgid(pid); err != nil || group != pid {
		t.Errorf("process group of the server = %d, %v, want its own, %d", group, err, pid)
	}
	run := host(t, s)
	if socket := filepath.Join(run, ".s.PGSQL.5432"); len(socket) >= 104 {
		t.Errorf("socket path %s has %d bytes", socket, len(socket))
	}
	if err := s.Stop(); err != nil {
		t.Errorf("Stop: %v", err)
	}
	if err := s.Stop(); err != nil {
		t.Errorf("Stop again: %v", err)
	}
	if _, err := os.Stat(run); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("after Stop, %s: %v, want it gone", run, err)
	}
	if alive(pid) {
		t.Errorf("after Stop, process %d is there", pid)
	}
	if err := s.Restart(t.Context()); err == nil {
		t.Error("Restart on removed data succeeded")
	}
}

func TestDirKeepsData(t *testing.T) {
	t.Parallel()
	o := throwaway.Options{Dir: filepath.Join(enterable(t), "new", "demo"), Durable: true}
	s := start(t, o)
	for _, setting := range []string{"fsync", "synchronous_commit", "full_page_writes"} {
		if got := query(t, s, "select current_setting($1)", setting); got != "on" {
			t.Errorf("%s = %q, want on", setting, got)
		}
	}
	query(t, s, "create table kept as select 'trout' as fish")

	if second, err := throwaway.Start(t.Context(), o); err == nil {
		t.Error("a second server started on the same data", second.Stop())
	} else if !strings.Contains(err.Error(), "in use") {
		t.Errorf("second server on the same data: %v", err)
	}

	before := s.URL("postgres")
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if err := s.Restart(t.Context()); err != nil {
		t.Fatalf("Restart after Stop: %v", err)
	}
	if s.URL("postgres") != before {
		t.Errorf("URL changed from %s to %s", before, s.URL("postgres"))
	}
	if got := query(t, s, "select fish from kept"); got != "trout" {
		t.Errorf("after Restart: %q", got)
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}

	var told []string
	o.Progress = func(what string) { told = append(told, what) }
	again := start(t, o)
	if got := query(t, again, "select fish from kept"); got != "trout" {
		t.Errorf("after a second Start: %q", got)
	}
	for _, what := range told {
		if strings.Contains(what, "creating") {
			t.Errorf("the second Start was %s", what)
		}
	}
}

func TestKillAndRestart(t *testing.T) {
	t.Parallel()
	s := start(t, throwaway.Options{Durable: true})
	query(t, s, "create table kept (n int)")
	open, err := pgx.Connect(t.Context(), s.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer open.Close(context.Background())
	if _, err := open.Exec(t.Context(), "insert into kept values (42)"); err != nil {
		t.Fatal(err)
	}
	pid, err := postmaster(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Kill(); err != nil {
		t.Fatal(err)
	}
	if alive(pid) {
		t.Errorf("after Kill, process %d is there", pid)
	}
	if err := s.Kill(); err == nil {
		t.Error("Kill of a killed server succeeded")
	}
	if err := s.Restart(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Restart(t.Context()); err == nil {
		t.Error("Restart of a running server succeeded")
	}
	if got := query(t, s, "select n::text from kept"); got != "42" {
		t.Errorf("acknowledged row after a crash: %q, want 42", got)
	}
	// Stopping a killed server removes its folder too.
	run := host(t, s)
	if err := errors.Join(s.Kill(), s.Stop()); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(run); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("after Kill and Stop, %s: %v, want it gone", run, err)
	}
}

func TestStopTellsOfACrash(t *testing.T) {
	t.Parallel()
	s := start(t, throwaway.Options{})
	pid, err := postmaster(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGQUIT); err != nil {
		t.Fatal(err)
	}
	waitGone(t, pid)
	if err := s.Stop(); err == nil || !strings.Contains(err.Error(), "immediate shutdown") {
		t.Errorf("Stop after a crash: %v, want the end of the log", err)
	}
}

func TestOtherMajorVersionIsRefused(t *testing.T) {
	t.Parallel()
	dir := enterable(t)
	data := filepath.Join(dir, "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(data, "PG_VERSION"), []byte("14\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := throwaway.Start(t.Context(), throwaway.Options{Dir: dir})
	if err == nil {
		t.Fatal("started", s.Stop())
	}
	if !strings.Contains(err.Error(), "made by PostgreSQL 14") {
		t.Errorf("got %v", err)
	}
}

func TestBinDirMustHoldBinaries(t *testing.T) {
	t.Parallel()
	s, err := throwaway.Start(t.Context(), throwaway.Options{BinDir: t.TempDir()})
	if err == nil {
		t.Fatal("started", s.Stop())
	}
	if !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v, want a missing file", err)
	}
}

func TestCancelledStartLeavesNothing(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	dir := enterable(t)
	s, err := throwaway.Start(ctx, throwaway.Options{Dir: dir, Progress: func(what string) {
		if strings.HasPrefix(what, "creating") {
			cancel()
		}
	}})
	if err == nil {
		t.Fatal("started", s.Stop())
	}
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want cancelled", err)
	}
	// An interrupted creation must not be taken for a cluster.
	s = start(t, throwaway.Options{Dir: dir})
	query(t, s, "select 1::text")
}

// TestOrdinaryUser starts a server from a process that is not root.
func TestOrdinaryUser(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		query(t, start(t, throwaway.Options{}), "select 1::text")
		return
	}
	nobody, err := user.Lookup("nobody")
	if err != nil {
		t.Fatal(err)
	}
	uid, err1 := strconv.ParseUint(nobody.Uid, 10, 32)
	gid, err2 := strconv.ParseUint(nobody.Gid, 10, 32)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	// The folder that go test builds in is closed to others.
	binary, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(enterable(t), "helper")
	if err := os.WriteFile(copied, binary, 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(copied)
	cmd.Env, cmd.Dir = append(os.Environ(), helperVariable+"=1"), "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if !strings.Contains(string(out), "postgres:///") {
		t.Errorf("helper printed %q", out)
	}
}

func start(t *testing.T, o throwaway.Options) *throwaway.Server {
	t.Helper()
	s, err := throwaway.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Stop(); err != nil && !t.Failed() {
			t.Logf("Stop: %v", err)
		}
	})
	return s
}

// query runs a statement and returns the one text it yields, if any.
func query(t *testing.T, s *throwaway.Server, sql string, args ...any) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	var text string
	if err := conn.QueryRow(t.Context(), sql, args...).Scan(&text); err != nil && !errors.Is(err, pgx.ErrNoRows) {
		t.Fatalf("%s: %v", sql, err)
	}
	return text
}

// postmaster returns the process id of the server.
func postmaster(ctx context.Context, s *throwaway.Server) (int, error) {
	conn, err := pgx.Connect(ctx, s.URL("postgres"))
	if err != nil {
		return 0, err
	}
	defer conn.Close(ctx)
	var pidFile string
	if err := conn.QueryRow(ctx, "select pg_read_file('postmaster.pid')").Scan(&pidFile); err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(pidFile, "\n")
	return strconv.Atoi(first)
}

// host returns the folder of the server's socket.
func host(t *testing.T, s *throwaway.Server) string {
	t.Helper()
	u, err := url.Parse(s.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	return u.Query().Get("host")
}

// enterable returns a temporary folder that the server's user can enter, unlike
// those of t.TempDir.
func enterable(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "throwaway-test-")
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

// alive returns whether a process runs. One that has ended but that its new parent
// has not asked after, as happens in containers, does not.
func alive(pid int) bool {
	if syscall.Kill(pid, 0) != nil {
		return false
	}
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	return err != nil || !strings.Contains(string(stat), ") Z ")
}

func waitGone(t *testing.T, pid int) {
	t.Helper()
	for range 1000 {
		if !alive(pid) {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("process %d is still there", pid)
}
