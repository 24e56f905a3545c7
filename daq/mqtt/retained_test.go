//go:build unix

package mqtt

import (
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

func left(name, state, recording string) string {
	sequence := int64(0)
	if recording != "" {
		sequence = 7
	}
	at := time.Date(2026, 3, 1, 11, 0, 0, 0, time.UTC)
	return string(daq.AppendAlarm(nil, &daq.AlarmEvent{Name: name, State: state, Priority: "high", Time: at}, recording, sequence))
}

// TestRetainedIsWhatTheRigSays leaves at the broker what another daemon, an
// earlier recording, a past configuration or a stranger may have left there.
// Some seconds after the connection the broker retains the standing alarms as
// the rig has them, each recorded one with its identity, and no other that is
// not normal.
func TestRetainedIsWhatTheRigSays(t *testing.T) {
	t.Parallel()
	const other = "5d4e3c2b-0000-4000-8000-000000000000"
	m := daqtest.StartMosquitto(t, "")
	for name, state := range map[string]string{
		"water-overheat": "unacknowledged", // normal here, and never was anything else
		"head-lost":      "unacknowledged", // stands here too, recorded
		"no-such-alarm":  "latched-acknowledged",
		"journal-unread": "acknowledged", // stands here in another state, without a message
		"told-only":      "unacknowledged",
		"same-state":     "acknowledged", // stands here too, without a message
		"was-normal":     "normal",       // and is here, without a message
	} {
		m.Retain("alarm/"+name, left(name, state, other))
	}
	m.Retain("alarm/nonsense", "not JSON")
	m.Retain("alarm/back-again", left("back-again", "unacknowledged", "")) // told without the disk by a daemon that is gone
	b := newBench()
	b.feed.add(daq.ClassAlarm, "head-lost")
	b.feed.add(daq.ClassAlarm, "told-only") // acknowledged since, which is not on disk
	b.feed.marks[daq.ClassAlarm] = 2        // delivered long ago
	b.standing("head-lost", "journal-unread", "told-only", "same-state")
	b.last.Load().Alarms[1].State = "latched-unacknowledged"
	b.last.Load().Alarms[2].State = "acknowledged"
	b.last.Load().Alarms[3].State = "acknowledged"
	start(t, b.publisher(t, m.URL()))
	var got map[string]string
	wrong := func() (why string) {
		got = kept(m)
		for name, want := range map[string][]string{
			"head-lost":      {`"sequence":1,`, testRecording, `"state":"unacknowledged"`},
			"journal-unread": {`"state":"latched-unacknowledged"`, `"recorded":false`},
			"told-only":      {`"state":"acknowledged"`, `"recorded":false`},
			"same-state":     {`"state":"acknowledged"`, `"recorded":false`},
		} {
			for _, part := range want {
				if !strings.Contains(got[name], part) {
					return name + " without " + part
				}
			}
		}
		if names := slices.Sorted(maps.Keys(got)); len(names) != 4 {
			return strings.Join(names, ", ") + " are retained"
		}
		return ""
	}
	deadline := time.Now().Add(5 * time.Second)
	for why := wrong(); why != ""; why = wrong() {
		if time.Now().After(deadline) {
			t.Fatalf("%s: %v", why, got)
		}
	}
}

// TestRetainedIsPutRightWhileConnected: somebody writes to the topics of alarms,
// or clears one, long after the connection. Soon the broker retains what the rig
// says again.
func TestRetainedIsPutRightWhileConnected(t *testing.T) {
	t.Parallel()
	m, b := daqtest.StartMosquitto(t, ""), newBench()
	b.feed.add(daq.ClassAlarm, "head-lost")
	b.standing("head-lost")
	start(t, b.publisher(t, m.URL()))
	right := func() bool {
		got := kept(m)
		return len(got) == 1 && strings.Contains(got["head-lost"], `"state":"unacknowledged"`) && strings.Contains(got["head-lost"], testRecording)
	}
	until(t, "the alarm is retained", 5*time.Second, right)
	e := m.Listen("#")
	until(t, "states past the look at the start", 5*time.Second, func() bool { return len(e.On("state")) > 30 })
	ours := left("head-lost", "normal", testRecording)
	for name, write := range map[string]func(){
		"another state":       func() { m.Retain("alarm/head-lost", left("head-lost", "normal", "")) },
		"under our identity":  func() { m.Retain("alarm/head-lost", strings.Replace(ours, `"sequence":7`, `"sequence":1`, 1)) },
		"an alarm of nowhere": func() { m.Retain("alarm/nonsense", left("nonsense", "unacknowledged", "")) },
		"no JSON":             func() { m.Retain("alarm/head-lost", "nonsense") },
		"cleared":             func() { m.Retain("alarm/head-lost", "") },
	} {
		write()
		until(t, name+": the broker retains what the rig says", 5*time.Second, right)
	}
}

// unopened is a feed without a recording behind it.
type unopened struct{ *memoryFeed }

func (unopened) Marked(string, daq.Class) (int64, error) { return 0, errors.New("no recording yet") }

func (unopened) Latest() (map[string]daq.Message, bool) { return nil, false }

type unrecorded struct{ *bench }

func (unrecorded) Recording() string { return "" }

// TestRetainedWithoutARecording: a disk that is away keeps nothing wrong at the
// broker.
func TestRetainedWithoutARecording(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	m.Retain("alarm/head-lost", left("head-lost", "unacknowledged", testRecording))
	m.Retain("alarm/water-overheat", left("water-overheat", "normal", testRecording))
	b := newBench()
	b.standing("water-overheat")
	p := b.publisher(t, m.URL())
	p.feed, p.state = unopened{b.feed}, unrecorded{b}
	p.backlog = newBacklog(p.feed, p.destination)
	start(t, p)
	until(t, "the broker retains what the rig says", 5*time.Second, func() bool {
		got := kept(m)
		return len(got) == 1 && strings.Contains(got["water-overheat"], `"state":"unacknowledged"`) && strings.Contains(got["water-overheat"], `"recorded":false`)
	})
}

// TestRepairOvertakesNothing: what is still to be sent for the first time is sent in
// its order, though the disk is slow to give it and the broker retains something else
// meanwhile.
func TestRepairOvertakesNothing(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	m.Retain("alarm/head-lost", left("head-lost", "acknowledged", testRecording))
	b := newBench()
	b.standing("head-lost")
	for range 100 { // more than is at hand
		b.feed.add(daq.ClassAlarm, "head-lost")
	}
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	e := m.Listen("#")
	start(t, b.publisher(t, m.URL()))
	e.Await("alarm/head-lost", `"recorded":false`, 5*time.Second)
	b.feed.hung.Store(nil)
	close(disk)
	e.Await("alarm/head-lost", `"sequence":100,`, 5*time.Second)
	var recorded []daqtest.Message
	for _, h := range e.On("alarm/head-lost") {
		if !h.Retained && strings.Contains(h.Body, `"recorded":true`) {
			recorded = append(recorded, h)
		}
	}
	gapFree(t, recorded, 100)
}

// TestRepairWaitsForWhatIsOnItsWay: an alarm has just come, and its message comes a
// little later than the look at the connection: it is told once, with its sequence.
func TestRepairWaitsForWhatIsOnItsWay(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	b.standing("head-lost")
	p := b.publisher(t, m.URL())
	p.pace.conclude = 10 * time.Second
	e := m.Listen("#")
	start(t, p)
	until(t, "states past the look", 5*time.Second, func() bool { return len(e.On("state")) > 20 })
	b.feed.add(daq.ClassAlarm, "head-lost")
	e.Await("alarm/head-lost", `"sequence":1,`, 5*time.Second)
	if all := e.On("alarm/head-lost"); len(all) != 1 {
		t.Errorf("told %v", all)
	}
}

// TestRepairGoesOnWhenTheDiskAnswers: a broker has forgotten an alarm that was
// delivered long ago, and the disk hangs at the start: it is told without a sequence,
// and with it once the disk has said what was delivered.
func TestRepairGoesOnWhenTheDiskAnswers(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	b.standing("head-lost")
	b.feed.add(daq.ClassAlarm, "head-lost")
	b.feed.marks[daq.ClassAlarm] = 1
	disk := make(chan struct{})
	b.feed.hung.Store(&disk)
	p := b.publisher(t, m.URL())
	p.pace.again = time.Hour
	e := m.Listen("#")
	start(t, p)
	e.Await("alarm/head-lost", `"recorded":false`, 5*time.Second)
	b.feed.hung.Store(nil)
	close(disk)
	e.Await("alarm/head-lost", `"sequence":1,`, 5*time.Second)
}

// TestUnknownAlarmsAreLeftAlone: before the engine has made a step nobody knows
// which alarms stand, and nothing is taken away.
func TestUnknownAlarmsAreLeftAlone(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	m.Retain("alarm/head-lost", left("head-lost", "unacknowledged", testRecording))
	b := newBench()
	b.last.Store(&daq.State{Time: time.Now()})
	start(t, b.publisher(t, m.URL()))
	e := m.Listen("#")
	until(t, "states past the repair", 5*time.Second, func() bool { return len(e.On("state")) > 30 })
	if got := kept(m); len(got) != 1 {
		t.Errorf("retained: %v", got)
	}
}

// TestQoSAndRetained is the table of the topics: what a late subscriber finds,
// and with which quality of service each topic is published.
func TestQoSAndRetained(t *testing.T) {
	t.Parallel()
	m := daqtest.StartMosquitto(t, "")
	b := newBench()
	b.standing("head-lost")
	e := m.Listen("#", "-F", "%U %r %t %q %p") // the later -F holds
	start(t, b.publisher(t, m.URL()))
	b.feed.add(daq.ClassRecord, "")
	b.feed.add(daq.ClassEvent, "")
	b.feed.add(daq.ClassAlarm, "head-lost")
	qos := map[string]string{"state": "0 ", "presence": "1 ", "record": "1 ", "event": "1 ", "alarm/head-lost": "1 "}
	for topic, want := range qos {
		if h := e.Await(topic, "{", 5*time.Second); !strings.HasPrefix(h.Body, want) {
			t.Errorf("%s came with QoS and text %.20s, want %s", topic, h.Body, want)
		}
	}
	until(t, "all acknowledged", 5*time.Second, func() bool { return b.feed.mark(daq.ClassRecord) == 1 && b.feed.mark(daq.ClassEvent) == 1 })
	late := m.Listen("#")
	for _, topic := range []string{"state", "presence", "alarm/head-lost"} {
		if h := late.Await(topic, "{", 5*time.Second); !h.Retained {
			t.Errorf("%s is not retained", topic)
		}
	}
	b.feed.add(daq.ClassRecord, "") // behind whatever is retained
	b.feed.add(daq.ClassEvent, "")
	for _, topic := range []string{"record", "event"} {
		late.Await(topic, `"sequence":2}`, 5*time.Second)
		if all := late.On(topic); len(all) != 1 {
			t.Errorf("a late subscriber got %v", all)
		}
	}
}
