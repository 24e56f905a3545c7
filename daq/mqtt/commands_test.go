//go:build unix

package mqtt

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// obedient is an engine that does what it is asked, or refuses.
type obedient struct {
	mu    sync.Mutex
	heard []daq.Command
	made  []byte
	deny  error
	hold  chan struct{} // it answers when this is closed; nil: at once
}

func (o *obedient) do(ctx context.Context, c daq.Command) ([]byte, error) {
	o.mu.Lock()
	o.heard = append(o.heard, c)
	made, deny, hold := o.made, o.deny, o.hold
	o.mu.Unlock()
	if hold != nil {
		select {
		case <-hold:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	return made, deny
}

func (o *obedient) all() []daq.Command {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.Clone(o.heard)
}

// commanded runs a publisher that takes commands.
func commanded(t *testing.T, b *bench, m *daqtest.Mosquitto, o *obedient) *daqtest.Listener {
	t.Helper()
	p := b.publisher(t, m.URL())
	e, _ := runCommanded(t, p, m, o)
	return e
}

func runCommanded(t *testing.T, p *Publisher, m *daqtest.Mosquitto, o *obedient) (e *daqtest.Listener, stop func()) {
	t.Helper()
	p.config.Commands = true
	p.commands = newCommands(p, o.do, &Past{})
	e = m.Listen("#")
	stop = start(t, p)
	e.Await("presence", `"up":true`, 10*time.Second)
	var told time.Time
	until(t, "commands are heard", 20*time.Second, func() bool {
		if time.Since(told) > time.Second { // before the subscription nobody hears it
			tell(t, m, "command/nothing", `{"id":"first"}`)
			told = time.Now()
		}
		return len(e.On("reply/nothing")) > 0
	})
	return e, stop
}

// tell publishes to the broker as anybody may.
func tell(t *testing.T, m *daqtest.Mosquitto, topic, body string, flags ...string) {
	t.Helper()
	args := append([]string{"-h", "127.0.0.1", "-p", m.Port, "-q", "1", "-t", daqtest.Topics + topic, "-m", body}, flags...)
	if out, err := exec.Command(daqtest.Program(t, "mosquitto_pub", "mosquitto-clients"), args...).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

// TestCommandsAreObeyedOrRefused: each verb reaches the engine with what was asked, and
// who; what is wrong is refused with the reason, and never reaches it.
func TestCommandsAreObeyedOrRefused(t *testing.T) {
	t.Parallel()
	m, o := daqtest.StartMosquitto(t, ""), &obedient{made: []byte(`{"sequence":7,"who":"x","id":"y"}`)}
	e := commanded(t, newBench(), m, o)
	for i, c := range []struct{ verb, body, refused string }{
		{"acknowledge", `{"id":"N","alarm":"head-lost"}`, ""},
		{"shelve", `{"id":"N","alarm":"head-lost","for":"30 min","reason":"the pump"}`, ""},
		{"observe", `{"id":"N","seen":"laminar","note":"still"}`, ""},
		{"capture", `{"id":"N"}`, ""},
		{"acknowledge", `{"id":"N"}`, "alarm: which one?"},
		{"acknowledge", `{"id":"N","alarm":"head-lost","for":"1 min"}`, "only shelve has a length"},
		{"shelve", `{"id":"N","alarm":"head-lost","for":"30 min"}`, "shelving needs one"},
		{"shelve", `{"id":"N","alarm":"head-lost","for":"30 h","reason":"x"}`, "longer than a day"},
		{"observe", `{"id":"N","seen":"wavy"}`, "not what a dye thread shows"},
		{"observe", `{"id":"N","seen":"laminar","more":1}`, "unknown key"},
		{"observe", `{"id":"N","seen":"laminar","seen":"turbulent"}`, "stands there twice"},
		{"capture", `{"id":"N","point":"` + strings.Repeat("x", 1001) + `"}`, "more than are kept"},
		{"capture", `{"id":"N"} {}`, "more follows"},
		{"give", `{"id":"N"}`, "there are acknowledge, shelve, observe, capture, resend"},
		{"resend", `{"id":"N","class":"sample","from":1,"to":2}`, "is not one"},
		{"resend", `{"id":"N","class":"record","from":1,"to":1001}`, "ask for 1000 at most"},
		{"resend", `{"id":"N","class":"record","from":3,"to":2}`, "are not sequences"},
		{"resend", `{"id":"N","class":"record","from":1,"to":2}`, "nothing is recorded"},
	} {
		id, before := fmt.Sprintf("n %d", i), len(o.all())
		tell(t, m, "command/"+c.verb, strings.Replace(c.body, `"N"`, `"`+id+`"`, 1))
		marker := `"id":"` + id + `"`
		if strings.Contains(c.refused, "more follows") { // its id cannot be read
			marker = `"id":""`
		}
		reply := e.Await("reply/"+c.verb, marker, 10*time.Second)
		heard := o.all()[before:]
		if why, _ := reply.Field("refused").(string); c.refused != "" {
			if !strings.Contains(why, c.refused) || len(heard) > 0 || reply.Field("done") != nil {
				t.Errorf("%s %.80s: %s, want %q", c.verb, c.body, reply.Body, c.refused)
			}
			continue
		}
		if reply.Field("done") != true || reply.Field("who") != "mqtt "+id || reply.Field("sequence") != 7.0 || reply.Retained ||
			len(heard) != 1 || string(heard[0].Verb()) != c.verb || heard[0].Who != "mqtt "+id {
			t.Errorf("%s %s: %s, %+v", c.verb, c.body, reply.Body, heard)
		}
	}
	if got := o.all(); got[1].Ask.(*daq.ShelveAsk).For != 30*time.Minute || got[2].Ask.(*daq.ObserveAsk).Note != "still" {
		t.Errorf("asked: %+v %+v", got[1].Ask, got[2].Ask)
	}
	for _, id := range []string{``, strings.Repeat("i", 65), `a\nb`} {
		before := len(e.On("reply/capture"))
		tell(t, m, "command/capture", `{"id":"`+id+`"}`)
		until(t, "a refusal", 10*time.Second, func() bool { return len(e.On("reply/capture")) > before })
		if r := e.Newest("reply/capture"); !strings.Contains(r.Body, "1 to 64 printable characters") {
			t.Errorf("id %q: %s", id, r.Body)
		}
	}
	o.mu.Lock()
	o.deny = errors.New("capture: refused: only 2.0 s are known yet")
	o.mu.Unlock()
	tell(t, m, "command/capture", `{"id":"denied"}`)
	if r := e.Await("reply/capture", `"id":"denied"`, 10*time.Second); r.Field("refused") != o.deny.Error() {
		t.Errorf("refused by the engine: %s", r.Body)
	}
}

// TestACommandIsObeyedOnce: one that comes again, as QoS 1 allows, has the same reply and
// is not obeyed again; its id is no other command's; a retained one is never obeyed.
func TestACommandIsObeyedOnce(t *testing.T) {
	t.Parallel()
	m, o := daqtest.StartMosquitto(t, ""), &obedient{}
	tell(t, m, "command/capture", `{"id":"kept"}`, "-r")
	e := commanded(t, newBench(), m, o)
	if r := e.Await("reply/capture", `"id":"kept"`, 10*time.Second); !strings.Contains(r.Body, "retained") || r.Field("done") != nil {
		t.Errorf("a retained command: %s", r.Body)
	}
	for range 3 {
		tell(t, m, "command/observe", `{"id":"one","seen":"laminar"}`)
	}
	until(t, "three replies", 10*time.Second, func() bool { return len(e.On("reply/observe")) == 3 })
	for _, r := range e.On("reply/observe") {
		if r.Body != e.On("reply/observe")[0].Body || r.Field("done") != true {
			t.Errorf("reply %s", r.Body)
		}
	}
	tell(t, m, "command/observe", `{"id":"one","seen":"turbulent"}`)
	e.Await("reply/observe", "that of another command", 10*time.Second)
	if got := o.all(); len(got) != 1 {
		t.Errorf("the engine heard %d commands", len(got))
	}
}

// TestAFloodOfCommandsHoldsUpNothing: while the engine does not answer, commands are
// refused at once or as too old, none of them is obeyed later, and alarms go on.
func TestAFloodOfCommandsHoldsUpNothing(t *testing.T) {
	t.Parallel()
	m, o, b := daqtest.StartMosquitto(t, ""), &obedient{}, newBench()
	e := commanded(t, b, m, o)
	hold := make(chan struct{})
	o.mu.Lock()
	o.hold = hold
	o.mu.Unlock()
	tell(t, m, "command/capture", `{"id":"held"}`)
	until(t, "the engine is busy", 10*time.Second, func() bool { return len(o.all()) == 1 })
	const flood = 3 * commandsWaiting
	cmd := exec.Command(daqtest.Program(t, "mosquitto_pub", "mosquitto-clients"), "-h", "127.0.0.1", "-p", m.Port, "-q", "1", "-l", "-t", daqtest.Topics+"command/capture")
	var lines strings.Builder
	for i := range flood {
		fmt.Fprintf(&lines, "{\"id\":\"f%d\"}\n", i)
	}
	cmd.Stdin = strings.NewReader(lines.String())
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v %s", err, out)
	}
	until(t, "what finds no room is refused", 10*time.Second, func() bool { return len(e.On("reply/capture")) == flood-commandsWaiting })
	b.feed.add(daq.ClassAlarm, "head-lost")
	e.Await("alarm/head-lost", "unacknowledged", 10*time.Second)
	asked := time.Now()
	until(t, "those that wait are too old", 10*time.Second, func() bool { return time.Since(asked) > commandLife })
	close(hold)
	until(t, "each has its reply", 20*time.Second, func() bool { return len(e.On("reply/capture")) == flood+1 })
	if got := o.all(); len(got) != 1 {
		t.Errorf("the engine heard %d commands", len(got))
	}
	busy, late := 0, 0
	for _, r := range e.On("reply/capture") {
		switch why, _ := r.Field("refused").(string); {
		case strings.Contains(why, "too many commands at once"):
			busy++
		case strings.Contains(why, "more than 2 s ago"):
			late++
		}
	}
	if busy+late != flood || late != commandsWaiting {
		t.Errorf("%d busy and %d too old of %d", busy, late, flood)
	}
}

// TestTheEndAnswersEveryCommand: when a publisher ends, with the program or because a reload
// replaces it, the command under way is answered as it was obeyed, and those that wait, or
// come meanwhile, are refused: the broker gives none of them again.
func TestTheEndAnswersEveryCommand(t *testing.T) {
	t.Parallel()
	m, o := daqtest.StartMosquitto(t, ""), &obedient{hold: make(chan struct{})}
	p := newBench().publisher(t, m.URL())
	p.pace.grace = 9 * time.Second
	e, stop := runCommanded(t, p, m, o)
	tell(t, m, "command/observe", `{"id":"held","seen":"laminar"}`)
	until(t, "the engine is busy", 10*time.Second, func() bool { return len(o.all()) == 1 })
	tell(t, m, "command/observe", `{"id":"waits","seen":"laminar"}`)
	until(t, "another waits", 10*time.Second, func() bool { return len(p.commands.queue) == 1 })
	ended := make(chan struct{})
	go func() { stop(); close(ended) }()
	e.Await("presence", `"up":false`, 10*time.Second)
	tell(t, m, "command/observe", `{"id":"late","seen":"laminar"}`)
	until(t, "it is heard", 5*time.Second, func() bool { return len(p.commands.queue) == 2 })
	close(o.hold)
	if r := e.Await("reply/observe", `"id":"held"`, 10*time.Second); r.Field("done") != true {
		t.Errorf("what the engine did: %s", r.Body)
	}
	for _, id := range []string{"waits", "late"} {
		if r := e.Await("reply/observe", `"id":"`+id+`"`, 10*time.Second); !strings.Contains(r.Body, "nothing was done; ask again") {
			t.Errorf("%s: %s", id, r.Body)
		}
	}
	<-ended
	if got := o.all(); len(got) != 1 {
		t.Errorf("the engine heard %d commands", len(got))
	}
	p.commands.hear(nil, fakeCommand("command/observe"))
	select {
	case list := <-p.commands.replies:
		if !strings.Contains(string(list[0].body), "ask again") {
			t.Errorf("heard behind the end: %s", list[0].body)
		}
	default:
		t.Error("what is heard behind the end has no answer")
	}
}

// TestWhatWasAnsweredOutlivesAReload: the same id after a reload has the reply that it had,
// and is not obeyed again.
func TestWhatWasAnsweredOutlivesAReload(t *testing.T) {
	var past Past
	o := &obedient{made: []byte(`{"sequence":7}`)}
	h := heard{verb: "observe", body: []byte(`{"id":"a","seen":"laminar"}`), at: time.Now()}
	obey := func() []outgoing {
		b := newBench()
		p, err := New(Options{Config: config.MQTT{Broker: "tcp://127.0.0.1:1", Topic: "flowrig", Commands: true},
			Site: "north-hall", Rig: "bench-3", Feed: b.feed, State: b, Alive: func() bool { return true }, Do: o.do, Past: &past})
		if err != nil {
			t.Fatal(err)
		}
		return p.commands.obey(t.Context(), h)
	}
	first, again := obey(), obey()
	if len(o.all()) != 1 || string(first[0].body) != string(again[0].body) || !strings.Contains(string(first[0].body), `"done":true`) {
		t.Errorf("obeyed %d times, answered %s and %s", len(o.all()), first[0].body, again[0].body)
	}
}

// fakeCommand is a message of paho's of which only topic and body are asked.
type fakeCommand string

func (f fakeCommand) Topic() string   { return string(f) }
func (fakeCommand) Payload() []byte   { return []byte(`{"id":"x"}`) }
func (fakeCommand) Retained() bool    { return false }
func (fakeCommand) Duplicate() bool   { return false }
func (fakeCommand) Qos() byte         { return 1 }
func (fakeCommand) MessageID() uint16 { return 1 }
func (fakeCommand) Ack()              {}

// TestResend publishes recorded messages once more with their identity; of an alarm the
// newest comes last, and what the broker retains stays.
func TestResend(t *testing.T) {
	t.Parallel()
	m, b := daqtest.StartMosquitto(t, ""), newBench()
	for range 40 {
		b.feed.add(daq.ClassRecord, "")
	}
	for _, name := range []string{"head-lost", "water-overheat", "head-lost"} {
		b.feed.add(daq.ClassAlarm, name)
	}
	b.standing("head-lost", "water-overheat")
	e := commanded(t, b, m, &obedient{})
	until(t, "all is told once", 10*time.Second, func() bool { return b.feed.mark(daq.ClassRecord) == 40 && b.feed.mark(daq.ClassAlarm) == 3 })
	before := len(e.On("record"))
	tell(t, m, "command/resend", `{"id":"r","class":"record","from":3,"to":38}`)
	if r := e.Await("reply/resend", `"id":"r"`, 10*time.Second); r.Field("done") != true || r.Field("sent") != 36.0 || r.Field("from") != 3.0 {
		t.Errorf("reply %s", r.Body)
	}
	again := e.On("record")[before:]
	for i, r := range again {
		if n := sequenceOf(t, r.Body); n != int64(i+3) {
			t.Errorf("record %d comes as number %d", n, i)
		}
	}
	if len(again) != 36 {
		t.Errorf("%d records came again before the reply", len(again))
	}
	if kept := m.Retained("reply/resend").Body + m.Retained("record").Body; kept != "" {
		t.Errorf("the broker retains %s", kept)
	}
	newest := m.Retained("alarm/head-lost").Body
	before = len(e.On("alarm/head-lost"))
	tell(t, m, "command/resend", `{"id":"a","class":"alarm","from":1,"to":2}`)
	e.Await("reply/resend", `"id":"a"`, 10*time.Second)
	var sequences []int64
	for _, a := range e.On("alarm/head-lost")[before:] {
		sequences = append(sequences, sequenceOf(t, a.Body))
	}
	if !slices.Equal(sequences, []int64{1, 3}) || m.Retained("alarm/head-lost").Body != newest || sequenceOf(t, newest) != 3 {
		t.Errorf("head-lost came again as %v; retained is %s", sequences, newest)
	}
}

// TestNoCommandsUnlessAllowed holds that nothing is subscribed where the configuration
// does not say so.
func TestNoCommandsUnlessAllowed(t *testing.T) {
	t.Parallel()
	m, b := daqtest.StartMosquitto(t, ""), newBench()
	p := b.publisher(t, m.URL())
	if p.commands != nil {
		t.Error("a publisher takes commands by itself")
	}
	e := m.Listen("#")
	start(t, p)
	e.Await("state", "reynolds_number", 10*time.Second)
	tell(t, m, "command/capture", `{"id":"x"}`)
	e.Await("command/capture", `"x"`, 10*time.Second)
	b.feed.add(daq.ClassEvent, "") // what comes later than any reply would
	e.Await("event", `"sequence":1`, 10*time.Second)
	if r := e.On("reply/capture"); len(r) > 0 {
		t.Errorf("replies %v", r)
	}
}
