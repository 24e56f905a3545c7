package engine

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// proofTime is how long a proof test keeps the permit down where the relay
// confirms. Behind a pulsed line it lasts proofMore longer than the relay holds
// its last pulse, or two readings of the heater's contact where that is more.
const (
	proofTime = 3 * time.Second
	proofMore = time.Second
)

// permit is the heating permit as the engine decides it. It is off at every
// start, is given by a person alone, and drops with the first alarm that trips.
// The latch of a trip is the permit's own: it holds until a person has reset the
// alarm, and then the permit must be given again.
type permit struct {
	cfg      *config.Trip
	given    bool
	without  []string      // alarms out of service that it was given without
	tripped  []string      // alarms that hold the latch, in the order in which they came
	proof    time.Duration // end of a running proof test; 0: none
	answered time.Duration // monotonic, of the relay's last confirmation
	output   bool          // what the relay confirmed last
	dropped  time.Duration // monotonic, when the permit last dropped; 0: not in this run
	stepped  time.Duration // monotonic, of the last step
	sawOff   bool          // the relay confirmed off during the proof test
	heated   bool          // the heater was seen on when the proof test began
}

// demand is what the output shall be.
func (p *permit) demand() bool { return p.cfg != nil && p.given && p.proof == 0 }

// permitted is what the output is: energised, and confirmed within the relay's
// watchdog.
func (p *permit) permitted(now time.Duration) bool {
	return p.demand() && p.output && now-p.answered <= p.cfg.Watchdog
}

// SameOutput says whether two configurations have the permit's relay at the same
// place: by the table trip, and by the port that leads there, whatever is set of it.
func SameOutput(a, b *config.Config) bool {
	if a.Trip == nil || b.Trip == nil {
		return a.Trip == b.Trip
	}
	from, to := a.Port(a.Trip.Port), b.Port(b.Trip.Port)
	return *a.Trip == *b.Trip && from != nil && to != nil && *from == *to
}

// dropPermit takes the permit away and journals why.
func (e *Engine) dropPermit(why string) []daq.Event {
	p := &e.permit
	if !p.given {
		return nil
	}
	p.drop(e.state.Mono)
	return []daq.Event{e.permitNote("", "dropped: "+why)}
}

// drop takes the permit away, and with it what it was given without.
func (p *permit) drop(now time.Duration) {
	p.given, p.proof, p.dropped, p.without = false, 0, now, nil
}

func (e *Engine) permitNote(who, text string) daq.Event {
	return daq.Event{Note: &daq.Note{Kind: "permit", Time: e.state.Time, Who: who, Text: "heating permit " + text}}
}

// guard looks at everything that takes the permit away; told is what this step
// has told already.
func (e *Engine) guard(told []daq.Event) []daq.Event {
	p := &e.permit
	if p.cfg == nil {
		return nil
	}
	events := e.guardSilence()
	for _, w := range e.alarms {
		if w.trips() && !slices.Contains(p.tripped, w.def.Name) {
			p.tripped = append(p.tripped, w.def.Name)
			w.alarm.MustBeSeen()
			if !hasTripEvent(told, w.def.Name) {
				events = append(events, e.transition(w, ""))
			}
			events = append(events, e.dropPermit("alarm "+w.def.Name)...)
		}
	}
	events = append(events, e.guardService()...)
	events = append(events, e.guardProof()...)
	p.stepped = e.state.Mono
	return events
}

// hasTripEvent says whether the last event of an alarm names its trip. One that trips
// without a transition, as a shelved one does, needs an event of its own: a
// restart knows of a trip from the last event alone.
func hasTripEvent(told []daq.Event, name string) bool {
	for _, event := range slices.Backward(told) {
		if event.Alarm != nil && event.Alarm.Name == name {
			return event.Alarm.Tripped
		}
	}
	return false
}

// trips says whether the alarm takes the permit away. Shelving silences an
// alarm and does not disarm it; out of service and suppressed do.
func (w *watch) trips() bool {
	return w.def.Trip && w.alarm.Active() && w.alarm.State().Watches()
}

// unwatched are the alarms that would trip and are out of service.
func (e *Engine) unwatched() []string {
	var list []string
	for _, w := range e.alarms {
		if w.def.Trip && !w.orphaned && !w.alarm.State().Watches() {
			list = append(list, w.def.Name)
		}
	}
	return list
}

// guardService withdraws the permit when an alarm goes out of service with which
// it was given: by a command, or by a reload that lets one trip. One that comes
// back into service watches again, and must be named again if it goes.
func (e *Engine) guardService() []daq.Event {
	p := &e.permit
	if !p.given {
		return nil
	}
	out := e.unwatched()
	for _, name := range out {
		if !slices.Contains(p.without, name) {
			return e.dropPermit("alarm " + name + " is out of service, and the permit was given with it")
		}
	}
	p.without = out
	return nil
}

// guardSilence withdraws a permit that was not refreshed for longer than the
// relay's watchdog: the relay has dropped, and only a person gives it again.
func (e *Engine) guardSilence() []daq.Event {
	p, now := &e.permit, e.state.Mono
	if !p.given {
		return nil
	}
	if gap := now - p.stepped; gap > p.cfg.Watchdog {
		return e.dropPermit(fmt.Sprintf("the program stood still for %s, longer than the relay's watchdog", daq.Seconds(gap)))
	}
	if gap := now - p.answered; gap > p.cfg.Watchdog {
		return e.dropPermit(fmt.Sprintf("the relay has confirmed nothing for %s, longer than its watchdog: check its line and address", daq.Seconds(gap)))
	}
	return nil
}

