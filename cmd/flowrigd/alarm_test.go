//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"flowrigd/daq/daqtest"
)

// stopwatch notes when an answer first left the bench for the daemon.
type stopwatch struct {
	mu    sync.Mutex
	match string // of the answer's bytes; "" notes nothing
	at    time.Time
}

// seen passes an answer on and notes it.
func (w *stopwatch) seen(answer func([]byte) ([]byte, []byte)) func([]byte) ([]byte, []byte) {
	return func(heard []byte) ([]byte, []byte) {
		reply, rest := answer(heard)
		w.mu.Lock()
		defer w.mu.Unlock()
		if w.match != "" && w.at.IsZero() && strings.Contains(string(reply), w.match) {
			w.at = time.Now()
		}
		return reply, rest
	}
}

func (w *stopwatch) expect(match string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.match, w.at = match, time.Time{}
}

func (w *stopwatch) when() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.at
}

// newTimedBench is a bench with a stopwatch on its answers.
func newTimedBench(t *testing.T) (*handBench, *stopwatch) {
	t.Helper()
	w := &stopwatch{}
	b := &handBench{t: t, dir: t.TempDir(), flow: 1.2, level: 260, celsius: 42}
	b.bus = newHandLine(t, filepath.Join(b.dir, "bus"), w.seen(b.answerBus))
	b.tc = newHandLine(t, filepath.Join(b.dir, "tc"), w.seen(b.answerText))
	return b, w
}

// sqlScript prints the rows of a query as columns between bars.
const sqlScript = `import sqlite3, sys
db = sqlite3.connect("file:%s?mode=ro" % sys.argv[1], uri=True, timeout=5)
for row in db.execute(sys.argv[2]): print("|".join("" if v is None else str(v) for v in row))
`

// sqlRows asks the recording with another SQLite than the program's, Python's,
// as anybody may while the daemon runs.
func sqlRows(t *testing.T, dir, query string) string {
	t.Helper()
	out, err := exec.Command(python(t, "sqlite3", "python3"), "-c", sqlScript, filepath.Join(dir, "record", "flowrig.db"), query).CombinedOutput()
	if err != nil {
		t.Fatalf("sqlite3: %v: %s", err, out)
	}
	return strings.TrimSpace(string(out))
}

// addToken makes a token as a person would.
func addToken(t *testing.T, config, role, name string) string {
	t.Helper()
	out, diag, code := call(t, program, "token", "add", "--config", config, "--role", role, name)
	token := strings.TrimSpace(out)
	if code != 0 || token == "" || strings.ContainsAny(token, " \n") {
		t.Fatalf("token add: code %d, stdout %q, stderr %s", code, out, diag)
	}
	return token
}

// danger is a condition that a built-in alarm watches.
type danger struct {
	alarm        string
	begin, end   func(*handBench)
	answer       string // bytes of the answer that shows it
	value, limit float64
	quantity     string
	stop         syscall.Signal // by which the daemon ends in the middle
}

// A level is 4000 to 20000 for 0 to 400 mm, so 200 mm is 12000, 2EE0 in hex.
var dangers = []danger{
	{alarm: "water-overheat", quantity: "temperature_celsius", value: 80, limit: 75, answer: "T=80.000\r\n", stop: syscall.SIGKILL,
		begin: func(b *handBench) { b.celsius = 80 }, end: func(b *handBench) { b.celsius = 42 }},
	{alarm: "head-lost", quantity: "level_meters", value: 0.2, limit: 0.23, answer: "\x02\x03\x02\x2e\xe0", stop: syscall.SIGTERM,
		begin: func(b *handBench) { b.level = 200 }, end: func(b *handBench) { b.level = 260 }},
}

// The two dangers of the bench, from the answer that shows them to the reset,
// with the daemon's end in the middle.
func TestDangerRaisesTheAlarm(t *testing.T) {
	t.Parallel()
	for _, d := range dangers {
		t.Run(d.alarm, func(t *testing.T) {
			t.Parallel()
			newAlarmed(t, d).story()
		})
	}
}

// alarmed is a daemon on a bench by hand with a real broker.
type alarmed struct {
	danger
	t       *testing.T
	bench   *handBench
	timing  *stopwatch
	broker  *daqtest.Mosquitto
	ear     *daqtest.Listener
	config  string
	at      string
	daemon  *process
	operate string
	watch   string
}

func newAlarmed(t *testing.T, d danger) *alarmed {
	t.Helper()
	a := &alarmed{danger: d, t: t, broker: daqtest.StartMosquitto(t, ""), at: daqtest.FreeAddress(t)}
	a.bench, a.timing = newTimedBench(t)
	a.config = a.bench.config(a.at, brokerTable(a.broker.URL(), 10*time.Second))
	a.operate = addToken(t, a.config, "operate", "demonstrator")
	a.watch = addToken(t, a.config, "watch", "visitor")
	a.ear = a.broker.Listen("alarm/" + d.alarm)
	a.start()
	return a
}

