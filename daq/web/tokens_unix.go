//go:build unix

package web

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// Exposed says how others than its owner and group get at the tokens file; "" if
// they do not. Who can write it can make tokens.
func Exposed(path string) string {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return ""
	case info.Mode().Perm()&0o002 != 0:
		return "every user of this machine can write " + path + " and so give rights to anybody: chmod 600 it"
	case info.Mode().Perm()&0o004 != 0:
		return "every user of this machine can read " + path + ": chmod 600 it"
	}
	return ""
}

// keepOwner gives the text that is to take a tokens file's place the owner and
// mode of that file, so that the daemon, under a user of its own, can still
// read it. A first file that root makes goes to the owner of its directory.
func keepOwner(next *os.File, path string) error {
	old, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		if os.Geteuid() != 0 {
			return nil
		}
		directory, err := os.Stat(filepath.Dir(path))
		if err != nil {
			return fmt.Errorf("tokens: %w", err)
		}
		return giveTo(next, directory)
	}
	if err != nil {
		return fmt.Errorf("tokens: %w", err)
	}
	if err := giveTo(next, old); err != nil {
		return err
	}
	if err := next.Chmod(old.Mode().Perm()); err != nil {
		return fmt.Errorf("tokens: %w", err)
	}
	return nil
}

func giveTo(f *os.File, like fs.FileInfo) error {
	owner, ok := like.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	if err := f.Chown(int(owner.Uid), int(owner.Gid)); err != nil {
		return fmt.Errorf("tokens: cannot be given to their owner, user %d and group %d: %w; do this as root or as that user", owner.Uid, owner.Gid, err)
	}
	return nil
}