// guardProof ends a proof test.
func (e *Engine) guardProof() []daq.Event {
	p := &e.permit
	if p.proof == 0 || e.state.Mono < p.proof {
		return nil
	}
	p.proof = 0
	return []daq.Event{e.permitNote("", "proof test ended, permit restored: "+e.verdict())}
}

// verdict is what a proof test has shown when it ends.
func (e *Engine) verdict() string {
	on, measured := e.state.Values.Get(quantity.HeaterOn)
	switch p := &e.permit; {
	case p.cfg.Pulse == config.NoPulse && p.sawOff:
		return "the relay confirmed that it dropped"
	case p.cfg.Pulse == config.NoPulse:
		return "the relay did not confirm that it dropped: do not heat unattended"
	case measured && on != 0:
		return "the heater stayed on: the relay did not drop, do not heat unattended"
	case measured && p.heated:
		return "the heater went off"
	case measured:
		return "the heater was off before, which shows nothing: prove it again while it heats"
	}
	return "nobody confirms a pulse: look whether the heater went off"
}

// beginProof takes the permit down for as long as a proof test needs.
func (e *Engine) beginProof() string {
	p, length := &e.permit, proofTime
	if p.cfg.Pulse != config.NoPulse {
		length = p.cfg.Watchdog + max(proofMore, 2*readEvery(e.cfg, quantity.HeaterOn))
	}
	on, measured := e.state.Values.Get(quantity.HeaterOn)
	p.proof, p.sawOff, p.heated = e.state.Mono+length, false, measured && on != 0
	return "proof test begun: dropped for " + daq.Seconds(length)
}

// confirm takes the relay's answer.
func (e *Engine) confirm(o *daq.Output) {
	p := &e.permit
	if o.Error != "" {
		return
	}
	p.output, p.answered = o.On, e.state.Mono
	if p.proof > 0 && !o.On {
		p.sawOff = true
	}
}

// permitCommand gives, withdraws or proves the permit, or says why not.
func (e *Engine) permitCommand(c *daq.Command) []daq.Event {
	text, err := e.applyPermit(c)
	if err != nil {
		return e.refuse(c, err)
	}
	e.reply = &daq.Reply{ID: c.ID}
	return []daq.Event{e.permitNote(c.Who, text)}
}

func (e *Engine) applyPermit(c *daq.Command) (string, error) {
	p := &e.permit
	switch {
	case p.cfg == nil:
		return "", fmt.Errorf("this rig has no heating permit: configure [trip]")
	case c.Verb == daq.Withdraw && p.given:
		p.drop(e.state.Mono)
		return "withdrawn", nil
	case c.Verb == daq.Withdraw:
		return "", fmt.Errorf("it is not given")
	case c.Verb == daq.ProofTest && !p.given:
		return "", fmt.Errorf("the permit is not given: give it first, then prove it")
	case c.Verb == daq.ProofTest && p.proof > 0:
		return "", fmt.Errorf("a proof test is running")
	case c.Verb == daq.ProofTest:
		return e.beginProof(), nil
	}
	return e.give(c)
}

// give is refused while a trip stands, while what must be watched is unknown, and
// while an alarm that trips is out of service that the command does not name.
func (e *Engine) give(c *daq.Command) (string, error) {
	p := &e.permit
	if p.given {
		return "", fmt.Errorf("it is given already")
	}
	if len(p.tripped) > 0 {
		return "", fmt.Errorf("a trip stands: %s; remove its cause, acknowledge and reset it, then give the permit again", strings.Join(p.tripped, ", "))
	}
	out := e.unwatched()
	if err := mustName(out, c.Without); err != nil {
		return "", err
	}
	for _, id := range []quantity.ID{quantity.Temperature, quantity.Level} {
		if !e.state.Quality[id].Usable() {
			return "", fmt.Errorf("%s is %s; heating needs both temperature and level", id.Short(), e.state.Quality[id])
		}
	}
	p.given, p.without, p.answered, p.stepped = true, out, e.state.Mono, e.state.Mono
	if len(out) > 0 {
		return "given without " + strings.Join(out, ", ") + ", out of service", nil
	}
	return "given", nil
}

// mustName refuses a permit that would be given without an alarm that nobody
// named, and one that names an alarm that watches: who asks must know the rig.
func mustName(out, named []string) error {
	for _, name := range out {
		if !slices.Contains(named, name) {
			return fmt.Errorf(`%s is out of service and would not drop the permit: return it to service, or name it, "without":["%s"]`, name, strings.Join(out, `","`))
		}
	}
	for _, name := range named {
		if !slices.Contains(out, name) {
			return fmt.Errorf("without: %q is not an alarm that trips and is out of service: leave it out", name)
		}
	}
	return nil
}

// holds says whether an alarm holds the latch.
func (p *permit) holds(name string) bool { return slices.Contains(p.tripped, name) }

// release ends the latch that an alarm holds on the permit.
func (p *permit) release(name string) {
	p.tripped = slices.DeleteFunc(p.tripped, func(held string) bool { return held == name })
}