func (a *alarmed) start() {
	a.t.Helper()
	a.daemon = start(a.t, program, "run", "--config", a.config)
	within(a.t, 15*time.Second, "good instruments", func() bool { return allGood(now(a.at)) })
}

// story is what happens, in order.
func (a *alarmed) story() {
	a.t.Helper()
	first := a.raised()
	a.restart(first)
	a.guarded()
	a.returned()
	a.released()
	a.journal()
}

// raised begins the danger, and gives the first message about it.
func (a *alarmed) raised() daqtest.Message {
	a.t.Helper()
	const onDelay, intervals, room = 2 * time.Second, 2 * 100 * time.Millisecond, 500 * time.Millisecond
	a.timing.expect(a.answer)
	a.bench.set(a.begin)
	m := a.ear.AwaitNewest("alarm/"+a.alarm, `"state":"unacknowledged"`, 10*time.Second)
	row := sqlRows(a.t, a.bench.dir, fmt.Sprintf("SELECT name, state, priority, value = %v AND \"limit\" = %v FROM alarm_event WHERE sequence = %v", a.value, a.limit, m.Field("sequence")))
	if want := a.alarm + "|unacknowledged|high|1"; row != want {
		a.t.Errorf("when the message was heard the database held %q, want %q", row, want)
	}
	took := m.At.Sub(a.timing.when())
	a.t.Logf("%s told %v after the answer that shows it", a.alarm, took.Round(time.Millisecond))
	if took > onDelay+intervals+room || took < onDelay-intervals {
		a.t.Errorf("told %v after the answer, want %v to %v", took, onDelay, onDelay+intervals+room)
	}
	a.whole(m)
	return m
}

// whole holds the message against the contract.
func (a *alarmed) whole(m daqtest.Message) {
	a.t.Helper()
	for name, want := range map[string]any{"name": a.alarm, "priority": "high", "value": a.value, "limit": a.limit, "recorded": true,
		"recording": sqlRows(a.t, a.bench.dir, "SELECT value FROM meta WHERE key = 'recording'")} {
		if m.Field(name) != want {
			a.t.Errorf("%s is %v, want %v, in %s", name, m.Field(name), want, m.Body)
		}
	}
	for _, name := range []string{"cause", "consequence", "action", "time"} {
		if text, _ := m.Field(name).(string); len(text) < 20 {
			a.t.Errorf("%s is %q, want a sentence, or a time", name, text)
		}
	}
}

// reborn ends the daemon and starts the next one.
func (a *alarmed) reborn() {
	a.t.Helper()
	a.daemon.signal(a.stop)
	a.daemon.code(20 * time.Second)
	// A killed process leaves its mark of exclusive use on a terminal that the
	// bench holds open; a real adapter loses it with its last user.
	for _, l := range []*handLine{a.bench.bus, a.bench.tc} {
		_ = unix.IoctlSetInt(int(l.keeper.Fd()), unix.TIOCNXCL, 0)
	}
	a.start()
}

// restart: the next daemon has the alarm as it was, and announces nothing anew.
func (a *alarmed) restart(first daqtest.Message) {
	a.t.Helper()
	a.reborn()
	a.stands("unacknowledged")
	if at := a.status()["time"]; at != first.Field("time") {
		a.t.Errorf("after the restart the alarm dates from %v, before from %v", at, first.Field("time"))
	}
	from, _ := now(a.at)["sequence"].(float64)
	within(a.t, 15*time.Second, "five more rows, longer than any delay of the alarm", func() bool { n, _ := now(a.at)["sequence"].(float64); return n >= from+5 })
	a.stands("unacknowledged")
	// What the broker acknowledged in the last moment before a kill may come
	// once more (at least once), as the same message with the same sequence.
	for _, m := range a.ear.On("alarm/" + a.alarm)[1:] {
		if m.Body != first.Body || a.stop != syscall.SIGKILL {
			a.t.Errorf("after the restart the alarm was announced anew: %s", m.Body)
		}
	}
}

// status is the alarm in /api/alarms; nil when it is normal.
func (a *alarmed) status() map[string]any {
	_, body := get("http://" + a.at + "/api/alarms")
	var reply struct{ Alarms []map[string]any }
	if err := json.Unmarshal([]byte(body), &reply); err != nil {
		a.t.Fatalf("/api/alarms: %v: %s", err, body)
	}
	for _, status := range reply.Alarms {
		if status["name"] == a.alarm {
			return status
		}
	}
	return nil
}

func (a *alarmed) stands(state string) {
	a.t.Helper()
	if got := a.status()["state"]; got != state {
		a.t.Errorf("/api/alarms says %v, want %s", got, state)
	}
}

// do asks for something and holds the answer's status; a refusal must be a
// problem (RFC 9457) with a sentence.
func (a *alarmed) do(verb, token string, want int) {
	a.t.Helper()
	status, kind, body := post(a.t, "http://"+a.at+"/api/alarms/"+a.alarm+"/"+verb, token, "{}")
	if status != want {
		a.t.Errorf("%s with token %.4q: %d, want %d: %s", verb, token, status, want, body)
	}
	if want == 200 {
		return
	}
	var problem struct {
		Status int
		Detail string
	}
	if err := json.Unmarshal([]byte(body), &problem); err != nil || kind != "application/problem+json" || problem.Status != status || len(problem.Detail) < 20 {
		a.t.Errorf("the refusal of %s is %s %s, want a problem with a sentence", verb, kind, body)
	}
}

