package web

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// signsIn gives the cookie that a token gets.
func (b *bed) signsIn(token string, change ...func(*http.Request)) *http.Cookie {
	b.Helper()
	status, header, text := b.ask("POST", "/api/session", "", `{"token":"`+token+`"}`, change...)
	if status != 200 {
		b.Fatalf("sign in: %d %s", status, text)
	}
	return cookieOf(b.T, header)
}

// as is the role that the server sees in a cookie.
func (b *bed) as(c *http.Cookie) string {
	b.Helper()
	_, _, text := b.ask("GET", "/api/session", "", "", func(r *http.Request) { r.AddCookie(c) })
	got := decode[map[string]any](b.T, text)
	role, _ := got["role"].(string)
	return role
}

// TestCookieIsNotTheToken: neither cookie nor disk tells the token, and the
// disk does not tell the cookie.
func TestCookieIsNotTheToken(t *testing.T) {
	b := testBed(t, nil)
	c := b.signsIn(b.operate)
	other := b.signsIn(b.operate)
	if c.Value == other.Value || strings.Contains(c.Value, b.operate) || len(c.Value) < 20 {
		t.Errorf("cookies %q and %q of token %q", c.Value, other.Value, b.operate)
	}
	if b.as(&http.Cookie{Name: c.Name, Value: b.operate}) != "" {
		t.Error("the token itself is taken for a session")
	}
	if status, _, _ := b.ask("POST", "/api/permit", c.Value, `{"action":"withdraw"}`); status != 401 {
		t.Errorf("a cookie is taken for a token: %d", status)
	}
	b.halt() // writes what is to be kept
	text, err := os.ReadFile(b.file + ".sessions")
	must(t, err)
	if strings.Contains(string(text), c.Value) || strings.Contains(string(text), b.operate) || strings.Count(string(text), "\n") != 3 {
		t.Errorf("the file of sessions:\n%s", text)
	}
	if info, err := os.Stat(b.file + ".sessions"); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("others may read it: %v %v", info.Mode(), err)
	}
	if left, _ := filepath.Glob(b.file + ".sessions.*"); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

// TestSessionOutlivesTheDaemon, but not its token, nor its time.
func TestSessionOutlivesTheDaemon(t *testing.T) {
	b := testBed(t, nil)
	mine, wes, away := b.signsIn(b.operate), b.signsIn(b.watch), b.signsIn(b.operate)
	b.ask("DELETE", "/api/session", "", "", func(r *http.Request) { r.AddCookie(away) })
	b.halt()
	must(t, RemoveToken(b.file, "wes"))
	address := b.Addr() // the cookie's name has the port in it
	again := testBed(t, func(o *Options) { o.TokensFile, o.Listen = b.file, address })
	for _, c := range []struct {
		name   string
		cookie *http.Cookie
		role   string
	}{{"signed in", mine, RoleOperate}, {"token removed", wes, ""}, {"signed out", away, ""}} {
		if got := again.as(c.cookie); got != c.role {
			t.Errorf("%s: after a restart its role is %q, not %q", c.name, got, c.role)
		}
	}
	for c := range again.sessions.open {
		one := again.sessions.open[c]
		one.began = one.began.Add(-sessionAge - time.Second)
		again.sessions.open[c] = one
	}
	if got := again.as(mine); got != "" {
		t.Errorf("after 30 days its role is %q", got)
	}
}

// TestSessionsCannotBeKept: where the file cannot be written or read, people
// sign in all the same.
func TestSessionsCannotBeKept(t *testing.T) {
	b := testBed(t, func(o *Options) {
		must(t, os.Mkdir(o.TokensFile+".sessions", 0o700))
	})
	if got := b.as(b.signsIn(b.operate)); got != RoleOperate {
		t.Errorf("role %q", got)
	}
	file := filepath.Join(t.TempDir(), "tokens")
	good := hashOf("cookie")
	must(t, os.WriteFile(file+".sessions", []byte("# x\n"+strings.Repeat("ab", 32)+" "+strings.Repeat("cd", 32)+" 2026-01-02T15:04:05Z\nhalf a li"), 0o600))
	s := openSessions(file, quiet)
	if _, there := s.open[good]; there || len(s.open) != 1 {
		t.Errorf("of a file that is cut short: %v", s.open)
	}
}

