package peer

import (
	"bytes"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestBackoff(t *testing.T) {
	var b Backoff
	for n, most := range []time.Duration{1, 2, 4, 8, 10, 10} {
		most *= time.Second
		if got := b.Next(time.Second, 10*time.Second); got < most/2 || got > most {
			t.Errorf("wait %d is %s, want %s to %s", n, got, most/2, most)
		}
	}
}

// What is away is logged once, and again each ten minutes; what comes and goes, once
// a minute. Only of what was away at first is the first connection logged.
func TestHealthIsLoggedOnceForEachChange(t *testing.T) {
	for _, at := range []struct {
		first string
		lines int // of the first success
	}{{"not connected yet", 1}, {"", 0}} {
		synctest.Test(t, func(t *testing.T) {
			var out bytes.Buffer
			words := Words{Kind: "broker", Up: "connected", Down: "not connected", NoFeed: "nothing to publish"}
			h := NewHealth(slog.New(slog.NewTextHandler(&out, nil)), words, "tcp://host:1883", at.first)
			lines := func(want int) {
				t.Helper()
				if got := strings.Count(out.String(), "\n"); got != want {
					t.Fatalf("%d lines, want %d:\n%s", got, want, out.String())
				}
				out.Reset()
			}
			is := func(want State) {
				t.Helper()
				if got := h.Now(); got != want {
					t.Errorf("%+v, want %+v", got, want)
				}
			}
			is(State{false, at.first, time.Now()})
			h.Up()
			lines(at.lines)
			time.Sleep(time.Hour)
			refused, since := errors.New("connection refused"), time.Now()
			for range 100 {
				h.Down(refused)
				time.Sleep(time.Second)
			}
			is(State{true, "connection refused", since})
			if !strings.Contains(out.String(), `msg="not connected" broker=tcp://host:1883 error="connection refused"`) {
				t.Error(out.String())
			}
			lines(1)
			time.Sleep(Remind)
			h.Down(refused)
			lines(1)
			h.Up()
			is(State{true, "", time.Now()})
			lines(1)
			time.Sleep(Settle)
			for range 100 {
				h.Down(errors.New("connection lost"))
				h.Up()
				time.Sleep(100 * time.Millisecond)
			}
			lines(2)
			for range 100 {
				h.NoFeed(errors.New("disk I/O error"))
				time.Sleep(time.Second)
			}
			lines(1)
			h.End("ended")
			is(State{true, "ended", time.Now()})
			lines(0)
		})
	}
}

func write(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestSecret(t *testing.T) {
	const other = "token_file: "
	for name, c := range map[string]struct{ text, want, bad string }{
		"a line":              {"pipe-7\n", "pipe-7", ""},
		"a line of Windows":   {"pipe-7\r\n", "pipe-7", ""},
		"no line end":         {"pipe-7", "pipe-7", ""},
		"blanks belong to it": {" pipe 7 \n", " pipe 7 ", ""},
		"nothing":             {"\n", "", "not one line with the secret"},
		"two lines":           {"pipe\n7\n", "", "not one line with the secret"},
		"a zero byte":         {"pipe\x007", "", "not one line with the secret"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Secret("token_file", write(t, c.text))
			if got != c.want || (err != nil) != (c.bad != "") || err != nil && (!strings.HasPrefix(err.Error(), other) || !strings.Contains(err.Error(), c.bad)) {
				t.Errorf("%q, %v", got, err)
			}
		})
	}
	if got, err := Secret("token_file", ""); got != "" || err != nil {
		t.Errorf("without a file %q, %v", got, err)
	}
}

func TestTLSWithoutAnAuthority(t *testing.T) {
	for name, file := range map[string]string{"open": filepath.Join(t.TempDir(), "none"), "holds no certificate": write(t, "x")} {
		if _, err := TLS("host", file); err == nil || !strings.Contains(err.Error(), name) || !strings.HasPrefix(err.Error(), "ca_file: ") {
			t.Errorf("error %v, want %q in it", err, name)
		}
	}
	if c, err := TLS("host", ""); err != nil || c.ServerName != "host" || c.RootCAs != nil {
		t.Errorf("the system's: %+v, %v", c, err)
	}
}