// guarded: nobody but an operator silences it, and the cause stands.
func (a *alarmed) guarded() {
	a.t.Helper()
	a.do("acknowledge", "", 401)
	a.do("acknowledge", "not-a-token", 401)
	a.do("acknowledge", a.watch, 403)
	a.do("reset", a.watch, 403)
	a.do("reset", a.operate, 409)
	a.stands("unacknowledged")
}

// returned: with the danger over the alarm stays, unseen, a restart or not.
func (a *alarmed) returned() {
	a.t.Helper()
	a.bench.set(a.end)
	a.ear.AwaitNewest("alarm/"+a.alarm, `"state":"latched-unacknowledged"`, 10*time.Second)
	a.do("reset", a.operate, 409)
	a.stands("latched-unacknowledged")
	a.reborn()
	a.stands("latched-unacknowledged")
}

// released: acknowledged and reset by the operator.
func (a *alarmed) released() {
	a.t.Helper()
	a.do("acknowledge", a.operate, 200)
	a.ear.AwaitNewest("alarm/"+a.alarm, `"state":"latched-acknowledged"`, 5*time.Second)
	a.stands("latched-acknowledged")
	a.do("acknowledge", a.operate, 409)
	a.do("reset", a.operate, 200)
	a.ear.AwaitNewest("alarm/"+a.alarm, `"state":"normal"`, 5*time.Second)
	if s := a.status(); s != nil {
		a.t.Errorf("after the reset /api/alarms says %v", s)
	}
	a.do("reset", a.operate, 409)
}

// journal: the database and the wire tell the same story, once each, with who
// did what.
func (a *alarmed) journal() {
	a.t.Helper()
	got := sqlRows(a.t, a.bench.dir, fmt.Sprintf("SELECT state, who FROM alarm_event WHERE name = '%s' ORDER BY sequence", a.alarm))
	want := "unacknowledged|\nlatched-unacknowledged|\nlatched-acknowledged|demonstrator\nnormal|demonstrator"
	if got != want {
		a.t.Errorf("the journal says\n%s\nwant\n%s", got, want)
	}
	var wire []string
	for _, m := range a.ear.On("alarm/" + a.alarm) {
		if state := fmt.Sprint(m.Field("state")); len(wire) == 0 || wire[len(wire)-1] != state {
			wire = append(wire, state)
		}
	}
	if got := strings.Join(wire, " "); got != "unacknowledged latched-unacknowledged latched-acknowledged normal" {
		a.t.Errorf("the wire said %s", got)
	}
	if got := sqlRows(a.t, a.bench.dir, "SELECT who, count(*) FROM note WHERE kind = 'refused' GROUP BY who ORDER BY who"); got != "demonstrator|4\nunknown|2\nvisitor|2" {
		a.t.Errorf("the refusals are noted as\n%s", got)
	}
}

// An alarm is in the database before it is on the wire: while the disk hangs,
// states go on the same connection and the alarm does not, or says that it is
// not recorded.
func TestAlarmWaitsForTheDisk(t *testing.T) {
	t.Parallel()
	broker, at := daqtest.StartMosquitto(t, ""), daqtest.FreeAddress(t)
	bench, _ := newTimedBench(t)
	hang := filepath.Join(t.TempDir(), "hang")
	config := bench.config(at, "[alarms.water-overheat]\non_delay = \"0 s\"\n\n"+brokerTable(broker.URL(), 10*time.Second)+"every = \"100 ms\"\n")
	startWith(t, []string{"FLOWRIGD_DISK_HANG=" + hang}, faulty, "run", "--config", config)
	ear := broker.Listen("#")
	ear.AwaitNewest("state", `"temperature":"good"`, 15*time.Second)

	write(t, hang, "")
	bench.set(func(b *handBench) { b.celsius = 80 })
	standing := func() (n int) {
		for _, m := range ear.On("state") {
			if strings.Contains(m.Body, `"name":"water-overheat"`) {
				n++
			}
		}
		return n
	}
	within(t, 10*time.Second, "three states with the alarm in them", func() bool { return standing() >= 3 })
	for _, m := range ear.On("alarm/water-overheat") {
		if m.Field("recorded") != false {
			t.Errorf("told while the disk hung: %s", m.Body)
		}
	}
	must(t, os.Remove(hang))
	m := ear.AwaitNewest("alarm/water-overheat", `"recorded":true`, 10*time.Second)
	if row := sqlRows(t, bench.dir, fmt.Sprintf("SELECT name, state FROM alarm_event WHERE sequence = %v", m.Field("sequence"))); row != "water-overheat|unacknowledged" {
		t.Errorf("the database holds %q under the sequence of %s", row, m.Body)
	}
}
