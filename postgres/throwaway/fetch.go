package throwaway

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	embeddedpostgres "github.com/fergusstrange/embedded-postgres"
)

const (
	fetchedVersion = embeddedpostgres.V15
	fetchedMajor   = 15
)

// fetch downloads the server's binaries, once: they are kept in the user's cache
// folder, as root in /var/cache, where the user of the server can read them.
//
// It is tested against a server of the test's own; the download from the library's
// real repository has not been tried.
func fetch(ctx context.Context, progress func(string)) (string, error) {
	base := "/var/cache"
	if os.Geteuid() != 0 {
		var err error
		if base, err = os.UserCacheDir(); err != nil {
			return "", fmt.Errorf("throwaway: no folder to keep a download in: %w", err)
		}
	}
	progress("fetching PostgreSQL " + string(fetchedVersion))
	return fetchInto(ctx, filepath.Join(base, "shoalbook", "postgresql"), embeddedpostgres.DefaultConfig())
}

// fetchInto returns the folder of the binaries below cache, downloading them if
// they are not there. The library cannot be interrupted: when the context ends, the
// download is left to itself.
func fetchInto(ctx context.Context, cache string, config embeddedpostgres.Config) (string, error) {
	done := make(chan error, 1)
	final := filepath.Join(cache, string(fetchedVersion))
	go func() { done <- fetchOnce(cache, final, config) }()
	select {
	case err := <-done:
		if err != nil {
			return "", fmt.Errorf("throwaway: fetching PostgreSQL %s: %w", fetchedVersion, err)
		}
		return filepath.Join(final, "bin"), nil
	case <-ctx.Done():
		return "", fmt.Errorf("throwaway: fetching PostgreSQL %s: %w", fetchedVersion, ctx.Err())
	}
}

func fetchOnce(cache, final string, config embeddedpostgres.Config) error {
	if err := os.MkdirAll(cache, 0o755); err != nil {
		return err
	}
	lock, err := os.OpenFile(filepath.Join(cache, lockName), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	defer lock.Close()
	// Test binaries run side by side; the second one waits for the first.
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX); err != nil {
		return err
	}
	if _, err := os.Stat(final); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	partial := final + ".partial"
	if err := os.RemoveAll(partial); err != nil {
		return err
	}
	if err := unpack(cache, partial, config); err != nil {
		return err
	}
	return os.Rename(partial, final)
}

// unpack lets the library download and unpack. It has no call for that alone:
// Start does it first and then starts a server, which is made to fail at once by
// data that are only a version number. This server would not do: it wants a TCP
// port and refuses to be started by root.
func unpack(cache, into string, config embeddedpostgres.Config) error {
	scratch, err := os.MkdirTemp(cache, "scratch-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)
	data := filepath.Join(scratch, "data")
	if err := os.Mkdir(data, 0o755); err != nil {
		return err
	}
	version := []byte(strconv.Itoa(fetchedMajor) + "\n")
	if err := os.WriteFile(filepath.Join(data, "PG_VERSION"), version, 0o644); err != nil {
		return err
	}
	server := embeddedpostgres.NewDatabase(config.Version(fetchedVersion).Port(0).
		CachePath(cache).BinariesPath(into).RuntimePath(filepath.Join(scratch, "run")).DataPath(data).
		Logger(io.Discard))
	switch err := server.Start(); {
	case err == nil:
		return errors.Join(errors.New("a server started on no data"), server.Stop())
	case !strings.HasPrefix(err.Error(), "could not start postgres"):
		return err
	}
	return nil
}
