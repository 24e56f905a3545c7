package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

func TestTokensRoundTrip(t *testing.T) {
	file := filepath.Join(t.TempDir(), "tokens")
	running := OpenTokens(file, quiet)
	if !running.Empty() {
		t.Error("a file that is not there holds tokens")
	}
	token := added(t, file, "ada", RoleOperate)
	if one, ok := running.holder(hashOf(token)); one.Name != "ada" || one.Role != RoleOperate || !ok {
		t.Errorf("a running daemon finds %+v %v", one, ok)
	}
	if _, ok := running.holder(hashOf("")); ok {
		t.Error("the empty token is let in")
	}
	added(t, file, "wes", RoleWatch)
	list, err := ListTokens(file)
	if err != nil || len(list) != 2 || list[1].Name != "wes" || list[1].Role != RoleWatch || list[1].Created.IsZero() {
		t.Errorf("list = %+v, %v", list, err)
	}
	must(t, RemoveToken(file, "ada"))
	if _, ok := running.holder(hashOf(token)); ok {
		t.Error("a removed token is still let in")
	}
}

// TestTokenIsKeptAsHash: the file holds the SHA-256 and never the token.
func TestTokenIsKeptAsHash(t *testing.T) {
	file := filepath.Join(t.TempDir(), "tokens")
	token := added(t, file, "ada", RoleOperate)
	data, err := os.ReadFile(file)
	must(t, err)
	sum := sha256.Sum256([]byte(token))
	if strings.Contains(string(data), token) || !strings.Contains(string(data), hex.EncodeToString(sum[:])) {
		t.Errorf("file: %s", data)
	}
	info, err := os.Stat(file)
	must(t, err)
	if runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v", info.Mode())
	}
	if left, _ := filepath.Glob(file + ".*"); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestTokenRefusals(t *testing.T) {
	directory := t.TempDir()
	file := filepath.Join(directory, "tokens")
	add := func(file, name, role string) error {
		_, err := AddToken(file, name, role)
		return err
	}
	must(t, add(file, "ada", RoleOperate))
	broken := filepath.Join(directory, "broken")
	must(t, os.WriteFile(broken, []byte("# ours\n\nada operate nonsense 2026-01-02T15:04:05Z\n"), 0o600))
	held := filepath.Join(directory, "held")
	must(t, os.WriteFile(held+".new", nil, 0o600))
	for name, c := range map[string]struct {
		err  error
		says string
	}{
		"twice":           {add(file, "ada", RoleWatch), "there is one of this name"},
		"bad name":        {add(file, "a b", RoleWatch), "use letters"},
		"bad role":        {add(file, "bob", "root"), "write watch or operate"},
		"no file":         {add("", "bob", RoleWatch), "http.tokens_file"},
		"no directory":    {add(filepath.Join(directory, "none", "tokens"), "bob", RoleWatch), "none"},
		"broken file":     {add(broken, "bob", RoleWatch), "broken:3: the third word is not a SHA-256"},
		"change underway": {add(held, "bob", RoleWatch), "another change is under way"},
		"remove nobody":   {RemoveToken(file, "bob"), "there is none of this name"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.says) {
			t.Errorf("%s: %v; want %q", name, c.err, c.says)
		}
	}
	if list, err := ListTokens(file); err != nil || len(list) != 1 {
		t.Errorf("after the refusals: %v, %v", list, err)
	}
}

// TestBrokenLineLocksNobodyElseOut: an edit by hand that went wrong spoils its
// line alone.
func TestBrokenLineLocksNobodyElseOut(t *testing.T) {
	file := filepath.Join(t.TempDir(), "tokens")
	token := added(t, file, "ada", RoleOperate)
	data, err := os.ReadFile(file)
	must(t, err)
	must(t, os.WriteFile(file, append([]byte("half a line\n"), data...), 0o600))
	if one, ok := OpenTokens(file, quiet).holder(hashOf(token)); !ok || one.Name != "ada" {
		t.Error("the good line is not taken")
	}
}

func FuzzTokenLine(f *testing.F) {
	f.Add("ada operate 0000000000000000000000000000000000000000000000000000000000000000 2026-01-02T15:04:05Z")
	f.Add("ada watch")
	f.Fuzz(func(t *testing.T, line string) {
		if token, err := parseToken(line); err == nil && checkToken(token.Name, token.Role) != nil {
			t.Errorf("%q gives %+v", line, token)
		}
	})
}

// added adds a token.
func added(t *testing.T, file, name, role string) string {
	t.Helper()
	token, err := AddToken(file, name, role)
	must(t, err)
	return token
}

// oneToken is a tokens file with one operator, ada, of a chosen token.
func oneToken(t *testing.T, token string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "tokens")
	must(t, os.WriteFile(file, fmt.Appendf(nil, "ada operate %x 2026-01-02T15:04:05Z\n", hashOf(token)), 0o600))
	return file
}

// TestEditInPlaceIsSeen, though it leaves the size and the time of the file as
// they were.
func TestEditInPlaceIsSeen(t *testing.T) {
	file := oneToken(t, "T")
	running := OpenTokens(file, quiet)
	before, err := os.Stat(file)
	must(t, err)
	if one, ok := running.holder(hashOf("T")); !ok || one.Name != "ada" {
		t.Fatalf("%+v %v", one, ok)
	}
	text, err := os.ReadFile(file)
	must(t, err)
	must(t, os.WriteFile(file, []byte(strings.Replace(string(text), "ada", "eve", 1)), 0o600))
	must(t, os.Chtimes(file, time.Time{}, before.ModTime()))
	if one, _ := running.holder(hashOf("T")); one.Name != "eve" {
		t.Errorf("%+v", one)
	}
}
