package throwaway

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

func TestParseVersion(t *testing.T) {
	t.Parallel()
	for text, want := range map[string][2]int{
		"postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n": {15, 18},
		"postgres (PostgreSQL) 9.6.24\n":                         {9, 6},
		"postgres (PostgreSQL) 18.0\n":                           {18, 0},
		"postgres (PostgreSQL) 19beta1\n":                        {19, 0},
		"postgres (PostgreSQL) 19devel\n":                        {19, 0},
	} {
		major, minor, err := parseVersion(text)
		if err != nil || [2]int{major, minor} != want {
			t.Errorf("parseVersion(%q) = %d, %d, %v, want %v", text, major, minor, err, want)
		}
	}
	for _, text := range []string{"", "postgres", "mysqld 8.0", "postgres (PostgreSQL) new"} {
		if major, minor, err := parseVersion(text); err == nil {
			t.Errorf("parseVersion(%q) = %d, %d, want an error", text, major, minor)
		}
	}
}

func TestNewestByNumber(t *testing.T) {
	t.Parallel()
	all := []installation{{"a", 9, 6}, {"b", 15, 2}, {"c", 100, 0}, {"d", 15, 18}, {"e", 14, 20}}
	newestFirst(all)
	var order strings.Builder
	for _, i := range all {
		order.WriteString(i.dir)
	}
	if order.String() != "cdbea" {
		t.Errorf("order = %s, want cdbea", &order)
	}
}

func TestChoose(t *testing.T) {
	t.Parallel()
	all := []installation{{"path", 9, 6}, {"new", 18, 1}, {"mid", 16, 4}, {"old", 14, 9}}
	for _, c := range []struct {
		major int
		want  string
	}{{0, "new"}, {16, "mid"}, {18, "new"}, {15, ""}, {14, ""}, {9, ""}} {
		got, ok := choose(all, c.major)
		if got.dir != c.want || ok != (c.want != "") {
			t.Errorf("choose for data of %d = %v, %v, want %q", c.major, got, ok, c.want)
		}
	}
}

func TestUnsuitableSaysWhatThereIs(t *testing.T) {
	t.Parallel()
	err := unsuitable(16, []installation{{"/usr/lib/postgresql/15/bin", 15, 18}, {"/opt/pg", 9, 6}})
	for _, part := range []string{"PostgreSQL 16", "15.18 in /usr/lib/postgresql/15/bin", "9.6 in /opt/pg"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not say %q", err, part)
		}
	}
}

func TestReach(t *testing.T) {
	t.Parallel()
	closed := t.TempDir()
	inside := filepath.Join(closed, "inside")
	if err := os.Mkdir(inside, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	stranger := &account{name: "stranger", uid: uint32(os.Geteuid()) + 1, gid: uint32(os.Getegid()) + 1}
	err := stranger.reach(inside)
	if err == nil {
		t.Fatal("a stranger enters a closed folder")
	}
	for _, part := range []string{"stranger", closed, "chmod o+x"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not say %q", err, part)
		}
	}
	if err := stranger.reach("/usr"); err != nil {
		t.Errorf("an open folder: %v", err)
	}
	var self *account
	if err := self.reach(inside); err != nil {
		t.Errorf("the current user: %v", err)
	}
}

func TestSweepTakesOnlyTheAbandoned(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	make := func(name string, age time.Duration) string {
		t.Helper()
		dir := filepath.Join(base, tempPrefix+name)
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		lock := filepath.Join(dir, lockName)
		if err := os.WriteFile(lock, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		when := time.Now().Add(-age)
		if err := os.Chtimes(lock, when, when); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	abandoned, young, used := make("abandoned", time.Hour), make("young", 0), make("used", time.Hour)
	f, err := os.Open(filepath.Join(used, lockName))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX); err != nil {
		t.Fatal(err)
	}
	sweep(base)
	for dir, want := range map[string]bool{abandoned: false, young: true, used: true} {
		_, err := os.Stat(dir)
		if (err == nil) != want {
			t.Errorf("%s: there %t, want %t", filepath.Base(dir), err == nil, want)
		}
	}
}
