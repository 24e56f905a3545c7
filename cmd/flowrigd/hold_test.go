//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// holdBench is a bench with a permit relay, a daemon beside it and a person with
// a token.
type holdBench struct {
	*relayBench
	at, file, token, record string
	daemon                  *process
	fault                   string // a file: while it exists, the disk of the faulty program is full
}

var holdTables = strings.Replace(relayTables, `modbus = {address = 9, coil = 0}`, `modbus = {address = 9, coil = 0}
watchdog = "20 s"`, 1) + `
[alarms.water-overheat]
on_delay = "0 s"
`

func newHoldBench(t *testing.T) *holdBench {
	t.Helper()
	b := &holdBench{relayBench: newRelayBench(t), at: daqtest.FreeAddress(t)}
	b.record, b.fault = filepath.Join(b.dir, "disk", "record"), filepath.Join(b.dir, "fault")
	must(t, os.Mkdir(filepath.Dir(b.record), 0o755))
	b.file = b.configAt(b.bus.name, b.at, b.record, holdTables)
	// A loaded machine may be late: only what a test does shall trip.
	write(t, b.file, strings.ReplaceAll(read(t, b.file), `stale_after = "1 s"`, `stale_after = "20 s"`))
	b.token = addToken(t, b.file, "operate", "demonstrator")
	return b
}

// newHolding is one whose daemon runs and has the permit.
func newHolding(t *testing.T) *holdBench {
	t.Helper()
	b := newHoldBench(t)
	b.start()
	if got := b.give(); got != 200 {
		t.Fatalf("giving the permit: %d", got)
	}
	within(t, 5*time.Second, "the relay is energised", func() bool { return b.last().on })
	return b
}

func (b *holdBench) start() {
	b.t.Helper()
	b.daemon = startWith(b.t, []string{"FLOWRIGD_DISK_FULL=" + b.fault}, faulty, "run", "--config", b.file)
	within(b.t, 15*time.Second, "a good state", func() bool { return allGood(now(b.at)) })
}

func (b *holdBench) kill() {
	b.t.Helper()
	b.daemon.signal(syscall.SIGKILL)
	<-b.daemon.done
}

// permitFile is what the bench's daemon keeps beside its tokens.
func (b *holdBench) permitFile() string {
	return filepath.Join(b.dir, "permit-north-hall,bench-3.json")
}

func (b *holdBench) tripped() []string { return trippedAt(b.at) }

// trippedAt is what holds the permit, sorted.
func trippedAt(at string) []string {
	_, body := get("http://" + at + "/api/permit")
	var p struct{ Tripped []string }
	if json.Unmarshal([]byte(body), &p) != nil {
		return []string{"no answer: " + body}
	}
	slices.Sort(p.Tripped)
	return p.Tripped
}

// trip overheats the water until the alarm holds the permit and the file says so.
func (b *holdBench) trip() {
	b.t.Helper()
	b.set(func(*handBench) { b.celsius = 80 })
	within(b.t, 10*time.Second, "the trip", func() bool { return slices.Contains(b.tripped(), "water-overheat") })
	b.set(func(*handBench) { b.celsius = 42 })
}

// kept waits until the file names an alarm, or does not any more.
func (b *holdBench) kept(name string, want bool) {
	b.t.Helper()
	within(b.t, 5*time.Second, "the permit file follows", func() bool {
		text, err := os.ReadFile(b.permitFile())
		return err == nil && strings.Contains(string(text), name) == want
	})
}

// journalled waits until the file says that the recording has the trip.
func (b *holdBench) journalled() {
	b.t.Helper()
	within(b.t, 5*time.Second, "the trip in the recording", func() bool {
		text, _ := os.ReadFile(b.permitFile())
		return strings.Contains(string(text), `"sequence"`)
	})
}

// end acknowledges and resets an alarm.
func (b *holdBench) end(name string) {
	b.t.Helper()
	for _, verb := range []string{"acknowledge", "reset"} {
		within(b.t, 10*time.Second, verb, func() bool {
			status, _, _ := post(b.t, "http://"+b.at+"/api/alarms/"+name+"/"+verb, b.token, "{}")
			return status == 200
		})
	}
}

