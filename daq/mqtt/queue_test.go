package mqtt

import (
	"encoding/json"
	"errors"
	"testing"
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
