//go:build unix

package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// What the broker does is Mosquitto's doing, an implementation nobody here
// wrote; what it must do is MQTT 3.1.1.

func TestStateAndPresenceAreRetained(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	stop := start(t, newBench().publisher(t, m.URL()))
	first := m.Listen("#")
	first.Await("presence", `"up":true`, 5*time.Second)
	first.Await("state", `"time":"2026-03-01T12:00:00.000000Z"`, 5*time.Second)

	late := m.Listen("#")
	if h := late.Await("presence", `"up":true`, 5*time.Second); !h.Retained {
		t.Error("presence came without the retained flag (MQTT 3.1.1, 3.3.1-8)")
	}
	h := late.Await("state", `"site":"north-hall"`, 5*time.Second)
	var state map[string]any
	if err := json.Unmarshal([]byte(h.Body), &state); err != nil {
		t.Fatalf("state %s: %v", h.Body, err)
	}
	for _, key := range []string{"rig", "recording", "sequence", "quality", "alarms", "clock_synchronised", "reynolds_number"} {
		if _, ok := state[key]; !ok {
			t.Errorf("state has no %q", key)
		}
	}
	stop()
	if h := m.Listen("presence").Await("presence", `"up":false`, 5*time.Second); !h.Retained || !strings.Contains(h.Body, "stopped") {
		t.Errorf("after the end presence is %+v", h)
	}
}

func TestSilentEngineIsToldByPresence(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	start(t, b.publisher(t, m.URL()))
	e := m.Listen("#")
	e.Await("presence", `"up":true`, 5*time.Second)
	b.dead.Store(true)
	e.Await("presence", `"why":"the engine`, 2*time.Second)
	if n, last := len(e.On("state")), e.Newest("presence"); n == 0 || !strings.Contains(last.Body, `"up":false`) {
		t.Errorf("%d states, presence %s", n, last.Body)
	}
	// What was on its way when the engine fell silent has come; nothing follows.
	before := len(e.On("state"))
	m.Retain("mark", "silent")
	e.Await("mark", "silent", 2*time.Second)
	since := time.Now()
	until(t, "twenty intervals", 5*time.Second, func() bool { return time.Since(since) > time.Second })
	if n := len(e.On("state")); n > before+1 {
		t.Errorf("%d states came while the engine was silent", n-before)
	}
	b.dead.Store(false)
	until(t, "presence up again", 2*time.Second, func() bool { return strings.Contains(e.Newest("presence").Body, `"up":true`) })
}

func TestWillAfterACutConnection(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	cut := startProxy(t, m.At)
	start(t, newBench().publisher(t, cut.url()))
	e := m.Listen("presence")
	e.Await("presence", `"up":true`, 5*time.Second)
	cut.off()
	if h := e.Await("presence", `"up":false`, 2*time.Second); h.Body != `{"up":false}` {
		t.Errorf("the will is %s", h.Body)
	}
	cut.on()
	until(t, "presence up again", 5*time.Second, func() bool { return strings.Contains(e.Newest("presence").Body, `"up":true`) })
}

// gapFree fails unless the first deliveries of a topic are 1 … n in order.
func gapFree(t *testing.T, all []daqtest.Message, n int64) {
	t.Helper()
	next := int64(1)
	for _, h := range all {
		switch got := sequenceOf(t, h.Body); {
		case got == next:
			next++
		case got > next:
			t.Fatalf("%s: sequence %d came before %d", h.Topic, got, next)
		}
	}
	if next != n+1 {
		t.Fatalf("%d of %d came", next-1, n)
	}
}

func TestEveryRecordThroughNetworkOutages(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	cut := startProxy(t, m.At)
	b := newBench()
	start(t, b.publisher(t, cut.url()))
	e := m.Listen("#")
	e.Await("presence", `"up":true`, 5*time.Second)
	for round := range 5 {
		for range 300 {
			b.feed.add(daq.ClassRecord, "")
		}
		b.feed.add(daq.ClassEvent, "")
		until(t, "some records", 5*time.Second, func() bool { return len(e.On("record")) > round*300+50 })
		cut.off() // in the middle of a batch
		for range 300 {
			b.feed.add(daq.ClassRecord, "")
		}
		cut.on()
	}
	const total = 5 * 600
	until(t, "all records", 20*time.Second, func() bool { return b.feed.mark(daq.ClassRecord) == total })
	until(t, "last record", 5*time.Second, func() bool { return sequenceOf(t, e.Newest("record").Body) == total })
	gapFree(t, e.On("record"), total)
	gapFree(t, e.On("event"), 5)
}