func (b *holdBench) give() int {
	b.t.Helper()
	status, _, _ := post(b.t, "http://"+b.at+"/api/permit", b.token, `{"action":"give"}`)
	return status
}

// holds wants the permit held by these, and refused to a person; or given where
// nothing holds it.
func (b *holdBench) holds(want ...string) {
	b.t.Helper()
	status := 200
	if len(want) > 0 {
		status = 409
	}
	if got := b.tripped(); !slices.Equal(got, want) {
		b.t.Errorf("the permit is held by %q, want %q", got, want)
	}
	if got := b.give(); got != status {
		b.t.Errorf("giving the permit: %d, want %d", got, status)
	}
}

// TestATripOutlivesItsRecording kills the daemon after a trip and takes
// recording, permit file or both away: whatever can be known stands, and what
// cannot is held by an alarm of its own.
func TestATripOutlivesItsRecording(t *testing.T) {
	t.Parallel()
	const trip, unread = "water-overheat", "journal-unread"
	remove := func(path string) func(*holdBench) {
		return func(b *holdBench) {
			must(b.t, os.RemoveAll(strings.Replace(path, "PERMIT", b.permitFile(), 1)))
		}
	}
	record := func(b *holdBench) { remove(b.record)(b) }
	for _, c := range []struct {
		name   string
		before func(*holdBench) // the first start
		meanwhile,
		after func(*holdBench) // around the kill
		want []string
	}{
		{name: "nothing is lost", want: []string{trip}},
		{name: "the disk is full", meanwhile: func(b *holdBench) { write(b.t, b.fault, "") }, after: func(b *holdBench) { must(b.t, os.Remove(b.fault)) }, want: []string{trip}},
		{name: "there is no directory, and none later", before: func(b *holdBench) {
			record(b)
			write(b.t, b.record, "")
		}, want: []string{unread, trip}},
		{name: "there is no directory, but later", before: func(b *holdBench) {
			write(b.t, b.record, "")
		}, after: record, want: []string{unread, trip}},
		{name: "the recording is removed", after: record, want: []string{unread, trip}},
		{name: "the recording is damaged", after: func(b *holdBench) {
			record(b)
			must(b.t, os.Mkdir(b.record, 0o755))
			write(b.t, filepath.Join(b.record, "flowrig.db"), strings.Repeat("no database any more ", 100))
		}, want: []string{unread, trip}},
		{name: "the permit file is removed", after: remove("PERMIT"), want: []string{unread, trip}},
		{name: "the permit file is cut off", after: func(b *holdBench) { write(b.t, b.permitFile(), `{"recording":`) }, want: []string{unread, trip}},
		{name: "both are removed", after: func(b *holdBench) { record(b); remove("PERMIT")(b) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newHoldBench(t)
			do := func(f func(*holdBench)) {
				if f != nil {
					f(b)
				}
			}
			do(c.before)
			b.start()
			if got := b.tripped(); len(got) != 0 {
				t.Fatalf("a first start is held by %q", got)
			}
			do(c.meanwhile)
			b.trip()
			b.kept(trip, true)
			if c.before == nil && c.meanwhile == nil { // with a disk: what is taken away afterwards is not all there is
				b.journalled()
			}
			b.kill()
			do(c.after)
			b.start()
			b.holds(c.want...)
			if slices.Contains(c.want, unread) {
				b.kill() // it holds until a person ends it
				b.start()
				b.holds(c.want...)
			}
			for _, name := range c.want {
				b.end(name)
			}
			if len(c.want) > 0 {
				b.holds()
			}
		})
	}
}

// TestAResetOutlivesItsRecording: what a person has reset does not come back,
// with and without a disk at that time.
func TestAResetOutlivesItsRecording(t *testing.T) {
	t.Parallel()
	for _, full := range []bool{false, true} {
		b := newHoldBench(t)
		b.start()
		b.trip()
		b.journalled()
		if full {
			write(t, b.fault, "")
		}
		b.end("water-overheat")
		b.kept(`"tripped"`, false)
		b.kill()
		if full {
			must(t, os.Remove(b.fault))
		}
		b.start()
		b.holds()
	}
}

