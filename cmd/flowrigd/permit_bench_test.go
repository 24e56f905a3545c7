//go:build unix

package main

import (
	"encoding/binary"
	"fmt"
	"math"
	"net/http"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
	"flowrigd/daq/modbus"
)

// relayBench is a bench by hand with a permit relay (address 9), a contact of
// the heater and a meter of its supply (address 4) on the line bus. It notes
// when an answer first showed the danger, and every write to the relay.
type relayBench struct {
	*handBench
	timing *stopwatch
	supply float64 // L/min

	mu     sync.Mutex
	writes []coilWrite
}

// coilWrite is one write to the relay.
type coilWrite struct {
	at time.Time
	on bool
}

// relayTables make the bench one with a heater. Two intervals are the default's.
const relayTables = `
[instruments.heater_on]
port = "bus"
every = "100 ms"
modbus = {address = 4, table = "discrete", register = 0}

[instruments.supply_flow]
port = "bus"
every = "100 ms"
modbus = {address = 4, table = "input", register = 0, type = "float32"}
unit = "L/min"
range = ["0 L/min", "10 L/min"]
accuracy = {of_reading = "1 %"}

[trip]
port = "bus"
modbus = {address = 9, coil = 0}
`

func newRelayBench(t *testing.T) *relayBench {
	t.Helper()
	b := &relayBench{timing: &stopwatch{}, supply: 4}
	b.handBench = &handBench{t: t, dir: t.TempDir(), flow: 1.2, level: 260, celsius: 42}
	b.bus = newHandLine(t, filepath.Join(b.dir, "bus"), b.timing.seen(b.answerRelayBus))
	b.tc = newHandLine(t, filepath.Join(b.dir, "tc"), b.timing.seen(b.answerText))
	return b
}

// answerRelayBus answers for relay, contact and meter, and leaves the rest to
// the bench.
func (b *relayBench) answerRelayBus(heard []byte) (answer, rest []byte) {
	if len(heard) < 8 {
		return nil, heard
	}
	r, err := modbus.ParseRequest(heard[:8])
	switch {
	case err == nil && r.Address == 9 && r.Function == modbus.WriteSingleCoil:
		b.mu.Lock()
		b.writes = append(b.writes, coilWrite{time.Now(), r.Count != 0})
		b.mu.Unlock()
		return append([]byte(nil), heard[:8]...), heard[8:]
	case err == nil && r.Address == 4 && r.Function == modbus.ReadDiscreteInputs:
		return modbus.ReadResponse(4, r.Function, []byte{b.contact()}), heard[8:]
	case err == nil && r.Address == 4:
		b.handBench.mu.Lock()
		defer b.handBench.mu.Unlock()
		return modbus.ReadResponse(4, r.Function, binary.BigEndian.AppendUint32(nil, math.Float32bits(float32(b.supply)))), heard[8:]
	}
	return b.answerBus(heard)
}

// contact is closed while the relay is energised.
func (b *relayBench) contact() byte {
	if last := b.last(); last.on && time.Since(last.at) < relayHolds {
		return 1
	}
	return 0
}

// last is the newest write to the relay.
func (b *relayBench) last() coilWrite {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.writes) == 0 {
		return coilWrite{}
	}
	return b.writes[len(b.writes)-1]
}

// given: a person gives the permit, and the relay is energised.
func (b *relayBench) given(at, token string) {
	b.t.Helper()
	within(b.t, 10*time.Second, "the permit is given", func() bool {
		status, _, _ := post(b.t, "http://"+at+"/api/permit", token, `{"action":"give"}`)
		return status == 200
	})
	within(b.t, 3*time.Second, "the relay is energised", func() bool { return b.last().on })
}

// written are all writes to the relay.
func (b *relayBench) written() []coilWrite {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.writes)
}

// crossing is a danger whose first answer is known by its bytes.
type crossing struct {
	alarm   string
	answer  string
	onDelay time.Duration // or the time until a reading is stale
	begin   func(*relayBench)
}

