package notify

import (
	"context"
	"errors"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"flowrigd/config"
	"flowrigd/daq"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const testRecording = "0b5f2f0e-6a0b-4c0e-9a53-0d7f3a1f0c11"

// memoryFeed is a feed as the recording gives it, with a disk that can be
// hung or sick.
type memoryFeed struct {
	mu    sync.Mutex
	list  []daq.Message
	told  []daq.Message // without the disk
	last  int64         // number of the last of those
	marks map[string]int64
	wake  chan struct{}
	hung  chan struct{} // closed to free what hangs; nil: nothing hangs
	deaf  bool          // a hung read does not hear its context either
	sick  bool
}

func newMemoryFeed() *memoryFeed {
	return &memoryFeed{marks: map[string]int64{}, wake: make(chan struct{})}
}

func (o *memoryFeed) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if err := o.disk(ctx); err != nil || class != daq.ClassAlarm {
		return nil, err
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	from := min(int(after), len(o.list)) // sequences count from 1 without gaps
	return slices.Clone(o.list[from:min(from+limit, len(o.list))]), nil
}

func (o *memoryFeed) disk(ctx context.Context) error {
	o.mu.Lock()
	hung, deaf, sick := o.hung, o.deaf, o.sick
	o.mu.Unlock()
	if sick {
		return errors.New("outbox: disk I/O error")
	}
	if hung == nil {
		return nil
	}
	if deaf {
		<-hung
		return nil
	}
	select {
	case <-hung:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (o *memoryFeed) Mark(destination string, class daq.Class, sequence int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	key := destination + string(class)
	o.marks[key] = max(o.marks[key], sequence)
}

func (o *memoryFeed) Marked(destination string, class daq.Class) (int64, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.marks[destination+string(class)], nil
}

func (o *memoryFeed) Wake() <-chan struct{} {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.wake
}

// hang stops the disk; the returned function frees it.
func (o *memoryFeed) hang(deaf bool) (free func()) {
	o.mu.Lock()
	defer o.mu.Unlock()
	hung := make(chan struct{})
	o.hung, o.deaf = hung, deaf
	return func() {
		o.mu.Lock()
		defer o.mu.Unlock()
		o.hung = nil
		close(hung)
	}
}

func (o *memoryFeed) setSick(sick bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.sick = sick
}

// tell gives a transition without the disk.
func (o *memoryFeed) tell(e daq.AlarmEvent) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.last++
	m := daq.Event{Alarm: &e}.Message("", 0)
	m.Sequence = o.last
	o.told = append(o.told, m)
	close(o.wake)
	o.wake = make(chan struct{})
}

func (o *memoryFeed) Provisional(after int64) (list []daq.Message) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, m := range o.told {
		if m.Sequence > after {
			list = append(list, m)
		}
	}
	return list
}

// record journals a transition.
func (o *memoryFeed) record(e daq.AlarmEvent) {
	o.journal(func(n int64) daq.Message { return daq.Event{Alarm: &e}.Message(testRecording, n) })
}

func (o *memoryFeed) journal(message func(sequence int64) daq.Message) {
	o.mu.Lock()
	defer o.mu.Unlock()
	m := message(int64(len(o.list) + 1))
	o.told = slices.DeleteFunc(o.told, func(t daq.Message) bool { return t.Name == m.Name })
	o.list = append(o.list, m)
	close(o.wake)
	o.wake = make(chan struct{})
}

func (o *memoryFeed) raise(name, priority string) {
	o.record(transition(name, priority))
}

func transition(name, priority string) daq.AlarmEvent {
	value, limit := 76.25, 75.0
	return daq.AlarmEvent{
		Name: name, State: "unacknowledged", Priority: priority, Time: time.Now().UTC(), Value: &value, Limit: &limit,
		Cause: "The water is too hot.", Consequence: "It scalds.", Action: "Switch the heater off.",
	}
}

// desk is a webhook's receiver inside the process. Answer gives the status of
// each post; 0 is a receiver that does not answer at all.
type desk struct {
	mu     sync.Mutex
	answer func(m *message) (status int, after string)
	tried  []attempt
	got    []*message
	at     []time.Time // of got
	bodies []string    // of got
}

type attempt struct {
	at   time.Time
	name string
}

func (d *desk) RoundTrip(r *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, err
	}
	m, err := place{}.decode(body)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	d.tried = append(d.tried, attempt{time.Now(), m.Name})
	status, after := 204, ""
	if d.answer != nil {
		status, after = d.answer(m)
	}
	if status/100 == 2 {
		d.got, d.at, d.bodies = append(d.got, m), append(d.at, time.Now()), append(d.bodies, string(body))
	}
	d.mu.Unlock()
	if status == 0 {
		<-r.Context().Done()
		return nil, r.Context().Err()
	}
	return &http.Response{StatusCode: status, Status: strconv.Itoa(status) + " " + http.StatusText(status), Body: http.NoBody, Header: http.Header{"Retry-After": {after}}, Request: r}, nil
}

func (d *desk) set(answer func(*message) (int, string)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.answer = answer
}

func always(status int) func(*message) (int, string) {
	return func(*message) (int, string) { return status, "" }
}

// names are the alarms received, with their sequences.
func (d *desk) names() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var list []string
	for _, m := range d.got {
		list = append(list, m.Name+":"+strconv.FormatInt(m.Sequence, 10))
	}
	return strings.Join(list, " ")
}

func (d *desk) received() []*message {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.got)
}

// moment is when the alarm with that number came.
func (d *desk) moment(i int) time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.at[i]
}

func (d *desk) body(i int) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.bodies[i]
}

func (d *desk) attempts() []attempt {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.tried)
}

func hook(host string, priorities ...string) config.Notify {
	if len(priorities) == 0 {
		priorities = []string{"high", "medium"}
	}
	return config.Notify{Webhook: "https://" + host + ".north-hall.example/hook", Priorities: priorities}
}

// notifier makes a notifier whose webhooks go to the desks, in order.
func notifier(t *testing.T, o *memoryFeed, receivers []config.Notify, desks ...*desk) *Notifier {
	t.Helper()
	n, err := New(Options{Notify: receivers, Site: "north-hall", Rig: "bench-3", Feed: o})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range n.receivers {
		if w, ok := r.sender.(*webhook); ok {
			w.client.Transport, desks = desks[0], desks[1:]
		}
	}
	return n
}

// start runs a notifier; stop ends it and gives what Run said.
func start(n *Notifier) (stop func() error) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- n.Run(ctx) }()
	return func() error {
		cancel()
		return <-ended
	}
}

func equal[T comparable](t *testing.T, what string, got, want T) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