// TestAPermitFileThatCannotBeWritten is said by log, metrics and /readyz; a trip
// that is kept nowhere makes the end a failure.
func TestAPermitFileThatCannotBeWritten(t *testing.T) {
	t.Parallel()
	b := newHoldBench(t)
	b.start()
	within(t, 10*time.Second, "the permit file is there, and removed", func() bool { return os.Remove(b.permitFile()) == nil })
	must(t, os.MkdirAll(filepath.Join(b.permitFile(), "in the way"), 0o755))
	write(t, b.fault, "")
	b.trip()
	within(t, 5*time.Second, "/readyz names it", func() bool {
		status, body := get("http://" + b.at + "/readyz")
		return status == 503 && strings.Contains(body, "permit file")
	})
	within(t, 5*time.Second, "the log says it", func() bool {
		return strings.Contains(b.daemon.err.String(), "what holds the heating permit is not kept outside the recording")
	})
	if n := metric(b.at, "flowrig_record_permit_file_failed_total"); n < 1 {
		t.Errorf("%v failed writes are counted", n)
	}
	b.daemon.ends(exitFailed)
	says(t, "the end", b.daemon.err.String(), "the trip of water-overheat is kept nowhere")
	must(t, os.Remove(b.fault))
	b.start()
	b.holds("journal-unread") // a file that cannot be read
}

// TestTheSecondDaemonStandsBy starts a second daemon on a recording: it touches
// neither lines nor relay, and gives no permit. When the first has tripped and
// is gone, it takes over what stands in the recording by then.
func TestTheSecondDaemonStandsBy(t *testing.T) {
	t.Parallel()
	first := newHolding(t)
	second := *first
	second.at = daqtest.FreeAddress(t)
	second.file = write(t, filepath.Join(first.dir, "second.toml"), strings.Replace(read(t, first.file), first.at, second.at, 1))
	second.daemon = start(t, program, "run", "--config", second.file)
	within(t, 10*time.Second, "the second says why it does nothing", func() bool {
		status, body := get("http://" + second.at + "/readyz")
		return status == 503 && strings.Contains(body, "another flowrigd records here")
	})
	second.holds("journal-unread")
	status, body := get("http://" + second.at + "/api/permit")
	if status != 200 || !strings.Contains(body, `"given":null,"permitted":null`) {
		t.Errorf("of the permit that the first has given, the second says %d %s", status, body)
	}
	if _, body = get("http://" + second.at + "/"); !strings.Contains(body, "<strong>Unknown here</strong>: another flowrigd has the relay") || strings.Contains(body, "the heater may not heat") || strings.Contains(body, "reset to allow heating") {
		t.Errorf("the second's page: %s", body)
	}
	for _, c := range []string{"permit", "alarms/journal-unread/acknowledge"} {
		status, _, why := post(t, "http://"+second.at+"/api/"+c, first.token, map[string]string{"permit": `{"action":"withdraw"}`}[c])
		if status != 409 || !strings.Contains(why, "this flowrigd stands by") {
			t.Errorf("%s of the second is answered %d %s", c, status, why)
		}
	}
	if _, body = get("http://" + second.at + "/metrics"); strings.Contains(body, "\nflowrig_heating_permitted{") || !strings.Contains(body, "\nflowrig_alarm_active{") {
		t.Error("the second's metrics tell how the permit stands, or no alarm")
	}
	if !first.firstDrop().IsZero() || !allGood(now(first.at)) {
		t.Error("the second one has dropped the first one's permit, or taken its lines")
	}
	first.trip()
	first.kept("water-overheat", true) // a kill before that may lose what nobody was told yet
	first.kill()
	within(t, 15*time.Second, "the second takes over", func() bool { return allGood(now(second.at)) })
	second.holds("water-overheat")
	if n := number(now(second.at), "sequence"); n < 1 {
		t.Errorf("its newest row is %v", n)
	}
	second.end("water-overheat")
	second.holds()
	second.daemon.ends(exitDone)
}

