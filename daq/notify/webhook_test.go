package notify

import (
	"context"
	"encoding/pem"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/config"
)

// served is what one real HTTPS server has heard.
type served struct {
	*httptest.Server
	mu    sync.Mutex
	heard []string // method, path, authorization and body
}

func serve(t *testing.T, handler func(w http.ResponseWriter, r *http.Request)) *served {
	t.Helper()
	s := &served{}
	s.Server = httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		s.mu.Lock()
		defer s.mu.Unlock()
		s.heard = append(s.heard, strings.Join([]string{r.Method, r.URL.Path, r.Header.Get("Content-Type"), r.Header.Get("Authorization"), string(body)}, " "))
		if handler != nil {
			handler(w, r)
		}
	}))
	t.Cleanup(s.Close)
	return s
}

// post sends one message over a real line to the path /hook of a server.
func (s *served) post(t *testing.T, change func(*config.Notify)) error {
	t.Helper()
	c := config.Notify{Webhook: s.URL + "/hook", CAFile: filepath.Join(t.TempDir(), "ca.pem")}
	must(t, os.WriteFile(c.CAFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw}), 0o600))
	if change != nil {
		change(&c)
	}
	w, err := newWebhook(c)
	must(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	return w.send(ctx, []*message{{body: []byte("{}")}})
}

func TestPost(t *testing.T) {
	s := serve(t, nil)
	must(t, s.post(t, nil))
	must(t, s.post(t, func(c *config.Notify) { c.TokenFile = secretFile(t, "abc\n") }))
	equal(t, "heard", strings.Join(s.heard, "\n"), "POST /hook application/json  {}\nPOST /hook application/json Bearer abc {}")
}

func TestPostToAStranger(t *testing.T) {
	s := serve(t, nil)
	err := s.post(t, func(c *config.Notify) { c.CAFile = "" })
	if err == nil || !strings.Contains(err.Error(), "certificate") || strings.Contains(err.Error(), "/hook") {
		t.Error(err)
	}
	equal(t, "heard", len(s.heard), 0)
}

// Only 307 and 308 at the same host repeat the message; nobody else gets it, nor
// the token.
func TestRedirection(t *testing.T) {
	stranger := serve(t, nil)
	for _, tt := range []struct {
		name   string
		status int
		to     string
		want   string // in the error; "" for none
		heard  int
	}{
		{"same host 307", 307, "/new", "", 2},
		{"same host 308", 308, "/new", "", 2},
		{"same host 302 would lose the body", 302, "/new", "302", 1},
		{"same host 301", 301, "/new", "301", 1},
		{"same host 303", 303, "/new", "303", 1},
		{"other host", 307, stranger.URL + "/new", "307", 1},
		{"other scheme", 308, "http:", "308", 1},
		{"in circles", 307, "/hook", "307", 4},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var s *served
			s = serve(t, func(w http.ResponseWriter, r *http.Request) {
				if r.URL.Path == "/hook" {
					w.Header().Set("Location", strings.Replace(tt.to, "http:", strings.Replace(s.URL, "https:", "http:", 1), 1))
					w.WriteHeader(tt.status)
				}
			})
			if strings.HasPrefix(tt.to, "https:") {
				tt.to = stranger.URL + "/new"
			}
			err := s.post(t, func(c *config.Notify) { c.TokenFile = secretFile(t, "abc") })
			if (err == nil) != (tt.want == "") || err != nil && !strings.Contains(err.Error(), tt.want) {
				t.Errorf("ended with %v", err)
			}
			equal(t, "heard", len(s.heard), tt.heard)
			if refused(err) {
				t.Error("a redirection does not refuse the message")
			}
		})
	}
	equal(t, "the stranger heard", len(stranger.heard), 0)
}

// RFC 9110, 15: which answers refuse a message, and which the moment.
func TestVerdict(t *testing.T) {
	tests := []struct {
		status           int
		arrived, refused bool
	}{
		{200, true, false}, {201, true, false}, {202, true, false}, {204, true, false}, {299, true, false},
		{304, false, false}, {400, false, true}, {401, false, false}, {403, false, false}, {404, false, true},
		{408, false, false}, {413, false, true}, {422, false, true}, {425, false, false}, {429, false, false},
		{500, false, false}, {502, false, false}, {503, false, false}, {504, false, false},
	}
	for _, tt := range tests {
		err := verdict(&http.Response{StatusCode: tt.status, Status: http.StatusText(tt.status)})
		if (err == nil) != tt.arrived || refused(err) != tt.refused {
			t.Errorf("%d: %v, refused %t", tt.status, err, refused(err))
		}
	}
}

// An answer that never ends is not waited for.
func TestEndlessAnswer(t *testing.T) {
	s := serve(t, func(w http.ResponseWriter, r *http.Request) {
		for r.Context().Err() == nil {
			if _, err := w.Write(make([]byte, 1<<16)); err != nil {
				return
			}
		}
	})
	must(t, s.post(t, nil))
}

func TestNewRefuses(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none")
	tests := []struct {
		name string
		c    config.Notify
		want string
	}{
		{"no token", config.Notify{Webhook: "https://desk.example/hook", TokenFile: missing}, "notify: desk.example: token_file: open "},
		{"empty token", config.Notify{Webhook: "https://desk.example/hook", TokenFile: secretFile(t, "\n")}, "not one line with the secret"},
		{"two lines", config.Notify{Webhook: "https://desk.example/hook", TokenFile: secretFile(t, "a\nb\n")}, "not one line with the secret"},
		{"no ca", config.Notify{Webhook: "https://desk.example/hook", CAFile: missing}, "ca_file: open "},
		{"ca without certificate", config.Notify{Webhook: "https://desk.example/hook", CAFile: secretFile(t, "x")}, "holds no certificate; it must be PEM text"},
		{"mail ca", config.Notify{Mail: &config.Mail{To: []string{"a@b.example"}, Server: "b.example:25"}, CAFile: missing}, "notify: b.example:25: ca_file: open "},
		{"mail password", config.Notify{Mail: &config.Mail{To: []string{"a@b.example"}, Server: "b.example:25", Username: "a", PasswordFile: missing}}, "password_file: open "},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := New(Options{Notify: []config.Notify{tt.c}, Feed: newMemoryFeed()})
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v", err)
			}
		})
	}
	if _, err := New(Options{}); err == nil {
		t.Error("no outbox is needed")
	}
}

// The recording is handed out: no address stands in it.
func TestDestinationHoldsNoSecret(t *testing.T) {
	got := destination("desk.example", "https://desk.example/hook?key=secret")
	if strings.Contains(got, "secret") || strings.Contains(got, "hook") || got == destination("desk.example", "https://desk.example/hook?key=other") {
		t.Error(got)
	}
}
