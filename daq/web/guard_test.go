package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// readable is every path that answers with what the rig does.
var readable = []string{"/api/now", "/api/alarms", "/api/trend?quantity=level", "/metrics", "/healthz", "/readyz"}

func TestLoopbackReadsWithoutAccount(t *testing.T) {
	b := testBed(t, nil)
	for _, path := range readable {
		b.answers(200, "GET", path, "", "")
	}
}

// Who shows a token that is not known is told so, and not served as a stranger.
func TestWrongTokenOnLoopbackReadsNothing(t *testing.T) {
	b := testBed(t, nil)
	for _, path := range readable {
		b.answers(401, "GET", path, "WRONG", "")
	}
	for _, header := range []string{"Basic YWRhOmFkYQ==", "Bearer", "Bearer " + b.operate + " more", b.operate} {
		if status, _, text := b.ask("GET", "/api/now", "", "", func(r *http.Request) { r.Header.Set("Authorization", header) }); status != 401 {
			t.Errorf("%q: %d %s", header, status, text)
		}
	}
}

// A proxy on this machine passes on what comes from anywhere.
func TestProxiedReadingNeedsAnAccount(t *testing.T) {
	b := testBed(t, nil)
	for _, header := range []string{"X-Forwarded-For", "Forwarded"} {
		passedOn := func(r *http.Request) { r.Header.Set(header, "for=192.0.2.7") }
		if status, _, text := b.ask("GET", "/api/now", "", "", passedOn); status != 401 {
			t.Errorf("%s: %d %s", header, status, text)
		}
		if status, _, text := b.ask("GET", "/api/now", b.watch, "", passedOn); status != 200 {
			t.Errorf("%s with a token: %d %s", header, status, text)
		}
	}
}

func TestWhoMayWrite(t *testing.T) {
	var journal []string
	b := testBed(t, func(o *Options) { o.Refused = func(who, why string) { journal = append(journal, who+": "+why) } })
	for _, c := range []struct {
		name, token string
		status      int
	}{
		{"nobody", "", 401}, {"a wrong token", "WRONG", 401}, {"a watcher", b.watch, 403}, {"an operator", b.operate, 200},
	} {
		if status, _, text := b.ask("POST", "/api/alarms/water-overheat/acknowledge", c.token, "{}"); status != c.status {
			t.Errorf("%s: %d %s; want %d", c.name, status, text, c.status)
		}
	}
	if len(journal) != 3 || !strings.HasPrefix(journal[2], "wes: POST /api/alarms/water-overheat/acknowledge") {
		t.Errorf("journal = %q", journal)
	}
	if got := b.rig.commands(); len(got) != 1 || got[0].Who != "ada" {
		t.Errorf("commands = %+v", got)
	}
}

func TestBeyondLoopback(t *testing.T) {
	b := testBed(t, func(o *Options) { o.Listen = "0.0.0.0:0" })
	for _, path := range readable {
		for _, c := range []struct {
			token  string
			status int
		}{{"", 401}, {"WRONG", 401}, {b.watch, 200}, {b.operate, 200}} {
			if w := b.remote("GET", path, c.token); w.Code != c.status {
				t.Errorf("%s with %q: %d; want %d", path, c.token, w.Code, c.status)
			}
		}
	}
	b.answers(401, "GET", "/api/now", "", "")
	w := b.remote("GET", "/", "")
	if w.Code != 401 || strings.Contains(w.Body.String(), "bench-3") || !strings.Contains(w.Body.String(), `action="/api/session"`) {
		t.Errorf("the page for a stranger: %d %s", w.Code, w.Body)
	}
	if w := b.remote("GET", "/api/now", ""); w.Header().Get("WWW-Authenticate") != `Bearer realm="flowrigd"` {
		t.Errorf("WWW-Authenticate: %q", w.Header().Get("WWW-Authenticate"))
	}
}

func TestRefusesToListenOpenly(t *testing.T) {
	s, err := New(Options{Listen: "0.0.0.0:0", ConfigPath: "rig.toml", Rig: &fakeRig{}, Log: quiet})
	must(t, err)
	err = s.Listen()
	if !errors.Is(err, ErrOpen) || !strings.Contains(err.Error(), "flowrigd token add --config rig.toml --role operate NAME") {
		t.Errorf("error = %v", err)
	}
}