var crossings = []crossing{
	{"water-overheat", "T=80.000\r\n", 2 * time.Second, func(b *relayBench) { b.celsius = 80 }},
	{"head-lost", "\x02\x03\x02\x2e\xe0", 2 * time.Second, func(b *relayBench) { b.level = 200 }},
	{"heating-without-supply", "\x04\x04\x04\x00\x00\x00\x00", 2 * time.Second, func(b *relayBench) { b.supply = 0 }},
	{"instrument-fault-temperature", "T=NaN\r\n", time.Second, func(b *relayBench) { b.celsius = math.NaN() }},
	{"instrument-fault-level", "\x02\x03\x02\x55\xf0", time.Second, func(b *relayBench) { b.level = 450 }},
}

// The permit drops within the on-delay plus two intervals of the reading that
// crosses the limit, for each alarm that trips.
func TestThePermitDropsInTime(t *testing.T) {
	for _, c := range crossings {
		t.Run(c.alarm, func(t *testing.T) {
			t.Parallel()
			b, at := newRelayBench(t), daqtest.FreeAddress(t)
			config := strings.Replace(read(t, b.config(at, relayTables)), `interval = "100 ms"`, `interval = "200 ms"`, 1)
			config = write(t, filepath.Join(b.dir, "relay.toml"), config)
			token := addToken(t, config, "operate", "demonstrator")
			start(t, program, "run", "--config", config)
			b.given(at, token)
			b.timing.expect(c.answer)
			b.set(func(*handBench) { c.begin(b) })
			within(t, 10*time.Second, "the relay is told to drop", func() bool { return !b.last().on })
			took := b.firstDrop().Sub(b.timing.when())
			t.Logf("%s: the relay was told %v after the answer that crosses, on-delay %v", c.alarm, took.Round(time.Millisecond), c.onDelay)
			if took > c.onDelay+2*rigTick || took < c.onDelay-2*rigTick {
				t.Errorf("told after %v, want %v to %v", took, c.onDelay, c.onDelay+2*rigTick)
			}
		})
	}
}

// firstDrop is the first write that took the permit away after it was on.
func (b *relayBench) firstDrop() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	was := false
	for _, w := range b.writes {
		if was && !w.on {
			return w.at
		}
		was = was || w.on
	}
	return time.Time{}
}

// Refused in this order, with no alarm at first and then with a trip
// that stands: each with a reason, and journalled with who asked.
func TestRefusalsAreJournalled(t *testing.T) {
	t.Parallel()
	b, at := newRelayBench(t), daqtest.FreeAddress(t)
	config := b.config(at, relayTables)
	operate, watch := addToken(t, config, "operate", "demonstrator"), addToken(t, config, "watch", "visitor")
	running(t, config, at)
	ask := func(path, token, body string, status int, reason string) {
		t.Helper()
		got, kind, answer := post(t, "http://"+at+path, token, body)
		if got != status || kind != "application/problem+json" || !strings.Contains(answer, reason) {
			t.Errorf("%s %s: %d %s %s, want %d with %q", path, body, got, kind, answer, status, reason)
		}
	}
	const give, drop, prove = `{"action":"give"}`, `{"action":"withdraw"}`, `{"action":"proof-test"}`
	alarm := func(name, verb string) string { return "/api/alarms/" + name + "/" + verb }
	ask("/api/permit", "", give, 401, "token")
	ask("/api/permit", watch, give, 403, "operate")
	ask("/api/permit", operate, drop, 409, "it is not given")
	ask("/api/permit", operate, prove, 409, "give it first")
	ask(alarm("no-such-alarm", "acknowledge"), operate, "{}", 404, "there is no alarm of that name")
	ask(alarm("water-overheat", "acknowledge"), operate, "{}", 409, "there is nothing to acknowledge")
	ask(alarm("water-overheat", "reset"), operate, "{}", 409, "there is nothing to reset")

	b.set(func(*handBench) { b.celsius = 80 })
	within(t, 10*time.Second, "the alarm", func() bool {
		_, body := get("http://" + at + "/api/alarms")
		return strings.Contains(body, `"water-overheat"`)
	})
	ask("/api/permit", operate, give, 409, "a trip stands: water-overheat")
	ask(alarm("water-overheat", "reset"), operate, "{}", 409, "its cause still stands")
	ask(alarm("water-overheat", "acknowledge"), watch, "{}", 403, "operate")
	if status, _, answer := post(t, "http://"+at+alarm("water-overheat", "acknowledge"), operate, "{}"); status != 200 {
		t.Errorf("acknowledge: %d %s", status, answer)
	}
	ask(alarm("water-overheat", "acknowledge"), operate, "{}", 409, "it is acknowledged already")
	ask("/api/permit", operate, give, 409, "a trip stands: water-overheat")

	b.refusals(12, "visitor|", "demonstrator|give heating permit: refused: a trip stands: water-overheat",
		"demonstrator|reset water-overheat: refused: its cause still stands", "demonstrator|acknowledge no-such-alarm: refused: there is no alarm of that name")
	if b.last().on {
		t.Error("the relay is energised")
	}
}

