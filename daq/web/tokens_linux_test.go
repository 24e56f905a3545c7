package web

import (
	"bytes"
	"errors"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

const nobody = 65534 // Debian's user nobody and group nogroup

// TestTokensKeepTheirOwner: who changes the tokens does not take them away from
// the user that runs the daemon.
func TestTokensKeepTheirOwner(t *testing.T) {
	directory := t.TempDir()
	uid, gid := os.Getuid(), os.Getgid()
	if uid == 0 { // root alone can give files away
		uid, gid = nobody, nobody
	}
	must(t, os.Chown(directory, uid, gid))
	file := filepath.Join(directory, "tokens")
	is := func(what string, mode os.FileMode) {
		t.Helper()
		info, err := os.Stat(file)
		must(t, err)
		owner := info.Sys().(*syscall.Stat_t)
		if info.Mode() != mode || int(owner.Uid) != uid || int(owner.Gid) != gid {
			t.Errorf("%s: %v of user %d and group %d, want %v of %d and %d", what, info.Mode(), owner.Uid, owner.Gid, mode, uid, gid)
		}
	}
	added(t, file, "ada", RoleOperate)
	is("a first token", 0o600)
	must(t, os.Chmod(file, 0o640))
	added(t, file, "wes", RoleWatch)
	is("a second token", 0o640)
	must(t, RemoveToken(file, "ada"))
	is("one fewer", 0o640)
}

// TestUnreadableTokens: a file that may not be read is told apart from one
// without tokens, and is taken up once it may be read.
func TestUnreadableTokens(t *testing.T) {
	file := filepath.Join(t.TempDir(), "tokens")
	token := added(t, file, "ada", RoleOperate)
	mode := func(m os.FileMode) {
		if err := os.Chmod(file, m); err != nil {
			t.Error(err)
		}
	}
	at := net.JoinHostPort(outside(t), "0")
	unprivileged(t, filepath.Dir(file), func() {
		s, err := New(Options{Listen: at, TokensFile: file, ConfigPath: "rig.toml", Rig: &fakeRig{}, Log: quiet})
		if err != nil {
			t.Error(err)
			return
		}
		mode(0)
		err = s.Listen()
		if err == nil || errors.Is(err, ErrOpen) || !strings.Contains(err.Error(), "the access tokens cannot be read: ") ||
			!strings.Contains(err.Error(), "permission denied; give the file to the user that runs flowrigd") {
			t.Errorf("listening with tokens that cannot be read: %v", err)
		}
		mode(0o600)
		if one, ok := s.tokens.holder(hashOf(token)); !ok || one.Name != "ada" {
			t.Error("tokens that may be read again are not taken up")
		}
	})
}

// unprivileged works as the user nobody, for whom a file's mode counts, where
// the test is run by root. The files of the directory become that user's.
func unprivileged(t *testing.T, directory string, work func()) {
	t.Helper()
	if os.Getuid() != 0 {
		work()
		return
	}
	for at := directory; at != filepath.Dir(at); at = filepath.Dir(at) { // the ways there may be root's alone
		if info, err := os.Stat(at); err == nil && info.Mode()&0o011 != 0o011 {
			must(t, os.Chmod(at, info.Mode()|0o011))
			defer os.Chmod(at, info.Mode())
		}
	}
	files, err := filepath.Glob(filepath.Join(directory, "*"))
	must(t, err)
	for _, f := range append(files, directory) {
		must(t, os.Chown(f, nobody, nobody))
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		runtime.LockOSThread() // and never unlocked: the thread ends with its user
		if err := unix.Setfsuid(nobody); err != nil {
			t.Error(err)
			return
		}
		work()
	}()
	<-done
}

// TestExposedTokens: a file that others can read or write is warned of, at the
// start and whenever it changes.
func TestExposedTokens(t *testing.T) {
	for _, c := range []struct {
		mode os.FileMode
		says string
	}{{0o600, ""}, {0o640, ""}, {0o660, ""}, {0o644, "can read"}, {0o666, "can write"}, {0o602, "can write"}} {
		file := oneToken(t, "T")
		must(t, os.Chmod(file, c.mode))
		var log bytes.Buffer
		_, err := New(Options{Listen: "127.0.0.1:0", TokensFile: file, Rig: &fakeRig{}, Log: slog.New(slog.NewTextHandler(&log, nil))})
		must(t, err)
		if said := log.String(); (said == "") != (c.says == "") || !strings.Contains(said, c.says) {
			t.Errorf("mode %o: %q", c.mode, said)
		}
	}
}