// A port that another program has: Listen says so at once, and Run serves when it is
// free.
func TestPortTaken(t *testing.T) {
	other, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	s, err := New(Options{Listen: other.Addr().String(), Rig: &fakeRig{}, Log: quiet})
	must(t, err)
	if err = s.Listen(); err == nil || !strings.Contains(err.Error(), "another program has this port: stop it, or write another port as http.listen") {
		t.Errorf("error = %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	must(t, other.Close())
	var page *http.Response
	for over := time.Now().Add(20 * time.Second); page == nil && time.Now().Before(over); time.Sleep(50 * time.Millisecond) {
		page, _ = http.Get("http://" + other.Addr().String() + "/api/now")
	}
	if page == nil {
		t.Error("the port is free, and nobody serves")
	} else if err := page.Body.Close(); err != nil {
		t.Error(err)
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

func TestForeignPages(t *testing.T) {
	b := testBed(t, nil)
	header := func(key, value string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(key, value) }
	}
	for _, c := range []struct {
		name   string
		method string
		change func(*http.Request)
		status int
	}{
		{"written from another origin", "POST", header("Origin", "http://evil.example"), 403},
		{"written across sites", "POST", header("Sec-Fetch-Site", "cross-site"), 403},
		{"written by a neighbour site", "POST", header("Sec-Fetch-Site", "same-site"), 403},
		{"written by the page", "POST", header("Sec-Fetch-Site", "same-origin"), 200},
		{"written by the page, old browser", "POST", func(r *http.Request) { r.Header.Set("Origin", "http://"+r.Host) }, 200},
		{"written by a program", "POST", func(*http.Request) {}, 200},
		{"loaded by a page of another site", "GET", header("Sec-Fetch-Site", "cross-site"), 403},
		{"loaded by a page of another port", "GET", header("Sec-Fetch-Site", "same-site"), 403},
		{"a link on another site", "GET", func(r *http.Request) {
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			r.Header.Set("Sec-Fetch-Mode", "navigate")
		}, 200},
		{"loaded by the page", "GET", header("Sec-Fetch-Site", "same-origin"), 200},
		{"typed", "GET", header("Sec-Fetch-Site", "none"), 200},
		{"read under a foreign name (rebinding)", "GET", func(r *http.Request) { r.Host = "evil.example" }, 421},
		{"read under a name that looks local", "GET", func(r *http.Request) { r.Host = "127.0.0.1.evil.example" }, 421},
		{"read as localhost", "GET", func(r *http.Request) { r.Host = "localhost:9" }, 200},
		{"read as IPv6 loopback", "GET", func(r *http.Request) { r.Host = "[::1]" }, 200},
	} {
		path := "/api/now"
		if c.method == "POST" {
			path = "/api/alarms/head-lost/acknowledge"
		}
		if status, _, text := b.ask(c.method, path, b.operate, "", c.change); status != c.status {
			t.Errorf("%s: %d %s; want %d", c.name, status, text, c.status)
		}
	}
}

func TestHeadersOfEveryAnswer(t *testing.T) {
	b := testBed(t, nil)
	for _, path := range []string{"/", "/api/now", "/assets/page.js", "/nothing"} {
		_, header, _ := b.ask("GET", path, "", "")
		if header.Get("Content-Security-Policy") != policy || header.Get("X-Content-Type-Options") != "nosniff" || header.Get("Referrer-Policy") != "same-origin" {
			t.Errorf("%s: %v", path, header)
		}
	}
}

func cookieOf(t *testing.T, header http.Header) *http.Cookie {
	t.Helper()
	list := (&http.Response{Header: header}).Cookies()
	if len(list) != 1 {
		t.Fatalf("cookies: %v", list)
	}
	return list[0]
}

func TestSession(t *testing.T) {
	b := testBed(t, nil)
	b.answers(401, "POST", "/api/session", "", `{"token":"WRONG"}`)
	status, header, text := b.ask("POST", "/api/session", "", `{"token":"`+b.operate+`"}`)
	if status != 200 || text != `{"name":"ada","role":"operate"}`+"\n" {
		t.Fatalf("%d %s", status, text)
	}
	c := cookieOf(t, header)
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode {
		t.Errorf("cookie %v is not HttpOnly and SameSite=Strict", c)
	}
	with := func(r *http.Request) { r.AddCookie(c) }
	if status, _, _ := b.ask("POST", "/api/alarms/head-lost/acknowledge", "", "{}", with); status != 200 {
		t.Errorf("with the cookie: %d", status)
	}
	must(t, RemoveToken(b.file, "ada"))
	if status, _, _ := b.ask("POST", "/api/alarms/head-lost/acknowledge", "", "{}", with); status != 401 {
		t.Errorf("with the cookie of a removed token: %d", status)
	}
	if _, header, _ := b.ask("DELETE", "/api/session", "", ""); cookieOf(t, header).MaxAge >= 0 {
		t.Error("signing out leaves the cookie")
	}
}

func TestSessionFromPlainForm(t *testing.T) {
	b := testBed(t, nil)
	status, header, _ := b.ask("POST", "/api/session", "", "token="+b.watch, func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	})
	if status != 303 || header.Get("Location") != "/" || cookieOf(t, header).Value == b.watch {
		t.Errorf("%d %v", status, header)
	}
}

func TestOneTimeLink(t *testing.T) {
	b := testBed(t, func(o *Options) { o.OneTimeKey = "s3cret" })
	if want := b.base + "/enter?key=s3cret"; b.URL() != want {
		t.Errorf("URL = %s, want %s", b.URL(), want)
	}
	if status, _, _ := b.ask("GET", "/enter?key=other", "", ""); status != 403 {
		t.Errorf("wrong key: %d", status)
	}
	if status, _, _ := b.ask("HEAD", "/enter?key=s3cret", "", ""); status != 200 {
		t.Errorf("a preview: %d", status)
	}
	status, header, _ := b.ask("GET", "/enter?key=s3cret", "", "")
	if status != 303 {
		t.Fatalf("the first time: %d", status)
	}
	c := cookieOf(t, header)
	if status, _, _ := b.ask("POST", "/api/alarms/head-lost/acknowledge", "", "{}", func(r *http.Request) { r.AddCookie(c) }); status != 200 {
		t.Errorf("with its cookie: %d", status)
	}
	if status, _, _ := b.ask("GET", "/enter?key=s3cret", "", ""); status != 403 {
		t.Errorf("the second time: %d", status)
	}
}

func TestWithoutOneTimeKeyNobodyEnters(t *testing.T) {
	b := testBed(t, nil)
	for _, path := range []string{"/enter", "/enter?key="} {
		if status, header, _ := b.ask("GET", path, "", ""); status != 403 || header.Get("Set-Cookie") != "" {
			t.Errorf("%s: %d %v", path, status, header)
		}
	}
	r := httptest.NewRequest("POST", "http://localhost/api/alarms/x/reset", nil)
	r.AddCookie(&http.Cookie{Name: "flowrig", Value: ""})
	r.RemoteAddr = "127.0.0.1:9"
	w := httptest.NewRecorder()
	b.Handler().ServeHTTP(w, r)
	if w.Code != 401 {
		t.Errorf("an empty cookie: %d", w.Code)
	}
}

// TestFloodOfRefusals: whatever is sent, a stranger costs a few sentences and
// then one a minute, none longer than a few lines, and every request is counted.
func TestFloodOfRefusals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var journal []string
		var logged bytes.Buffer
		s, err := New(Options{Listen: "127.0.0.1:0", Rig: &fakeRig{state: steadyState()}, Log: slog.New(slog.NewTextHandler(&logged, nil)),
			Refused: func(who, what string) { journal = append(journal, who+": "+what) }})
		must(t, err)
		ctx, end := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); s.tellRefusals(ctx) }()
		long := "/api/alarms/" + strings.Repeat("x", 8000) + "%1b[31m%0a/acknowledge"
		const requests, minutes = 250, 10
		for range minutes {
			for range requests {
				r := httptest.NewRequest("POST", "http://localhost"+long, strings.NewReader("{}"))
				r.RemoteAddr = "127.0.0.1:5000"
				s.Handler().ServeHTTP(httptest.NewRecorder(), r)
			}
			time.Sleep(time.Minute)
		}
		end()
		<-done
		told, size := 0, 0
		for _, line := range journal {
			size = max(size, len(line))
			var more int
			if n, _ := fmt.Sscanf(line, "unknown: %d more requests, the last one POST /api/alarms/xxx", &more); n == 0 {
				more = 1
			}
			told += more
			if strings.ContainsAny(line, "\x1b\n") {
				t.Errorf("control characters in %q", line)
			}
		}
		if told != requests*minutes {
			t.Errorf("%d requests are told of, %d were sent", told, requests*minutes)
		}
		if most := strangersBurst + minutes + 1; len(journal) > most || size > 300 {
			t.Errorf("%d sentences of up to %d bytes: at most %d of 300 were to come", len(journal), size, most)
		}
		if n := strings.Count(logged.String(), "request refused"); n != len(journal) {
			t.Errorf("%d lines in the log, %d in the journal", n, len(journal))
		}
	})
}