// TestAlarmsBeforeABacklog: a broker that was away for an hour gets the hour's
// alarms first, in order, then its rows; an alarm that comes while they are
// sent overtakes them.
func TestAlarmsBeforeABacklog(t *testing.T) {
	t.Parallel()
	const hour = 3600 // rows of a second each
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	for range hour {
		b.feed.add(daq.ClassRecord, "")
	}
	for i := range 100 {
		b.feed.add(daq.ClassAlarm, fmt.Sprintf("alarm-%d", i))
	}
	e := m.Listen("#")
	start(t, b.publisher(t, m.URL()))
	until(t, "some records", 5*time.Second, func() bool { return len(e.On("record")) > 300 })
	b.feed.add(daq.ClassAlarm, "late")
	until(t, "all", 30*time.Second, func() bool {
		return b.feed.mark(daq.ClassRecord) == hour && sequenceOf(t, e.Newest("record").Body) == hour
	})
	gapFree(t, e.On("record"), hour)
	alarms, records, lateAt := 0, 0, 0
	for _, h := range e.On("") {
		switch {
		case h.Topic == "alarm/late":
			lateAt = records
		case strings.HasPrefix(h.Topic, "alarm/"):
			alarms++
			if want := fmt.Sprintf("alarm/alarm-%d", alarms-1); records > 0 || h.Topic != want {
				t.Fatalf("%s came after %d records, as number %d", h.Topic, records, alarms)
			}
		case h.Topic == "record":
			records++
		}
	}
	if alarms != 100 || lateAt == 0 || lateAt > 1500 {
		t.Errorf("%d alarms; the late one came after %d of the hour's records", alarms, lateAt)
	}
}

func TestBrokerDownAndBack(t *testing.T) {
	t.Parallel()
	// Its session store lets the subscriber's subscription live through the
	// restart; without that the test would see less than the broker did.
	m := daqtest.StartMosquitto(t, "persistence true")
	b := newBench()
	p := b.publisher(t, m.URL())
	e := m.Listen("#", "-c", "-i", "listener")
	start(t, p)
	e.Await("presence", `"up":true`, 5*time.Second)
	for range 20 {
		b.feed.add(daq.ClassRecord, "")
	}
	until(t, "first records", 5*time.Second, func() bool { return b.feed.mark(daq.ClassRecord) == 20 })
	m.Stop(syscall.SIGTERM)
	for range 200 {
		b.feed.add(daq.ClassRecord, "")
	}
	b.feed.add(daq.ClassAlarm, "water-overheat")
	until(t, "loss noticed", 5*time.Second, func() bool { up, _, why := p.Connected(); return !up && why != "" })
	if n := p.Stats().Backlog; n != 200 {
		t.Errorf("backlog %d, want the 200 rows recorded meanwhile", n)
	}
	m.Start()
	until(t, "all records", 10*time.Second, func() bool { return b.feed.mark(daq.ClassRecord) == 220 })
	until(t, "last record", 10*time.Second, func() bool { return sequenceOf(t, e.Newest("record").Body) == 220 })
	gapFree(t, e.On("record"), 220)
	gapFree(t, e.On("alarm/water-overheat"), 1)
	if s := p.Stats(); !s.Connected || s.Connections < 2 || s.Acknowledged < 221 || s.Backlog != 0 {
		t.Errorf("figures %+v", s)
	}
}

func TestBrokerDownAtTheStart(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	m.Stop(syscall.SIGKILL)
	b := newBench()
	p := b.publisher(t, m.URL())
	start(t, p)
	until(t, "a reason", 5*time.Second, func() bool { _, _, why := p.Connected(); return strings.Contains(why, "connect: ") })
	m.Start()
	until(t, "connected", 5*time.Second, func() bool { up, _, _ := p.Connected(); return up })
}

