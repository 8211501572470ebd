package throwaway

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	tempPrefix = "shoalbook-postgres-"
	lockName   = "lock"

	// A socket's address holds 104 bytes on macOS and 108 on Linux, with a zero
	// at the end.
	longestSocket = 103
)

// dataVersion returns the major version of the cluster kept in home, 0 if there
// is none yet.
func dataVersion(home string) (int, error) {
	if home == "" {
		return 0, nil
	}
	text, err := os.ReadFile(filepath.Join(home, "data", "PG_VERSION"))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("throwaway: %w", err)
	}
	major, _, _ := strings.Cut(strings.TrimSpace(string(text)), ".")
	n, err := strconv.Atoi(major)
	if err != nil {
		return 0, fmt.Errorf("throwaway: PG_VERSION in %s: %w", home, err)
	}
	return n, nil
}

// open creates and locks the folders of the server. Those that exist stay.
func (s *Server) open() error {
	if s.run == "" {
		run, err := s.makeRun()
		if err != nil {
			return err
		}
		s.run = run
	} else if err := s.user.mkdir(s.run); err != nil {
		return err
	}
	s.removed = false
	if err := s.lock(s.run); err != nil {
		return err
	}
	if s.temporary {
		s.home = s.run
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(s.home), 0o755); err != nil {
		return fmt.Errorf("throwaway: %w", err)
	}
	// Not private: the server's user has to pass through to the data, which are.
	if err := os.Mkdir(s.home, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("throwaway: %w", err)
	}
	if err := s.user.reach(s.home); err != nil {
		return err
	}
	return s.lock(s.home)
}

// makeRun creates the temporary folder, in memory if the data will be there and
// need not last, and removes those that a killed process has left behind.
func (s *Server) makeRun() (string, error) {
	bases := []string{os.TempDir(), "/tmp"}
	if shm := memoryDir(); shm != "" && s.temporary && !s.durable {
		bases = append([]string{shm}, bases...)
	}
	var errs []error
	for _, base := range bases {
		if err := s.user.reach(base); err != nil {
			errs = append(errs, err)
			continue
		}
		sweep(base)
		dir, err := os.MkdirTemp(base, tempPrefix)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if socket := filepath.Join(dir, ".s.PGSQL."+port); len(socket) > longestSocket {
			errs = append(errs, fmt.Errorf("%s is too long for a socket", socket), os.Remove(dir))
			continue
		}
		return dir, s.user.own(dir)
	}
	return "", fmt.Errorf("throwaway: no temporary folder: %w", errors.Join(errs...))
}

// lock takes the folder for this process; the lock ends with the process.
func (s *Server) lock(dir string) error {
	f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("throwaway: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return fmt.Errorf("throwaway: %s is in use by another process: %w", dir, err)
	}
	s.locks = append(s.locks, f)
	return nil
}

// clean removes what is temporary and lets the folders go.
func (s *Server) clean() error {
	var err error
	if s.run != "" {
		err = os.RemoveAll(s.run)
	}
	for _, f := range s.locks {
		err = errors.Join(err, f.Close())
	}
	s.locks, s.removed = nil, true
	return err
}

// sweep removes temporary folders whose process is gone: their lock is free.
// Younger ones may be about to be locked. A failure is nobody's concern here: the
// folder may be another user's, or another process may be sweeping too.
func sweep(base string) {
	dirs, _ := filepath.Glob(filepath.Join(base, tempPrefix+"*"))
	for _, dir := range dirs {
		f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDWR, 0)
		if err != nil {
			continue
		}
		info, err := f.Stat()
		if err == nil && time.Since(info.ModTime()) > time.Minute &&
			syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil {
			_ = os.RemoveAll(dir)
		}
		f.Close()
	}
}