// TestSessionsOfOneToken are bounded; the oldest ends.
func TestSessionsOfOneToken(t *testing.T) {
	s := openSessions("", quiet)
	now := time.Unix(1.8e9, 0)
	other := s.begin(hashOf("wes"), now)
	var list []string
	for i := range 64 + 3 {
		list = append(list, s.begin(hashOf("ada"), now.Add(time.Duration(i)*time.Second)))
	}
	for i, cookie := range list {
		if _, ok := s.find(cookie, now); ok != (i >= 3) {
			t.Errorf("session %d: %v", i, ok)
		}
	}
	if _, ok := s.find(other, now); !ok {
		t.Error("another token's session ended")
	}
	s.begin(hashOf("wes"), now.Add(31*24*time.Hour))
	if len(s.open) != 1 {
		t.Errorf("%d sessions are kept after all but one have run out", len(s.open))
	}
}

// TestSessionEndsItsStreams, whether its token was removed, or it was ended,
// or the token's role was changed, also on loopback where strangers may read.
func TestSessionEndsItsStreams(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(b *bed, c *http.Cookie){
		"token removed": func(b *bed, _ *http.Cookie) { must(b.T, RemoveToken(b.file, "ada")) },
		"signed out": func(b *bed, c *http.Cookie) {
			b.ask("DELETE", "/api/session", "", "", func(r *http.Request) { r.AddCookie(c) })
		},
		"role changed": func(b *bed, _ *http.Cookie) {
			text, err := os.ReadFile(b.file)
			must(b.T, err)
			must(b.T, os.WriteFile(b.file, []byte(strings.Replace(string(text), "ada operate", "ada watch", 1)), 0o600))
		},
		"signed in anew": func(b *bed, c *http.Cookie) {
			b.signsIn(b.watch, func(r *http.Request) { r.AddCookie(c) })
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := testBed(t, nil)
			c := b.signsIn(b.operate)
			l := b.listen("/api/follow", "", func(r *http.Request) { r.AddCookie(c) })
			l.until("event: state")
			end(b, c)
			for l.lines.Scan() { // to its end, or the listener's timeout
			}
			if err := l.lines.Err(); err != nil {
				t.Errorf("the stream did not end by itself: %v", err)
			}
			if got := b.as(c); got == RoleOperate {
				t.Errorf("its role is still %q", got)
			}
		})
	}
}

// TestCookieIsSecureBehindTLS: a proxy says whether the browser speaks TLS.
func TestCookieIsSecureBehindTLS(t *testing.T) {
	b := testBed(t, func(o *Options) { o.OneTimeKey = "once" })
	for _, c := range []struct {
		key, value string
		secure     bool
	}{
		{"X-None", "", false}, {"X-Forwarded-Proto", "http", false}, {"X-Forwarded-Proto", "http, https", false},
		{"X-Forwarded-Proto", "https", true}, {"X-Forwarded-Proto", "HTTPS, http", true},
		{"Forwarded", "for=192.0.2.7;proto=http", false}, {"Forwarded", "for=192.0.2.7; Proto=https", true},
	} {
		if got := b.signsIn(b.watch, func(r *http.Request) { r.Header.Set(c.key, c.value) }); got.Secure != c.secure {
			t.Errorf("%s: %s gives Secure %v", c.key, c.value, got.Secure)
		}
	}
	_, header, _ := b.ask("GET", "/enter?key=once", "", "", func(r *http.Request) { r.Header.Set("X-Forwarded-Proto", "https") })
	if c := cookieOf(t, header); !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.MaxAge != 30*24*60*60 || c.Path != "/" {
		t.Errorf("the link's cookie: %v", c)
	}
}

// TestOneTimeSessionEndsWithTheProcess: nothing of it is on disk.
func TestOneTimeSessionEndsWithTheProcess(t *testing.T) {
	b := testBed(t, func(o *Options) { o.OneTimeKey = "once" })
	_, header, _ := b.ask("GET", "/enter?key=once", "", "")
	c := cookieOf(t, header)
	if b.as(c) != RoleOperate {
		t.Fatal("the link signs nobody in")
	}
	b.halt()
	text, err := os.ReadFile(b.file + ".sessions")
	if err != nil || strings.Count(string(text), "\n") != 1 {
		t.Errorf("the file of sessions: %v\n%s", err, text)
	}
}
