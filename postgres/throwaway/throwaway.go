// Package throwaway starts a PostgreSQL server from the machine's own binaries,
// for the demo and for tests. The server is reached by a Unix socket only, so no
// port is taken and nobody but the user who started it can connect.
package throwaway

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	superuser = "postgres"
	port      = "5432" // names the socket file, nothing listens on TCP

	fastShutdown      = 10 * time.Second
	immediateShutdown = 5 * time.Second
)

// Options says how to start a server. The zero value is right for ordinary tests.
type Options struct {
	// Dir keeps the data between starts. Empty means a temporary folder, which
	// Stop removes.
	Dir string
	// Durable turns fsync and synchronous_commit on, as the demo, crash tests and
	// benchmarks need. Without it a killed server may lose what it acknowledged.
	Durable bool
	// BinDir is the folder of postgres and initdb. Empty means PATH, then the
	// folders of the usual packages, then a download.
	BinDir string
	// Progress is told, in a few words, what takes time. It may be nil.
	Progress func(string)
}

// Server is a PostgreSQL server that this process started.
type Server struct {
	durable   bool
	temporary bool
	bin       string
	home      string // holds data and, when temporary, is the same as run
	run       string // holds the socket and the log
	user      *account

	mu      sync.Mutex // guards what follows
	locks   []*os.File
	cmd     *exec.Cmd
	ended   chan struct{} // closed when cmd has been reaped
	killed  bool
	removed bool
}

// Start starts a server and returns once it accepts connections. The context
// bounds the start only, not the life of the server.
//
// As root, which PostgreSQL refuses, the server runs as the user postgres or
// nobody, or as the owner of the data in Dir.
//
// The server has its own process group, so that Ctrl-C in a terminal does not
// reach it before its user has drained. On Linux it ends when this process ends,
// however that happens; elsewhere a process that is killed leaves it running.
func Start(ctx context.Context, o Options) (_ *Server, err error) {
	progress := o.Progress
	if progress == nil {
		progress = func(string) {}
	}
	s := &Server{durable: o.Durable, temporary: o.Dir == ""}
	if !s.temporary {
		if s.home, err = filepath.Abs(o.Dir); err != nil {
			return nil, err
		}
	}
	major, err := dataVersion(s.home)
	if err != nil {
		return nil, err
	}
	if s.user, err = serverUser(s.data()); err != nil {
		return nil, err
	}
	if s.bin, err = binaries(ctx, o.BinDir, major, progress); err != nil {
		return nil, err
	}
	if err := s.user.reach(s.bin); err != nil {
		return nil, err
	}

	s.mu.Lock()
	defer s.mu.Unlock()
	defer func() {
		if err != nil {
			err = errors.Join(err, s.clean())
		}
	}()
	if err := s.open(); err != nil {
		return nil, err
	}
	if major == 0 {
		progress("creating a database cluster in " + s.data())
		if err := s.initdb(ctx); err != nil {
			return nil, err
		}
	}
	progress("starting PostgreSQL on " + s.data())
	if err := s.start(ctx); err != nil {
		return nil, err
	}
	return s, nil
}

// URL returns the address of a database as superuser, by the Unix socket. It
// stays the same when the server is started again.
func (s *Server) URL(database string) string {
	q := url.Values{"host": {s.run}, "port": {port}, "user": {superuser}}
	return "postgres:///" + url.PathEscape(database) + "?" + q.Encode()
}

// Stop ends the server by a fast shutdown (clients are disconnected, everything
// is written), or by harder means when that takes too long, and removes what was
// temporary. It returns an error with the end of the log when the server had
// ended by itself. Stopping twice is fine.
func (s *Server) Stop() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.killed && s.temporary {
		s.settle()
	}
	var crashed error
	if s.cmd != nil {
		if !s.shutdown() {
			crashed = s.failure("had ended by itself")
		}
		s.cmd = nil
	}
	return errors.Join(crashed, s.clean())
}

// Kill ends the postmaster by SIGKILL and reaps it: a crash, as far as the data
// are concerned. Everything on disk stays for Restart; Stop removes it if it is
// temporary.
func (s *Server) Kill() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cmd == nil {
		return errors.New("throwaway: not running")
	}
	if err := s.cmd.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return fmt.Errorf("throwaway: kill: %w", err)
	}
	<-s.ended
	s.cmd, s.killed = nil, true
	return nil
}

// Restart starts the server again on the same data and under the same URL, after
// Kill, or after Stop when the data were kept in Options.Dir.
func (s *Server) Restart(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.cmd != nil:
		return errors.New("throwaway: already running")
	case s.removed && s.temporary:
		return errors.New("throwaway: its data were temporary and are gone")
	case s.removed:
		if err := s.open(); err != nil {
			return errors.Join(err, s.clean())
		}
	}
	return s.start(ctx)
}

func (s *Server) data() string {
	if s.home == "" {
		return ""
	}
	return filepath.Join(s.home, "data")
}

func (s *Server) logFile() string { return filepath.Join(s.run, "log") }

