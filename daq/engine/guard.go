package engine

import (
	"fmt"
	"slices"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

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
			w.alarm.RequireAcknowledge()
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