// refusals holds how many are in the journal, and some of them.
func (b *relayBench) refusals(n int, some ...string) {
	b.t.Helper()
	count := fmt.Sprint(n)
	within(b.t, 5*time.Second, count+" refusals in the journal", func() bool {
		return sqlRows(b.t, b.dir, "SELECT count(*) FROM note WHERE kind = 'refused'") == count
	})
	got := sqlRows(b.t, b.dir, "SELECT who, text FROM note WHERE kind = 'refused' ORDER BY sequence")
	b.t.Log("\n" + got)
	for _, want := range some {
		if !strings.Contains(got, want) {
			b.t.Errorf("the journal lacks %q", want)
		}
	}
}

// A person asks a suspended daemon for the permit, gives up after two seconds and
// goes. The daemon that goes on does not obey, though nothing has become stale.
func TestASuspendedDaemonDoesNotGiveThePermitLater(t *testing.T) {
	t.Parallel()
	b, at := newRelayBench(t), daqtest.FreeAddress(t)
	config := strings.ReplaceAll(read(t, b.config(at, relayTables)), `stale_after = "1 s"`, `stale_after = "20 s"`)
	config = write(t, filepath.Join(b.dir, "relay.toml"), config)
	token := addToken(t, config, "operate", "demonstrator")
	d := start(t, program, "run", "--config", config)
	ask := func(action string, patience time.Duration) int {
		q, err := http.NewRequest(http.MethodPost, "http://"+at+"/api/permit", strings.NewReader(`{"action":"`+action+`"}`))
		must(t, err)
		q.Header.Set("Content-Type", "application/json")
		q.Header.Set("Authorization", "Bearer "+token)
		r, err := (&http.Client{Timeout: patience}).Do(q)
		if err != nil {
			return 0
		}
		r.Body.Close()
		return r.StatusCode
	}
	within(t, 10*time.Second, "the permit is given", func() bool { return ask("give", 5*time.Second) == 200 })
	within(t, 5*time.Second, "it is withdrawn", func() bool { return ask("withdraw", 5*time.Second) == 200 })
	for n := range 4 {
		within(t, 5*time.Second, "the relay is down", func() bool { return !b.last().on })
		d.signal(syscall.SIGSTOP)
		within(t, 5*time.Second, "it is suspended", func() bool {
			state, _ := exec.Command("ps", "-o", "state=", "-p", fmt.Sprint(d.cmd.Process.Pid)).Output()
			return strings.HasPrefix(strings.TrimSpace(string(state)), "T")
		})
		if status := ask("give", 2*time.Second); status != 0 {
			t.Fatalf("a suspended daemon answers with %d", status)
		}
		d.signal(syscall.SIGCONT)
		refused := fmt.Sprint(n + 1)
		within(t, 5*time.Second, refused+" refusals in the journal", func() bool {
			return sqlRows(t, b.dir, "SELECT count(*) FROM note WHERE kind = 'refused' AND text LIKE 'give heating permit: refused: % ask again'") == refused
		})
		if b.last().on {
			t.Error("the relay is energised by a give whose caller has gone")
		}
	}
	within(t, 5*time.Second, "a person who waits gets it", func() bool { return ask("give", 5*time.Second) == 200 })
}