// initdb creates the cluster beside its final place, so that one that was
// interrupted is never taken for a whole one.
func (s *Server) initdb(ctx context.Context) error {
	partial := s.data() + ".partial"
	if err := os.RemoveAll(partial); err != nil {
		return err
	}
	if err := s.user.mkdir(partial); err != nil {
		return err
	}
	create := func(locale string) ([]byte, error) {
		args := []string{"-D", partial, "-U", superuser, "-A", "trust", "-E", "UTF8", "--locale=" + locale, "--no-instructions"}
		if !s.durable {
			args = append(args, "--no-sync", "--wal-segsize=1")
		}
		cmd := exec.CommandContext(ctx, filepath.Join(s.bin, "initdb"), args...)
		cmd.Dir, cmd.Env = s.run, s.environment()
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: s.user.credential()}
		return cmd.CombinedOutput()
	}
	out, err := create("C.UTF-8")
	if err != nil && bytes.Contains(out, []byte("invalid locale")) { // macOS, older Linux
		out, err = create("C")
	}
	if err != nil {
		return fmt.Errorf("throwaway: initdb: %w: %s", err, bytes.TrimSpace(out))
	}
	return os.Rename(partial, s.data())
}

// environment is all that the server's processes see: variables such as PGPORT
// or LC_MESSAGES of the caller must not change what they do.
func (s *Server) environment() []string {
	return []string{"PATH=" + s.bin + ":/usr/bin:/bin", "LC_ALL=C", "TZ=UTC"}
}

func (s *Server) settings() []string {
	all := []string{
		"listen_addresses=", "port=" + port, "unix_socket_directories=" + s.run,
		"max_connections=200", "shared_buffers=128MB", "timezone=UTC", "log_timezone=UTC",
	}
	if !s.durable {
		// No vacuum either: its workers hold up the copying of template databases.
		all = append(all, "fsync=off", "synchronous_commit=off", "full_page_writes=off",
			"wal_level=minimal", "max_wal_senders=0", "max_wal_size=128MB", "min_wal_size=32MB", "autovacuum=off")
	}
	return all
}

// start launches the server. After a kill the orphaned backends may need a moment
// to notice that their postmaster is gone; until then a new one refuses to start.
func (s *Server) start(ctx context.Context) error {
	const patience = 10 * time.Second
	for begin := time.Now(); ; {
		err := s.launch(ctx)
		if err == nil {
			return nil
		}
		if !strings.Contains(err.Error(), "is still in use") || time.Since(begin) > patience {
			return err
		}
		select {
		case <-ctx.Done():
			return errors.Join(err, ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func (s *Server) launch(ctx context.Context) error {
	log, err := os.Create(s.logFile())
	if err != nil {
		return err
	}
	defer log.Close() // the server has its own descriptor
	args := []string{"-D", s.data()}
	for _, setting := range s.settings() {
		args = append(args, "-c", setting)
	}
	cmd := exec.Command(filepath.Join(s.bin, "postgres"), args...)
	cmd.Dir, cmd.Env = s.run, s.environment()
	cmd.Stdout, cmd.Stderr = log, log
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: s.user.credential(), Setpgid: true}
	dieWithParent(cmd.SysProcAttr)

	started, ended := make(chan error), make(chan struct{})
	go func() {
		// The death signal follows the thread that forks, not the process, so the
		// thread has to live as long as the server.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			_ = cmd.Wait() // how it ended is in its log
			close(ended)
		}
	}()
	if err := <-started; err != nil {
		return fmt.Errorf("throwaway: %w", err)
	}
	s.cmd, s.ended, s.killed = cmd, ended, false
	if err := s.ready(ctx); err != nil {
		s.shutdown()
		s.cmd = nil
		return err
	}
	return nil
}

// ready waits until the server answers.
func (s *Server) ready(ctx context.Context) error {
	for {
		conn, err := pgx.Connect(ctx, s.URL("postgres"))
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case <-s.ended:
			return s.failure("did not start")
		case <-ctx.Done():
			return fmt.Errorf("throwaway: PostgreSQL was not ready in time: %w", errors.Join(ctx.Err(), err))
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// settle starts a killed server once more before its data are removed: nothing else
// waits for its orphaned backends and frees the shared memory they leave behind, of
// which a machine has only so many pieces.
func (s *Server) settle() {
	ctx, cancel := context.WithTimeout(context.Background(), fastShutdown)
	defer cancel()
	_ = s.start(ctx) // if it cannot, there is nothing more to be done
}

// shutdown ends the server, by ever harder means, and reaps it. It returns false if
// the server had ended already.
func (s *Server) shutdown() bool {
	if s.cmd.Process.Signal(syscall.Signal(0)) != nil {
		<-s.ended
		return false
	}
	for _, step := range []struct {
		signal syscall.Signal
		wait   time.Duration
	}{{syscall.SIGINT, fastShutdown}, {syscall.SIGQUIT, immediateShutdown}} {
		_ = s.cmd.Process.Signal(step.signal) // fails only when it has just ended
		select {
		case <-s.ended:
			return true
		case <-time.After(step.wait):
		}
	}
	_ = s.cmd.Process.Kill()
	<-s.ended
	return true
}

// failure is an error with the end of the server's log.
func (s *Server) failure(what string) error {
	const most = 2000
	log, err := os.ReadFile(s.logFile())
	if err != nil {
		return fmt.Errorf("throwaway: PostgreSQL %s; its log: %w", what, err)
	}
	return fmt.Errorf("throwaway: PostgreSQL %s: %s", what, bytes.TrimSpace(log[max(0, len(log)-most):]))
}
