package throwaway

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is the user that the server runs as; nil means the current one.
type account struct {
	name     string
	uid, gid uint32
}

// serverUser returns whom to run as: PostgreSQL refuses root. Data that exist
// decide by their owner.
func serverUser(data string) (*account, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	if info, err := os.Stat(data); err == nil {
		if owner, ok := info.Sys().(*syscall.Stat_t); ok && owner.Uid != 0 {
			return &account{name: fmt.Sprintf("with id %d", owner.Uid), uid: owner.Uid, gid: owner.Gid}, nil
		}
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.ParseUint(u.Uid, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("throwaway: user %s: %w", name, err)
		}
		gid, err := strconv.ParseUint(u.Gid, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("throwaway: user %s: %w", name, err)
		}
		return &account{name: name, uid: uint32(uid), gid: uint32(gid)}, nil
	}
	return nil, errors.New("throwaway: PostgreSQL does not run as root, and there is neither a user postgres nor nobody to run it as")
}

func (a *account) credential() *syscall.Credential {
	if a == nil {
		return nil
	}
	return &syscall.Credential{Uid: a.uid, Gid: a.gid}
}

// own gives a folder to the user.
func (a *account) own(dir string) error {
	if a == nil {
		return nil
	}
	if err := os.Chown(dir, int(a.uid), int(a.gid)); err != nil {
		return fmt.Errorf("throwaway: %w", err)
	}
	return nil
}

// mkdir creates a private folder of the user.
func (a *account) mkdir(dir string) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return fmt.Errorf("throwaway: %w", err)
	}
	return a.own(dir)
}

// reach returns an error if the user cannot enter the folder or one above it, as
// is usual below the home of root.
func (a *account) reach(dir string) error {
	if a == nil {
		return nil
	}
	dir, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return fmt.Errorf("throwaway: %w", err)
	}
	for at := dir; ; at = filepath.Dir(at) {
		info, err := os.Stat(at)
		if err != nil {
			return fmt.Errorf("throwaway: %w", err)
		}
		if !a.enters(info) {
			return fmt.Errorf("throwaway: user %s, who runs PostgreSQL because root may not, cannot enter %s: "+
				"use a folder elsewhere than %s, run as another user than root, or chmod o+x %[2]s", a.name, at, dir)
		}
		if at == filepath.Dir(at) {
			return nil
		}
	}
}

func (a *account) enters(info os.FileInfo) bool {
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return false
	}
	const ownerBit, groupBit, otherBit = 0o100, 0o010, 0o001
	switch mode := info.Mode().Perm(); {
	case owner.Uid == a.uid:
		return mode&ownerBit != 0
	case owner.Gid == a.gid:
		return mode&groupBit != 0
	default:
		return mode&otherBit != 0
	}
}
