package integration_test

import (
	"bytes"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// build builds the program and returns where it is.
func build(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "shoalbook")
	if out, err := exec.Command("go", "build", "-o", file, "shoalbook").CombinedOutput(); err != nil {
		t.Fatalf("build the program: %v\n%s", err, out)
	}
	return file
}

// A program is the real one, as a process of its own that can be killed.
type program struct {
	t        *testing.T
	file     string
	database string
	address  string

	mu      sync.Mutex
	process *exec.Cmd
	log     bytes.Buffer
}

func newProgram(t *testing.T, file, database string) *program {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0") // for an address that is free, also after a restart
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	p := &program{t: t, file: file, database: database, address: listener.Addr().String()}
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Logf("the service has logged\n%s", p.log.String())
		}
	})
	return p
}

func (p *program) command(args ...string) *exec.Cmd {
	c := exec.Command(p.file, args...)
	c.Env = append(os.Environ(), "DATABASE_URL="+p.database, "LISTEN="+p.address, "RATE_PER_TOKEN=0", "RATE_PER_COOP=0", "LOG_LEVEL=error")
	return c
}

// run runs a command of the program and returns what it prints.
func (p *program) run(args ...string) string {
	p.t.Helper()
	out, err := p.command(args...).CombinedOutput()
	if err != nil {
		p.t.Errorf("shoalbook %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

// start starts the service and waits until it can take requests.
func (p *program) start() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.process = p.command("serve")
	p.process.Stdout, p.process.Stderr = &p.log, &p.log
	if err := p.process.Start(); err != nil {
		p.t.Error(err)
		return
	}
	p.healed(10 * time.Second)
}

// healed waits until the service can take requests, and returns how long that took.
func (p *program) healed(patience time.Duration) time.Duration {
	p.t.Helper()
	start := time.Now()
	for time.Since(start) < patience {
		if r, err := transport.RoundTrip(p.request("/readyz")); err == nil {
			r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return time.Since(start)
			}
		}
		time.Sleep(5 * time.Millisecond)
	}
	p.t.Errorf("the service is not ready after %v: %s", patience, p.log.String())
	return patience
}

func (p *program) request(path string) *http.Request {
	r, err := http.NewRequest("GET", "http://"+p.address+path, nil)
	if err != nil {
		p.t.Error(err)
	}
	return r
}

// kill ends the service at once (SIGKILL), if it runs.
func (p *program) kill() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.process == nil {
		return
	}
	p.process.Process.Kill()
	p.process.Wait()
	p.process = nil
}