// TestFloodByAPerson: a watcher who is refused is told of one by one, and a
// script with that token costs no more than a stranger in the long run.
func TestFloodByAPerson(t *testing.T) {
	var r refusals
	now := time.Unix(1e9, 0)
	flood := func() (alone int) {
		for range 1000 {
			if r.take("wes", "POST /", now) {
				alone++
			}
		}
		return alone
	}
	if got := flood(); got != refusalBurst {
		t.Errorf("%d told by themselves", got)
	}
	if list := r.due(now.Add(refusalEvery-time.Second), false); list != nil {
		t.Errorf("too early: %v", list)
	}
	now = now.Add(refusalEvery)
	if list := r.due(now, false); len(list) != 1 || list[0] != (refused{"wes", "980 more requests, the last one POST /"}) {
		t.Errorf("after a minute: %v", list)
	}
	if got := flood(); got != 0 {
		t.Errorf("in the next minute %d by themselves", got)
	}
	if r.take("ada", "POST /", now); len(r.due(now, true)) != 1 {
		t.Error("what is held back is not told at the end")
	}
}

// TestReloadedFacts: a page loaded under another configuration loads anew.
func TestReloadedFacts(t *testing.T) {
	b := testBed(t, nil)
	before := b.snapshot(0).parts["build"]
	facts := testFacts()
	facts.TurbulentAbove = 4500
	b.SetFacts(facts)
	b.rig.set(func(f *fakeRig) { f.state = hotState() })
	if after := b.snapshot(0).parts; after["build"] == before || !strings.Contains(after["ruler"], "4"+thin+"500") {
		t.Errorf("build %s, ruler %s", after["build"], after["ruler"])
	}
}
