package throwaway

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// oldest is the first major version the schema works on.
const oldest = 15

// packageFolders are where packages put the server's binaries: Debian, Red Hat,
// Alpine, Homebrew on both kinds of Mac, Postgres.app, and a build from source.
var packageFolders = []string{
	"/usr/lib/postgresql/*/bin",
	"/usr/pgsql-*/bin",
	"/usr/libexec/postgresql*",
	"/opt/homebrew/opt/postgresql@*/bin",
	"/usr/local/opt/postgresql@*/bin",
	"/Applications/Postgres.app/Contents/Versions/*/bin",
	"/usr/local/pgsql/bin",
}

// installation is a folder of binaries and the version in it.
type installation struct {
	dir          string
	major, minor int
}

func (i installation) String() string {
	return fmt.Sprintf("%d.%d in %s", i.major, i.minor, i.dir)
}

// binaries returns the folder of the server's binaries. A major version other than
// 0 is the only one that will do, because data of that version exist.
func binaries(ctx context.Context, binDir string, major int, progress func(string)) (string, error) {
	if binDir != "" {
		found, err := inspect(binDir)
		if err != nil {
			return "", err
		}
		if _, ok := choose([]installation{found}, major); !ok {
			return "", unsuitable(major, []installation{found})
		}
		return binDir, nil
	}
	installed := installed()
	if found, ok := choose(installed, major); ok {
		return found.dir, nil
	}
	if major != 0 && major != fetchedMajor {
		return "", unsuitable(major, installed)
	}
	dir, err := fetch(ctx, progress)
	if err != nil {
		return "", errors.Join(unsuitable(major, installed), err)
	}
	return dir, nil
}

// choose returns the first installation that will do.
func choose(all []installation, major int) (installation, bool) {
	i := slices.IndexFunc(all, func(i installation) bool {
		return i.major >= oldest && (major == 0 || i.major == major)
	})
	if i < 0 {
		return installation{}, false
	}
	return all[i], true
}

func unsuitable(major int, found []installation) error {
	have := "none was found"
	if len(found) > 0 {
		have = "found only " + strings.Trim(fmt.Sprint(found), "[]")
	}
	if major != 0 {
		return fmt.Errorf("throwaway: the data were made by PostgreSQL %d, which cannot be read by another major version, and %s: install PostgreSQL %[1]d or use another folder", major, have)
	}
	return fmt.Errorf("throwaway: PostgreSQL %d or later is needed, and %s: install it", oldest, have)
}

// installed lists what the machine has: the one on the PATH, then the others,
// newest first.
func installed() []installation {
	var all []installation
	for _, pattern := range packageFolders {
		dirs, _ := filepath.Glob(pattern) // fails only on a malformed pattern
		for _, dir := range dirs {
			if found, err := inspect(dir); err == nil {
				all = append(all, found)
			}
		}
	}
	newestFirst(all)
	if path, err := exec.LookPath("initdb"); err == nil {
		// Behind a link there may be a wrapper's folder without the server.
		if path, err = filepath.EvalSymlinks(path); err == nil {
			if found, err := inspect(filepath.Dir(path)); err == nil {
				all = append([]installation{found}, all...)
			}
		}
	}
	return all
}

// newestFirst orders by number: as text, 9.6 would come before 15.
func newestFirst(all []installation) {
	slices.SortStableFunc(all, func(a, b installation) int {
		if a.major != b.major {
			return b.major - a.major
		}
		return b.minor - a.minor
	})
}

// inspect asks the binaries in a folder for their version.
func inspect(dir string) (installation, error) {
	if _, err := exec.LookPath(filepath.Join(dir, "initdb")); err != nil {
		return installation{}, fmt.Errorf("throwaway: %w", err)
	}
	out, err := exec.Command(filepath.Join(dir, "postgres"), "-V").Output()
	if err != nil {
		return installation{}, fmt.Errorf("throwaway: postgres -V in %s: %w", dir, err)
	}
	major, minor, err := parseVersion(string(out))
	if err != nil {
		return installation{}, fmt.Errorf("throwaway: postgres -V in %s: %w", dir, err)
	}
	return installation{dir, major, minor}, nil
}

var versionText = regexp.MustCompile(`\(PostgreSQL\) (\d+)(?:\.(\d+))?`)

// parseVersion reads what postgres -V prints, such as
// "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)" or "… 19beta1".
func parseVersion(text string) (major, minor int, err error) {
	m := versionText.FindStringSubmatch(text)
	if m == nil {
		return 0, 0, fmt.Errorf("no version in %q", strings.TrimSpace(text))
	}
	if major, err = strconv.Atoi(m[1]); err != nil {
		return 0, 0, err
	}
	if m[2] != "" {
		if minor, err = strconv.Atoi(m[2]); err != nil {
			return 0, 0, err
		}
	}
	return major, minor, nil
}
