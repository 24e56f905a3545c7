//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// desk is a real webhook that may refuse.
type desk struct {
	*httptest.Server
	mu      sync.Mutex
	refuses bool
	heard   map[string]string // what it took, as "name state", by the message's identity: a kill may send one again
}

func newDesk(t *testing.T) *desk {
	d := &desk{heard: map[string]string{}}
	d.Server = httptest.NewServer(d)
	t.Cleanup(d.Close)
	return d
}

func (d *desk) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.refuses {
		w.WriteHeader(http.StatusInternalServerError)
		return
	}
	what := textOf(string(body), "name") + " " + textOf(string(body), "state")
	d.heard[fmt.Sprint(textOf(string(body), "recording"), number(object(body), "sequence"), what)] = what
}

func (d *desk) refuse(refuses bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.refuses = refuses
}

// took counts what it was told of, as "name state".
func (d *desk) took(what string) (n int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, h := range d.heard {
		if h == what {
			n++
		}
	}
	return n
}

// object is a JSON object; empty where it is none.
func object(body []byte) (m map[string]any) {
	_ = json.Unmarshal(body, &m)
	return m
}

// textOf is a member of a flat JSON object that is text.
func textOf(body, key string) string {
	_, rest, _ := strings.Cut(body, `"`+key+`":"`)
	text, _, _ := strings.Cut(rest, `"`)
	return text
}

// TestAReceiverThatRefuses: an alarm comes while one of two webhooks refuses.
// /readyz and the page say which, an alarm is raised and reaches the other, a
// restart in between announces nothing anew, and all ends when the webhook takes
// what has waited, or leaves the configuration.
func TestAReceiverThatRefuses(t *testing.T) {
	t.Parallel()
	b, at, away, well := newHandBench(t), daqtest.FreeAddress(t), newDesk(t), newDesk(t)
	tables := fmt.Sprintf("\n[alarms.receiver-failed]\non_delay = \"2 s\"\n\n[[notify]]\nwebhook = \"%s/hook\"\n", well.URL)
	both := tables + fmt.Sprintf("\n[[notify]]\nwebhook = \"%s/hook\"\n", away.URL)
	file := b.config(at, both)
	name := "receiver " + strings.TrimPrefix(away.URL, "http://")
	d := start(t, program, "run", "--config", file)
	ready := func() bool { status, _ := get("http://" + at + "/readyz"); return status == http.StatusOK }
	within(t, 10*time.Second, "ready", ready)

	away.refuse(true)
	b.set(func(b *handBench) { b.level = 200 })
	within(t, 20*time.Second, "/readyz names the receiver alone", func() bool {
		status, body := get("http://" + at + "/readyz")
		return status == 503 && strings.Contains(body, "not ready: "+name+`"`) && strings.Contains(body, "500 Internal Server Error")
	})
	within(t, 10*time.Second, "the page says so", func() bool {
		_, page := get("http://" + at + "/")
		return strings.Contains(page, "Not working: "+name)
	})
	within(t, 20*time.Second, "the other receiver hears of it", func() bool { return well.took("receiver-failed unacknowledged") == 1 })
	if _, body := get("http://" + at + "/api/alarms"); !strings.Contains(body, "The "+name+" says: post: answered 500 Internal Server Error.") {
		t.Errorf("/api/alarms: %s", body)
	}

	d.signal(syscall.SIGKILL)
	d.code(10 * time.Second)
	d = start(t, program, "run", "--config", file)
	within(t, 20*time.Second, "it refuses after the restart", func() bool {
		status, body := get("http://" + at + "/readyz")
		return status == 503 && strings.Contains(body, name)
	})
	away.refuse(false)
	within(t, 60*time.Second, "all is told", func() bool {
		return ready() && away.took("head-lost unacknowledged") == 1 && away.took("receiver-failed returned-unacknowledged") == 1
	})
	if n := well.took("receiver-failed unacknowledged"); n != 1 {
		t.Errorf("the other receiver was told %d times that it has failed", n)
	}

	away.refuse(true)
	b.set(func(b *handBench) { b.level = 260 })
	within(t, 30*time.Second, "it is raised again", func() bool { return well.took("receiver-failed unacknowledged") == 2 })
	b.config(at, tables)
	d.signal(syscall.SIGHUP)
	within(t, 20*time.Second, "the receiver is gone, and with it the alarm", func() bool {
		return ready() && well.took("receiver-failed returned-unacknowledged") == 2
	})
	d.ends(exitDone)
}
