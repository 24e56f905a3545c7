package engine

import (
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// judge watches an engine from outside and holds what no order of readings,
// commands, reloads and restarts may break. It knows the inputs and what came of
// them, and nothing of the engine. Its rules are those of ANSI/ISA-18.2 and
// IEC 62682 for the states, and of a heating permit that a person gives (off at
// every start, dropped by a trip, kept down until a reset and another give).
type judge struct {
	t         *testing.T
	latch     map[string]bool   // of each configured alarm
	trip      map[string]bool   // of each configured alarm
	states    map[string]string // by the last event of each alarm
	owes      map[string]bool   // a latched alarm that was raised and not reset since
	seen      bool              // a start
	hasPermit bool              // the configuration has one
	tripped   []string
	given     bool          // a person gave it and nothing has taken it away since
	proving   time.Duration // until when a proof test may keep it down
	limit     time.Duration // by when the permit must be down; 0: nothing endangers
	allowed   time.Duration // that it has to fall, from the danger or from a give after it
	danger    string
}

// proofLongest is more than any proof test of these tests lasts.
const proofLongest = 25 * time.Second

func newJudge(t *testing.T) *judge {
	return &judge{t: t, states: map[string]string{}, owes: map[string]bool{}}
}

// restarted is the judge of an engine that comes after a kill: it remembers what
// the journal does.
func (j *judge) restarted() *judge {
	next := *j
	next.given, next.proving = false, 0
	if next.limit != 0 {
		next.limit, next.danger = 0, ""
	}
	return &next
}

// endangered says that from now on the permit has so long to fall.
func (j *judge) endangered(now, allowed time.Duration, danger string) {
	j.limit, j.allowed, j.danger = now+allowed, allowed, danger
}

// safe ends a danger.
func (j *judge) safe() { j.limit, j.danger = 0, "" }

func (j *judge) adopt(cfg *config.Config) {
	j.hasPermit = cfg.Trip != nil
	j.latch, j.trip = map[string]bool{}, map[string]bool{}
	for _, a := range cfg.Alarms {
		j.latch[a.Name], j.trip[a.Name] = a.Latch, a.Trip
	}
}

// see judges one step. What is called for every one of them does without Helper,
// which looks up its caller and took a tenth of the tests' time.
func (j *judge) see(in daq.Input, before, after daq.State, events []daq.Event, reply *daq.Reply) {
	if in.Start != nil && in.Start.Config != nil {
		j.adopt(in.Start.Config)
	}
	if in.Kind == daq.KindStart {
		j.start(in, after)
	}
	obeyed := reply != nil && reply.Error == ""
	for _, e := range events {
		if e.Alarm != nil {
			j.transition(in, obeyed, e.Alarm)
		}
	}
	if in.Kind == daq.KindCommand && obeyed {
		j.obeyed(in, before, after)
	}
	j.latches(in, obeyed, after)
	j.output(in, after)
}

// start judges what comes back from the journal. A judge that has seen what came
// before knows it; a new one believes what the engine is given.
func (j *judge) start(in daq.Input, after daq.State) {
	j.t.Helper()
	if j.seen {
		return
	}
	j.seen = true
	for _, s := range in.Start.Alarms {
		j.states[s.Name] = s.State
		j.owes[s.Name] = j.latch[s.Name] && s.State != "normal" && s.State != "shelved" && s.State != "out-of-service"
		if s.Tripped && j.hasPermit {
			j.tripped = append(j.tripped, s.Name)
		}
	}
}

// obeyed judges what an obeyed command may do to the permit.
func (j *judge) obeyed(in daq.Input, before, after daq.State) {
	j.t.Helper()
	switch c := in.Command; c.Verb() {
	case daq.Give:
		if len(before.Tripped) > 0 {
			j.fail(in, "the permit was given while %v hold it", before.Tripped)
		}
		for _, id := range []quantity.ID{quantity.Temperature, quantity.Level} {
			if q := after.Quality[id]; !q.Usable() {
				j.fail(in, "the permit was given while %s is %s", id.Short(), q)
			}
		}
		for name, state := range j.states {
			if state == "out-of-service" && j.trip[name] && !slices.Contains(c.Ask.(*daq.GiveAsk).Without, name) {
				j.fail(in, "the permit was given without a word on %s, which is out of service", name)
			}
		}
		if j.given {
			j.fail(in, "the permit was given twice")
		}
		j.given = true
		if j.limit != 0 {
			j.limit = max(j.limit, in.Mono+j.allowed)
		}
	case daq.Withdraw:
		j.given, j.proving = false, 0
	case daq.ProofTest:
		if !j.given {
			j.fail(in, "a proof test of a permit that nobody gave")
		}
		j.proving = in.Mono + proofLongest
	}
}

// latches: what holds the permit is let go by a reset of that alarm alone.
func (j *judge) latches(in daq.Input, obeyed bool, after daq.State) {
	for _, name := range j.tripped {
		reset := in.Kind == daq.KindCommand && obeyed && in.Command.Verb() == daq.Reset && in.Command.Alarm() == name
		if !slices.Contains(after.Tripped, name) && !reset {
			j.fail(in, "%s held the permit and does not any more, and nobody reset it", name)
		}
	}
	j.tripped = slices.Clone(after.Tripped)
	if len(j.tripped) > 0 {
		j.given, j.proving = false, 0
	}
}

// output judges the permit itself.
func (j *judge) output(in daq.Input, after daq.State) {
	on, _ := after.Values.Get(quantity.HeatingPermitted)
	if (after.Permit || on != 0) && !j.given {
		j.fail(in, "the permit is on, and nobody gave it since the start, the last trip or the last drop")
	}
	if !after.Given || !after.Permit && in.Mono > j.proving {
		j.given = false // it fell; only a person gives it again
	}
	if after.Given && !j.given {
		j.fail(in, "the permit is said to be given, and nobody gave it")
	}
	if j.limit != 0 && in.Mono > j.limit && after.Permit {
		j.fail(in, "the permit is on %v after its time, with %s", in.Mono-j.limit, j.danger)
	}
}

// named says whether a command can lead to a state.
func named(verb daq.Verb, state string) bool {
	switch verb {
	case daq.Acknowledge:
		return state == "acknowledged" || state == "latched-acknowledged" || state == "normal"
	case daq.Reset:
		return state == "normal"
	case daq.Shelve:
		return state == "shelved"
	case daq.OutOfService:
		return state == "out-of-service"
	}
	return verb == daq.Unshelve || verb == daq.ReturnToService
}

// transition judges an event of an alarm.
func (j *judge) transition(in daq.Input, obeyed bool, a *daq.AlarmEvent) {
	j.t.Helper()
	was := j.states[a.Name]
	if was == "" {
		was = "normal"
	}
	person := in.Kind == daq.KindCommand && obeyed && in.Command.Alarm() == a.Name
	if !daqtest.LegalMove(was, a.State, false) && (!person || !daqtest.LegalMove(was, a.State, true) || !named(in.Command.Verb(), a.State)) {
		j.fail(in, "%s went from %s to %s", a.Name, was, a.State)
	}
	if a.State == "unacknowledged" && j.latch[a.Name] {
		j.owes[a.Name] = true
	}
	if a.State == "normal" && j.owes[a.Name] {
		reset := in.Kind == daq.KindCommand && in.Command.Verb() == daq.Reset && in.Command.Alarm() == a.Name
		if !reset {
			j.fail(in, "%s latches, was raised, and went from %s to normal without a reset", a.Name, was)
		}
		j.owes[a.Name] = false
	}
	j.states[a.Name] = a.State
}

func (j *judge) fail(in daq.Input, format string, args ...any) {
	j.t.Helper()
	what := ""
	if in.Command != nil {
		what = string(in.Command.Verb()) + " " + in.Command.Alarm()
	}
	j.t.Errorf("at %v, input %d (kind %d %s): "+format, append([]any{in.Mono, in.Number, in.Kind, what}, args...)...)
}
