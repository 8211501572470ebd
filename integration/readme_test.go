package integration_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// fence is a fenced block of a text: code in a language, or, without one, what the
// code before it prints.
type fence struct{ language, text string }

func fences(markdown string) (all []fence) {
	for _, m := range regexp.MustCompile("(?ms)^```([a-z]*)\n(.*?)^```$").FindAllStringSubmatch(markdown, -1) {
		all = append(all, fence{m[1], m[2]})
	}
	return all
}

// TestReadme does what README.md says, as it is written there, in one shell against
// a running service, and compares what is printed. Only two lines are not taken as
// they are, since the test has a database and a port of its own: the one that creates
// the database, and the one that says where the service is.
func TestReadme(t *testing.T) {
	t.Parallel()
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, example, found := strings.Cut(string(readme), "\n## A worked example\n")
	example, _, ended := strings.Cut(example, "\n## ")
	if !found || !ended {
		t.Fatal("README.md has no worked example")
	}
	all := fences(example)
	const setup = "createdb shoalbook\ngo run . migrate up\ngo run . serve\n"
	if len(all) < 2 || all[0] != (fence{"sh", setup}) {
		t.Fatalf("the first block is %q, want %q", all, setup)
	}
	database := postgrestest.New(t).URL
	if err := postgres.MigrateDown(t.Context(), database); err != nil {
		t.Fatal(err)
	}
	env := append(os.Environ(), "DATABASE_URL="+database)
	program := filepath.Join(t.TempDir(), "shoalbook")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, "shoalbook").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	shell(t, env, "go run . migrate up")
	address := serveProcess(t, program, env)

	// One shell runs all blocks; a line of its own ends what each prints.
	const mark = "~~~ end of block ~~~\n"
	const here = "url=http://127.0.0.1:8080\n"
	var script strings.Builder
	var want []string
	for _, f := range all[1:] {
		switch f.language {
		case "sh":
			script.WriteString(f.text + "printf '" + strings.TrimSuffix(mark, "\n") + "\\n'\n")
			want = append(want, "")
		case "":
			want[len(want)-1] += f.text
		default:
			t.Errorf("a block of %s, which nobody runs", f.language)
		}
	}
	if strings.Count(script.String(), here) != 1 {
		t.Fatalf("where the service is should be said once, by %s", here)
	}
	out := shell(t, env, strings.Replace(script.String(), here, "url="+address+"\n", 1))
	got := strings.Split(out, mark)
	if len(got) != len(want)+1 || got[len(want)] != "" {
		t.Fatalf("%d blocks print something, want %d:\n%s", len(got), len(want), out)
	}
	printing := 0
	for i, w := range want {
		if got[i] != w {
			t.Errorf("block %d prints\n%sREADME.md says\n%s", i+2, got[i], w)
		}
		if w != "" {
			printing++
		}
	}
	if printing < 7 {
		t.Errorf("README.md shows what %d blocks print", printing)
	}
}

// shell runs a script at the root of the module and returns what it prints.
func shell(t *testing.T, env []string, script string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	cmd := exec.CommandContext(t.Context(), "bash", "-eu", "-o", "pipefail", "-c", script)
	cmd.Dir, cmd.Env, cmd.Stdout, cmd.Stderr = "..", env, &out, &errOut
	if err := cmd.Run(); err != nil || errOut.Len() > 0 {
		t.Fatalf("%v: %s\n%s", err, &errOut, &out)
	}
	return out.String()
}

// serveProcess runs the service as a program of its own until the test ends, and
// returns where it is.
func serveProcess(t *testing.T, program string, env []string) string {
	t.Helper()
	log, err := os.Create(filepath.Join(t.TempDir(), "log"))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close() // the program has its own descriptor
	cmd := exec.Command(program, "serve")
	cmd.Env, cmd.Stderr = append(env, "LISTEN=127.0.0.1:0"), log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Error(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Errorf("the service ended with %v", err)
		}
	})
	line := regexp.MustCompile(`"msg":"serving","address":"([^"]+)"`)
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		text, err := os.ReadFile(log.Name())
		if err != nil {
			t.Fatal(err)
		}
		if m := line.FindSubmatch(text); m != nil {
			return "http://" + string(m[1])
		}
	}
	t.Fatal("the service did not begin")
	return ""
}
