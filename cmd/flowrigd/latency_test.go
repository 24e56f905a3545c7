//go:build unix && !race

package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"flowrigd/daq/daqtest"
)

// The alarms and the bare pairs that are measured: in turns, so that both see
// the same disk and the same load, and at one pace, for a machine that rests
// between two wakes up as slowly for both.
var latencyAlarms = flag.Int("latency.alarms", 300, "how many alarms TestAlarmLatency measures")

const (
	latencyATurn = 50
	latencyPace  = 10 * time.Millisecond // of the answers: each is a transition that is told
)

// spikes is a thermometer of the room whose every other answer is over the
// limit, each by its own number, while it is told to.
type spikes struct {
	mu    sync.Mutex
	asked int
	until int                   // answers up to here alternate; then it stays cool
	at    map[float64]time.Time // when the answer that shows this number left
}

func (s *spikes) answer(heard []byte) (answer, rest []byte) {
	if len(heard) == 0 {
		return nil, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.asked >= s.until {
		return []byte("A=20\n"), nil
	}
	s.asked++
	if s.asked%2 == 0 {
		return []byte("A=20\n"), nil
	}
	celsius := 50 + float64(s.asked)/1000
	s.at[celsius] = time.Now()
	return fmt.Appendf(nil, "A=%g\n", celsius), nil
}

func (s *spikes) more(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.until = s.asked + 2*n
}

func (s *spikes) left(celsius float64) time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.at[celsius]
}

// listenTo gives a client of the broker that notes when a message comes.
func listenTo(t *testing.T, broker, name, topic string, heard func(at time.Time, body []byte)) paho.Client {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker(broker).SetClientID(name).SetOrderMatters(true))
	settle := func(k paho.Token) {
		if !k.WaitTimeout(10*time.Second) || k.Error() != nil {
			t.Fatalf("%s: %v", name, k.Error())
		}
	}
	settle(c.Connect())
	settle(c.Subscribe(topic, 1, func(_ paho.Client, m paho.Message) { heard(time.Now(), m.Payload()) }))
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

// From the last byte of the answer that crosses the limit to the alarm at a
// subscriber, with the journal synced in between, an alarm takes at most three
// times as long as a bare fsync and a bare publish in the median, and at most
// five times as long at the 99th percentile. With the race detector in it the
// program has another speed, and is not measured. Where other work disturbs the
// machine it is measured again, twice at most.
func TestAlarmLatency(t *testing.T) { // alone: it measures
	m := daqtest.StartMosquitto(t, "")
	bench, at := newHandBench(t), daqtest.FreeAddress(t)
	l := &latency{t: t, spikes: &spikes{at: map[float64]time.Time{}}, alarms: make(chan time.Duration, 10000)}
	line := newHandLine(t, filepath.Join(bench.dir, "air"), l.answer)
	config := bench.config(at, roomTables(line.name, "10 ms")+brokerTable(m.URL(), 10*time.Second))
	running(t, config, at)
	listenTo(t, m.URL(), "hears-alarms", topicRoot+"alarm/room-warm", l.hear)
	pair := newBarePair(t, m.URL(), bench.dir)
	for range 3 {
		if l.measure(pair) {
			return
		}
	}
	t.Error("an alarm takes longer than 3 times a bare fsync and publish in the median, or 5 times at the 99th percentile")
}

// latency is the thermometer and how long its alarms took.
type latency struct {
	*spikes
	t      *testing.T
	alarms chan time.Duration
}

// hear takes a raised alarm that is on disk.
func (l *latency) hear(at time.Time, body []byte) {
	var a struct {
		State    string
		Value    float64
		Recorded bool
	}
	if json.Unmarshal(body, &a) == nil && a.State == "unacknowledged" && a.Recorded {
		l.alarms <- at.Sub(l.left(a.Value))
	}
}

// measure takes alarms and bare pairs in turns and says whether their ratio is
// as wanted.
func (l *latency) measure(pair *barePair) bool {
	l.t.Helper()
	var alarms, bare []time.Duration
	for len(l.alarms) > 0 { // of a time before, too late
		<-l.alarms
	}
	for range *latencyAlarms / latencyATurn {
		l.more(latencyATurn)
		for range latencyATurn {
			select {
			case took := <-l.alarms:
				alarms = append(alarms, took)
			case <-time.After(5 * time.Second):
				l.t.Logf("after %d alarms none comes: an answer was too late", len(alarms))
				return false
			}
		}
		pace := time.NewTicker(latencyPace)
		for range latencyATurn {
			<-pace.C
			bare = append(bare, pair.once(l.t))
		}
		pace.Stop()
	}
	return l.judge(alarms, bare)
}

// barePair writes and syncs a page and then publishes, as little as an alarm
// that is journalled before it is told can cost.
type barePair struct {
	file   *os.File
	client paho.Client
	heard  chan time.Time
	page   []byte
	body   string
}

func newBarePair(t *testing.T, broker, dir string) *barePair {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, "bare"))
	must(t, err)
	t.Cleanup(func() { f.Close() })
	b := &barePair{file: f, heard: make(chan time.Time, 1), page: make([]byte, 4096), body: strings.Repeat("x", 700)}
	listenTo(t, broker, "hears-bare", "bare", func(at time.Time, _ []byte) { b.heard <- at })
	b.client = listenTo(t, broker, "tells-bare", "nothing", func(time.Time, []byte) {})
	return b
}

func (b *barePair) once(t *testing.T) time.Duration {
	t.Helper()
	began := time.Now()
	if _, err := b.file.Write(b.page); err != nil {
		t.Fatal(err)
	}
	must(t, b.file.Sync())
	b.client.Publish("bare", 1, true, b.body)
	select {
	case at := <-b.heard:
		return at.Sub(began)
	case <-time.After(5 * time.Second):
		t.Fatal("a bare message does not come")
		return 0
	}
}

func (l *latency) judge(alarms, bare []time.Duration) (fast bool) {
	l.t.Helper()
	slices.Sort(alarms)
	slices.Sort(bare)
	fast = true
	for _, row := range []struct {
		name        string
		share, most float64
	}{{"median", 0.5, 3}, {"99th percentile", 0.99, 5}} {
		rank := int(row.share * float64(len(alarms)-1))
		times := float64(alarms[rank]) / float64(bare[rank])
		l.t.Logf("%s of %d: alarm %v, bare fsync and publish %v: %.1f times", row.name, len(alarms), alarms[rank], bare[rank], times)
		fast = fast && times <= row.most
	}
	return fast
}
