package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

const testRecording = "0b5f2f0e-6a0b-4c0e-9a53-0d7f3a1f0c11"

// memoryFeed is a feed as the recording would give it, with a disk that can be hung.
type memoryFeed struct {
	mu       sync.Mutex
	messages map[daq.Class][]daq.Message
	untold   []daq.Message // told without the disk
	number   int64         // of the last of those
	marks    map[daq.Class]int64
	wake     chan struct{}
	sick     atomic.Bool // reads give an error
	deaf     bool        // a hung read does not hear its context either
	marked   chan struct{}
	hung     atomic.Pointer[chan struct{}] // reads wait for it to be closed
}

func newMemoryFeed() *memoryFeed {
	return &memoryFeed{messages: map[daq.Class][]daq.Message{}, marks: map[daq.Class]int64{}, wake: make(chan struct{}, 1), marked: make(chan struct{}, 1)}
}

func (o *memoryFeed) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if o.sick.Load() {
		return nil, errors.New("outbox: disk I/O error")
	}
	if hung := o.hung.Load(); hung != nil {
		if o.deaf {
			<-*hung
			return nil, ctx.Err()
		}
		select {
		case <-*hung:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	all := o.messages[class]
	from := min(int(after), len(all)) // sequences count from 1 without gaps
	return append([]daq.Message(nil), all[from:min(from+limit, len(all))]...), nil
}

// AtHand gives the newest alarms and events, as the recording does.
func (o *memoryFeed) AtHand(class daq.Class, after int64, limit int) ([]daq.Message, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	all := o.messages[class]
	switch n := int64(len(all)); {
	case after >= n:
		return nil, true
	case class == daq.ClassRecord || after < n-64:
		return nil, false
	}
	return append([]daq.Message(nil), all[after:min(int(after)+limit, len(all))]...), true
}

func (o *memoryFeed) Provisional(after int64) (list []daq.Message) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, m := range o.untold {
		if m.Sequence > after {
			list = append(list, m)
		}
	}
	return list
}

func (o *memoryFeed) Latest() (map[string]daq.Message, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	latest := map[string]daq.Message{}
	for _, m := range append(slices.Clone(o.messages[daq.ClassAlarm]), o.untold...) {
		latest[m.Name] = m
	}
	return latest, true
}

// tell gives an alarm without the disk.
func (o *memoryFeed) tell(name, state string) {
	o.mu.Lock()
	o.number++
	m := daq.Event{Alarm: &daq.AlarmEvent{Name: name, State: state, Time: time.Now()}}.Message("", 0)
	m.Sequence = o.number
	o.untold = append(o.untold, m)
	o.mu.Unlock()
	o.changed()
}

func (o *memoryFeed) changed() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

func (o *memoryFeed) Mark(_ string, class daq.Class, sequence int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.marks[class] = sequence
	select {
	case o.marked <- struct{}{}:
	default:
	}
}

func (o *memoryFeed) Marked(_ string, class daq.Class) (int64, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.marks[class], nil
}

func (o *memoryFeed) Wake() <-chan struct{} { return o.wake }

func (o *memoryFeed) mark(class daq.Class) int64 {
	m, _ := o.Marked("", class)
	return m
}

// add records one message; for an alarm with a name.
func (o *memoryFeed) add(class daq.Class, name string) int64 {
	o.mu.Lock()
	defer o.mu.Unlock()
	n := int64(len(o.messages[class]) + 1)
	body := fmt.Appendf(nil, `{"recording":%q,"sequence":%d}`, testRecording, n)
	if class == daq.ClassAlarm {
		o.untold = slices.DeleteFunc(o.untold, func(m daq.Message) bool { return m.Name == name })
		e := daq.AlarmEvent{Name: name, State: "unacknowledged", Time: time.Now()}
		body = daq.AppendAlarm(nil, &e, testRecording, n)
	}
	o.messages[class] = append(o.messages[class], daq.Message{Class: class, Sequence: n, Name: name, Body: body})
	o.changed()
	return n
}

// bench is a rig for a publisher to look at.
type bench struct {
	feed *memoryFeed
	last atomic.Pointer[daq.State]
	dead atomic.Bool
}

func newBench() *bench {
	b := &bench{feed: newMemoryFeed()}
	b.last.Store(&daq.State{Input: 1, Time: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), Instruments: []quantity.ID{quantity.Flow}})
	return b
}

func (b *bench) Last() *daq.State  { return b.last.Load() }
func (b *bench) Recording() string { return testRecording }
func (b *bench) Newest() int64 {
	b.feed.mu.Lock()
	defer b.feed.mu.Unlock()
	return int64(len(b.feed.messages[daq.ClassRecord]))
}

func (b *bench) standing(names ...string) {
	s := *b.last.Load()
	s.Alarms = nil
	for _, n := range names {
		s.Alarms = append(s.Alarms, daq.AlarmStatus{Name: n, State: "unacknowledged"})
	}
	b.last.Store(&s)
}

// publisher makes one with times short enough for a test.
func (b *bench) publisher(t testing.TB, url string) *Publisher {
	t.Helper()
	p, err := New(Options{
		Config: config.MQTT{Broker: url, Topic: "flowrig", Every: 50 * time.Millisecond, KeepAlive: 2 * time.Second},
		Site:   "north-hall", Rig: "bench-3",
		Feed: b.feed, State: b, Alive: func() bool { return !b.dead.Load() },
	})
	if err != nil {
		t.Fatal(err)
	}
	p.pace.shortest, p.pace.longest = 20*time.Millisecond, 200*time.Millisecond
	p.pace.connect, p.pace.ack = time.Second, time.Second
	p.pace.write, p.pace.check = 500*time.Millisecond, 20*time.Millisecond
	p.pace.poll, p.pace.repair, p.pace.conclude = time.Second, 300*time.Millisecond, 500*time.Millisecond
	p.pace.again = 200 * time.Millisecond
	return p
}

// start runs the publisher; the function stops it and waits.
func start(t testing.TB, p *Publisher) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			select {
			case err := <-done:
				if err != nil {
					t.Errorf("Run: %v", err)
				}
			case <-time.After(10 * time.Second):
				t.Error("Run did not end within 10 s")
			}
		})
	}
	t.Cleanup(stop)
	return stop
}

// until waits for a condition that another process brings about.
func until(t testing.TB, what string, limit time.Duration, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(limit)
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatalf("%s: not within %s", what, limit)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

func sequenceOf(t testing.TB, body string) int64 {
	t.Helper()
	var m struct {
		Sequence int64 `json:"sequence"`
	}
	if err := json.Unmarshal([]byte(body), &m); err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	return m.Sequence
}