func TestRetainedAlarmsAfterABrokerCrash(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "") // forgets what it retains
	b := newBench()
	for _, name := range []string{"head-lost", "water-overheat", "head-lost"} {
		b.feed.add(daq.ClassAlarm, name)
	}
	const others = 1000 // since then
	for range others {
		b.feed.add(daq.ClassAlarm, "broker-lost")
	}
	b.standing("head-lost", "water-overheat")
	start(t, b.publisher(t, m.URL()))
	total := int64(others + 3)
	until(t, "alarms delivered", 10*time.Second, func() bool { return b.feed.mark(daq.ClassAlarm) == total })
	m.Stop(syscall.SIGKILL)
	m.Start()
	e := m.Listen("alarm/+")
	e.Await("alarm/head-lost", `"sequence":3,`, 10*time.Second)
	e.Await("alarm/water-overheat", `"sequence":2,`, 10*time.Second)
	if n := len(e.On("alarm/broker-lost")); n != 0 {
		t.Errorf("broker-lost is neither standing nor retained, and came %d times", n)
	}
}

func TestNothingIsAnnouncedAnew(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	b.standing("head-lost")
	b.feed.add(daq.ClassAlarm, "head-lost")
	p := b.publisher(t, m.URL())
	stop := start(t, p)
	until(t, "alarm delivered", 5*time.Second, func() bool { return b.feed.mark(daq.ClassAlarm) == 1 })
	stop()
	e := m.Listen("#")
	e.Await("alarm/head-lost", `"sequence":1,`, 5*time.Second)
	again := b.publisher(t, m.URL())
	stop = start(t, again)
	e.Await("presence", `"up":true`, 5*time.Second)
	// A new alarm and as long a wait as the repair takes: whatever is repeated
	// comes before it.
	until(t, "states past the repair", 5*time.Second, func() bool { return len(e.On("state")) > 20 })
	b.feed.add(daq.ClassAlarm, "water-overheat")
	e.Await("alarm/water-overheat", `"sequence":2,`, 5*time.Second)
	stop()
	if n := len(e.On("alarm/head-lost")); n != 1 {
		t.Errorf("head-lost came %d times, the retained one included", n)
	}
}

func TestHungBrokerStopsNothing(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	p := b.publisher(t, m.URL())
	stop := start(t, p)
	e := m.Listen("#")
	e.Await("presence", `"up":true`, 5*time.Second)
	m.Signal(syscall.SIGSTOP)
	b.feed.add(daq.ClassAlarm, "head-lost")
	for range 2000 {
		b.feed.add(daq.ClassRecord, "")
	}
	b.feed.tell("water-overheat", "unacknowledged")
	until(t, "hang noticed", 5*time.Second, func() bool { up, _, _ := p.Connected(); return !up })
	m.Signal(syscall.SIGCONT)
	until(t, "all records", 20*time.Second, func() bool { return b.feed.mark(daq.ClassRecord) == 2000 })
	until(t, "last record", 5*time.Second, func() bool { return sequenceOf(t, e.Newest("record").Body) == 2000 })
	gapFree(t, e.On("record"), 2000)
	e.Await("alarm/water-overheat", `"recorded":false`, 5*time.Second)
	m.Signal(syscall.SIGSTOP)
	began := time.Now()
	stop()
	if took := time.Since(began); took > 6*time.Second {
		t.Errorf("the end took %s with a hung broker", took)
	}
}

func TestAlarmWithoutTheDisk(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	p := b.publisher(t, m.URL())
	start(t, p)
	e := m.Listen("#")
	e.Await("presence", `"up":true`, 5*time.Second)
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	b.feed.add(daq.ClassRecord, "") // makes somebody read the disk, and hang
	b.feed.tell("head-lost", "unacknowledged")
	h := e.Await("alarm/head-lost", `"recorded":false`, time.Second)
	if strings.Contains(h.Body, `"sequence"`) {
		t.Errorf("an alarm without the disk has a sequence: %s", h.Body)
	}
	b.feed.add(daq.ClassAlarm, "head-lost")
	b.feed.hung.Store(nil)
	close(disk)
	e.Await("alarm/head-lost", `"recorded":true`, 5*time.Second)
	until(t, "marks", 5*time.Second, func() bool { return b.feed.mark(daq.ClassAlarm) == 1 })
	if n := b.feed.mark(provisional); n != 0 {
		t.Errorf("the mark of what has no recording is kept there: %d", n)
	}
}

