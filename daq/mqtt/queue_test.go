package mqtt

import (
	"bytes"
	"encoding/json"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// promise is a token that the test completes.
type promise struct {
	done chan struct{}
	err  error
}

func newPromise() *promise { return &promise{done: make(chan struct{})} }

func (p *promise) Wait() bool                       { <-p.done; return true }
func (p *promise) WaitTimeout(d time.Duration) bool { return true }
func (p *promise) Done() <-chan struct{}            { return p.done }
func (p *promise) Error() error                     { return p.err }

func (p *promise) complete(err error) {
	p.err = err
	close(p.done)
}

// The mark may only move over messages all of whose predecessors have arrived.
func TestMarkMovesInOrder(t *testing.T) {
	q := &queue{limit: 8}
	q.begin(10)
	var p []*promise
	for n := range 4 {
		p = append(p, newPromise())
		q.flying = append(q.flying, flight{token: p[n], sequence: int64(11 + n)})
	}
	settle := func(want int64) {
		t.Helper()
		if _, err := q.settle(); err != nil || q.acked != want {
			t.Fatalf("mark %d, want %d; %v", q.acked, want, err)
		}
	}
	p[1].complete(nil)
	settle(10)
	p[0].complete(nil)
	settle(12)
	p[2].complete(errors.New("gone"))
	if _, err := q.settle(); err == nil || q.acked != 12 {
		t.Fatalf("a failed message moved the mark to %d; %v", q.acked, err)
	}
	if n := q.restart(); n != 2 || q.sent != 12 || !q.behind {
		t.Errorf("restart gave %d in flight, sent %d", n, q.sent)
	}
}

func TestRoom(t *testing.T) {
	now := time.Now()
	for name, c := range map[string]struct {
		flying int
		next   time.Duration
		want   int
	}{
		"empty":          {0, 0, 10},
		"half full":      {5, 0, 5},
		"more than half": {6, 0, 0},
		"spaced":         {0, time.Millisecond, 0},
	} {
		t.Run(name, func(t *testing.T) {
			q := &queue{limit: 10, flying: make(window, c.flying), next: now.Add(c.next)}
			if got := q.room(now); got != c.want {
				t.Errorf("room %d, want %d", got, c.want)
			}
		})
	}
}

func TestBackoff(t *testing.T) {
	var b backoff
	for n, most := range []time.Duration{1, 2, 4, 8, 10, 10} {
		most *= time.Second
		if got := b.next(time.Second, 10*time.Second); got < most/2 || got > most {
			t.Errorf("wait %d is %s, want %s to %s", n, got, most/2, most)
		}
	}
}

// A broker that is away is logged once, and again each ten minutes; one that
// comes and goes once a minute.
func TestHealthIsLoggedOnceForEachChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		h := newHealth(slog.New(slog.NewTextHandler(&out, nil)), "tcp://host:1883")
		lines := func(want int) {
			t.Helper()
			if got := strings.Count(out.String(), "\n"); got != want {
				t.Fatalf("%d lines, want %d:\n%s", got, want, out.String())
			}
		}
		time.Sleep(time.Hour)
		refused := errors.New("connection refused")
		for range 100 {
			h.down(refused)
			time.Sleep(time.Second)
		}
		lines(1)
		time.Sleep(remind)
		h.down(refused)
		lines(2)
		since := time.Now()
		h.up()
		lines(3)
		if up, at, why := h.now(); !up || !at.Equal(since) || why != "" {
			t.Errorf("%t since %s, %q", up, at, why)
		}
		time.Sleep(settle)
		for range 100 {
			h.down(errors.New("connection lost"))
			h.up()
			time.Sleep(100 * time.Millisecond)
		}
		lines(5)
		h.end()
		if up, _, why := h.now(); up || why == "" {
			t.Errorf("after the end: %t, %q", up, why)
		}
	})
}

func TestPresenceBody(t *testing.T) {
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for want, got := range map[string][]byte{
		`{"up":true,"time":"2026-03-01T12:00:00.000000Z"}`:              presenceBody(true, "", noon),
		`{"up":false,"time":"2026-03-01T12:00:00.000000Z","why":"off"}`: presenceBody(false, "off", noon),
	} {
		if string(got) != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
}

// TestWhatOthersWrite: what the broker gives back of our own is no reason to look
// again, and all else is.
func TestWhatOthersWrite(t *testing.T) {
	ours := []byte(`{"name":"head-lost"}`)
	for _, c := range []struct {
		name string
		sent map[string][]byte
		came []byte
		want bool
	}{
		{"our own", map[string][]byte{"head-lost": ours}, ours, false},
		{"our own clearing", map[string][]byte{"head-lost": nil}, nil, false},
		{"another's", map[string][]byte{"head-lost": ours}, []byte(`{"name":"head-lost","state":"normal"}`), true},
		{"of an alarm we never told", nil, ours, true},
		{"another's clearing", map[string][]byte{"head-lost": ours}, nil, true},
		{"another's clearing of what we never told", nil, nil, true},
	} {
		r := newRepair(nil)
		r.sent = c.sent
		r.saw(nil, liveMessage{retainedMessage{body: c.came}})
		if r.meddled != c.want || len(r.retained) > 0 {
			t.Errorf("%s: %v, retained %v", c.name, r.meddled, r.retained)
		}
	}
}

// FuzzSaw feeds what a stranger may retain under our topic.
func FuzzSaw(f *testing.F) {
	f.Add([]byte(`{"recording":"x","sequence":1,"name":"head-lost"}`))
	f.Add([]byte(`{"name":["head-lost"]}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		r := &repair{retained: map[string]word{}}
		r.saw(nil, retainedMessage{body: body})
		a, there := r.retained["head-lost"]
		if there != (len(body) > 0) || len(r.retained) > 1 {
			t.Errorf("%q is retained as %v", body, r.retained)
		}
		if there && (a.State == "" || !json.Valid(body) && a != word{State: "unreadable"}) {
			t.Errorf("%q gave the alarm %+v", body, a)
		}
	})
}

type retainedMessage struct{ body []byte }

func (retainedMessage) Duplicate() bool   { return false }
func (retainedMessage) Qos() byte         { return 1 }
func (retainedMessage) Retained() bool    { return true }
func (retainedMessage) Topic() string     { return "flowrig/north-hall/bench-3/alarm/head-lost" }
func (retainedMessage) MessageID() uint16 { return 0 }
func (m retainedMessage) Payload() []byte { return m.body }
func (retainedMessage) Ack()              {}

// liveMessage comes to a subscription that stands.
type liveMessage struct{ retainedMessage }

func (liveMessage) Retained() bool { return false }