// TestALateRecordingWithATrip: a daemon whose disk was away at its first start
// gave the permit; the disk brings a recording in which a trip stands.
func TestALateRecordingWithATrip(t *testing.T) {
	t.Parallel()
	b := newHoldBench(t)
	away := tripJournal(t)
	write(t, b.record, "not mounted yet")
	b.start()
	b.holds()
	must(t, os.Remove(b.record))
	must(t, os.Rename(away, b.record))
	within(t, 15*time.Second, "the trip stands", func() bool { return slices.Contains(b.tripped(), "water-overheat") })
	within(t, 5*time.Second, "the relay drops", func() bool { return !b.last().on })
	within(t, 15*time.Second, "a good state", func() bool { return allGood(now(b.at)) })
	b.holds("water-overheat")
	b.daemon.ends(exitDone)
}

// TestALostDatabaseIsGoneOnFrom removes the database of a daemon that works,
// with alarms that stand: nothing is told as recorded that is not, and another
// recording goes on with the alarms and the trip.
func TestALostDatabaseIsGoneOnFrom(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		do   func(b *holdBench) error
	}{
		{"removed with its directory", func(b *holdBench) error { return os.RemoveAll(b.record) }},
		{"moved away", func(b *holdBench) error {
			return os.Rename(filepath.Join(b.record, "flowrig.db"), filepath.Join(b.dir, "moved.db"))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b, w := newHoldBench(t), callWitness(t)
			write(t, b.file, strings.Replace(read(t, b.file), "\n[http]", mqttTable(w.url)+"\n[http]", 1))
			b.start()
			b.trip()
			if status, _, why := post(t, "http://"+b.at+"/api/alarms/head-lost/shelve", b.token, `{"for":"30 min","reason":"test"}`); status != 200 {
				t.Fatal(status, why)
			}
			within(t, 10*time.Second, "rows are told", func() bool { return w.last("record") != nil })
			before := fmt.Sprint(now(b.at)["recording"])
			must(t, c.do(b))
			within(t, 20*time.Second, "another recording has rows", func() bool {
				s := now(b.at)
				return allGood(s) && s["recording"] != nil && s["recording"] != before && s["sequence"] != nil
			})
			within(t, 20*time.Second, "its rows are told from the first on", func() bool {
				return w.find("record", func(h heard) bool { return h.body["recording"] != before && h.sequence() == 1 }) != nil
			})
			b.holds("water-overheat")
			_, alarms := get("http://" + b.at + "/api/alarms")
			says(t, "/api/alarms", alarms, `"head-lost","state":"shelved"`)
			if text := sqlRows(t, filepath.Dir(b.record), `SELECT text FROM note WHERE kind = 'gap'`); !strings.Contains(text, before) {
				t.Errorf("no note on the recording before: %q", text)
			}
			b.kill()
			b.toldIsThere(w, before)
			b.start()
			b.holds("water-overheat")
			_, alarms = get("http://" + b.at + "/api/alarms")
			says(t, "/api/alarms after a restart", alarms, `"head-lost","state":"shelved"`)
		})
	}
}

// toldIsThere holds that each alarm told as recorded in the recording after the
// lost one stands in it.
func (b *holdBench) toldIsThere(w *witness, lost string) {
	b.t.Helper()
	n := 0
	for _, h := range w.all() {
		if !strings.HasPrefix(h.topic, "alarm/") || h.body["recorded"] != true || h.body["recording"] == lost {
			continue
		}
		n++
		query := fmt.Sprintf(`SELECT name, state FROM alarm_event WHERE sequence = %d`, h.sequence())
		if got, want := sqlRows(b.t, filepath.Dir(b.record), query), fmt.Sprint(h.body["name"], "|", h.body["state"]); got != want {
			b.t.Errorf("told as recorded: %s, the recording has %q", h.text, got)
		}
	}
	if n < 2 {
		b.t.Errorf("%d alarms were told from the new recording", n)
	}
}