// TestAlarmsWithoutTheDiskWaitForNoBacklog: what is told without the disk goes out
// though the recorded alarms before it cannot be read.
func TestAlarmsWithoutTheDiskWaitForNoBacklog(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	b.feed.add(daq.ClassAlarm, "supply-lost")
	p := b.publisher(t, m.URL())
	p.pace.repair = time.Hour // or the look at what is retained would send it
	start(t, p)
	e := m.Listen("#")
	e.Await("presence", `"up":true`, 5*time.Second)
	b.feed.tell("head-lost", "unacknowledged")
	e.Await("alarm/head-lost", `"recorded":false`, 2*time.Second)
	close(disk)
	e.Await("alarm/supply-lost", `"sequence":1,`, 5*time.Second)
}

// TestTheNewestIsRetained: what was told without the disk is newer than what the
// recording has still to give of that alarm, and is what the broker retains in the
// end, long after the look at the connection.
func TestTheNewestIsRetained(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	cut := startProxy(t, m.At)
	b := newBench()
	b.standing("head-lost")
	b.last.Load().Alarms[0].State = "acknowledged"
	p := b.publisher(t, cut.url())
	p.pace.again = time.Hour
	start(t, p)
	b.feed.add(daq.ClassAlarm, "head-lost")
	until(t, "the mark is known", 5*time.Second, func() bool { return b.feed.mark(daq.ClassAlarm) == 1 })
	cut.off()
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	for range 100 { // more than is at hand
		b.feed.add(daq.ClassAlarm, "head-lost")
	}
	b.feed.tell("head-lost", "acknowledged")
	e := m.Listen("#")
	cut.on()
	e.Await("alarm/head-lost", `"recorded":false`, 5*time.Second)
	until(t, "states past the look", 5*time.Second, func() bool { return len(e.On("state")) > 40 })
	b.feed.hung.Store(nil)
	close(disk)
	e.Await("alarm/head-lost", `"sequence":101,`, 5*time.Second)
	until(t, "the newest is retained", time.Second, func() bool { return strings.Contains(e.Newest("alarm/head-lost").Body, `"state":"acknowledged"`) })
}

// TestNewAlarmsDoNotWaitForABacklogOfRows: what is at hand goes out beside a disk
// that hangs over an older question.
func TestNewAlarmsDoNotWaitForABacklogOfRows(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	start(t, b.publisher(t, m.URL()))
	e := m.Listen("#")
	e.Await("presence", `"up":true`, 5*time.Second)
	b.feed.add(daq.ClassAlarm, "head-lost")
	until(t, "the marks are known", 5*time.Second, func() bool { return b.feed.mark(daq.ClassAlarm) == 1 })
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	defer close(disk)
	b.feed.add(daq.ClassRecord, "")
	for n := range 50 {
		b.feed.add(daq.ClassAlarm, "head-lost")
		e.Await("alarm/head-lost", fmt.Sprintf(`"sequence":%d,`, n+2), time.Second)
	}
}

func TestOutboxThatGivesErrors(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	b.feed.sick.Store(true)
	for range 100 {
		b.feed.add(daq.ClassRecord, "")
	}
	start(t, b.publisher(t, m.URL()))
	e := m.Listen("#")
	until(t, "states meanwhile", 5*time.Second, func() bool { return len(e.On("state")) > 10 })
	if n := len(e.On("record")); n != 0 {
		t.Fatalf("%d records from an outbox that gives none", n)
	}
	b.feed.sick.Store(false)
	until(t, "all records", 5*time.Second, func() bool { return len(e.On("record")) >= 100 })
	gapFree(t, e.On("record"), 100)
}

func TestHungDiskDoesNotHoldTheEnd(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	p := b.publisher(t, m.URL())
	p.pace.grace = 200 * time.Millisecond
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	b.feed.deaf = true
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	m.Listen("presence").Await("presence", `"up":true`, 5*time.Second)
	cancel()
	select {
	case err := <-done:
		if err == nil || !strings.Contains(err.Error(), "the disk may be hung") {
			t.Errorf("error %v", err)
		}
	case <-time.After(5 * time.Second):
		t.Error("Run did not end")
	}
	close(disk)
	<-p.backlog.done
}

func TestWrongPasswordHasARemedy(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	secret, accounts := filepath.Join(dir, "secret"), filepath.Join(dir, "accounts")
	if err := os.WriteFile(secret, []byte("wrong\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// An empty list of accounts admits nobody.
	if err := os.WriteFile(accounts, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	m := daqtest.StartMosquitto(t, "password_file "+accounts)
	b := newBench()
	p, err := New(Options{
		Config: config.MQTT{Broker: m.URL(), Topic: "flowrig", Every: time.Second, KeepAlive: 2 * time.Second, Username: "bench-3", PasswordFile: secret},
		Site:   "north-hall", Rig: "bench-3", Feed: b.feed, State: b, Alive: func() bool { return true },
	})
	if err != nil {
		t.Fatal(err)
	}
	start(t, p)
	until(t, "a remedy", 5*time.Second, func() bool {
		_, _, why := p.Connected()
		return strings.Contains(why, "check mqtt.username and mqtt.password_file")
	})
}

func TestNoGoroutineIsLeft(t *testing.T) {
	m := daqtest.StartMosquitto(t, "")
	cut := startProxy(t, m.At)
	before := goleak.IgnoreCurrent()
	b := newBench()
	p := b.publisher(t, cut.url())
	stop := start(t, p)
	for n := range 10 {
		until(t, "connected", 5*time.Second, func() bool { return p.Stats().Connections > uint64(n) })
		b.feed.add(daq.ClassRecord, "")
		cut.off()
		cut.on()
	}
	stop()
	cut.off()
	goleak.VerifyNone(t, before)
}

// proxy is a network between the program and the broker that can be cut.
type proxy struct {
	t      *testing.T
	listen net.Listener
	target string
	orders chan func()
	conns  []net.Conn
	dead   bool
}

func startProxy(t *testing.T, target string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{t: t, listen: l, target: target, orders: make(chan func())}
	done := make(chan struct{})
	go p.run(done)
	go p.accept()
	t.Cleanup(func() {
		l.Close()
		p.off()
		close(done)
	})
	return p
}

func (p *proxy) url() string { return "tcp://" + p.listen.Addr().String() }

func (p *proxy) run(done chan struct{}) {
	for {
		select {
		case f := <-p.orders:
			f()
		case <-done:
			return
		}
	}
}

func (p *proxy) do(f func()) {
	done := make(chan struct{})
	p.orders <- func() { f(); close(done) }
	<-done
}

func (p *proxy) off() {
	p.do(func() {
		p.dead = true
		for _, c := range p.conns {
			c.Close()
		}
		p.conns = nil
	})
}

func (p *proxy) on() { p.do(func() { p.dead = false }) }

func (p *proxy) accept() {
	for {
		near, err := p.listen.Accept()
		if err != nil {
			return
		}
		p.do(func() { p.join(near) })
	}
}

func (p *proxy) join(near net.Conn) {
	far, err := net.Dial("tcp", p.target)
	if p.dead || err != nil {
		near.Close()
		if err == nil {
			far.Close()
		}
		return
	}
	p.conns = append(p.conns, near, far)
	go pipe(near, far)
	go pipe(far, near)
}

func pipe(to, from net.Conn) {
	defer to.Close()
	buffer := make([]byte, 4096)
	for {
		n, err := from.Read(buffer)
		if err != nil {
			return
		}
		if _, err := to.Write(buffer[:n]); err != nil {
			return
		}
	}
}

// BenchmarkAlarm is the time from the outbox's wake to the broker's
// acknowledgement, over loopback to Mosquitto, beside a state each 50 ms.
func BenchmarkAlarm(b *testing.B) {
	m := daqtest.StartMosquitto(b, "")
	rig := newBench()
	start(b, rig.publisher(b, m.URL()))
	var last int64
	arrived := func() {
		for rig.feed.mark(daq.ClassAlarm) < last {
			<-rig.feed.marked
		}
	}
	for range 10 {
		last = rig.feed.add(daq.ClassAlarm, "head-lost")
	}
	arrived()
	for b.Loop() {
		last = rig.feed.add(daq.ClassAlarm, "head-lost")
		arrived()
	}
}

// BenchmarkBacklog is the time for one record of a backlog.
func BenchmarkBacklog(b *testing.B) {
	m := daqtest.StartMosquitto(b, "")
	rig := newBench()
	for range b.N {
		rig.feed.add(daq.ClassRecord, "")
	}
	b.ResetTimer()
	start(b, rig.publisher(b, m.URL()))
	for rig.feed.mark(daq.ClassRecord) < int64(b.N) {
		<-rig.feed.marked
	}
}
