package engine

import (
	"slices"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
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

// drop takes the permit away, and with it what it was given without.
func (p *permit) drop(now time.Duration) {
	p.given, p.proof, p.dropped, p.without = false, 0, now, nil
}

// holds says whether an alarm holds the latch.
func (p *permit) holds(name string) bool { return slices.Contains(p.tripped, name) }

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

// dropPermit takes the permit away and journals why.
func (e *Engine) dropPermit(why string) []daq.Event {
	p := &e.permit
	if !p.given {
		return nil
	}
	p.drop(e.state.Mono)
	return []daq.Event{e.permitNote("", "dropped: "+why)}
}

func (e *Engine) permitNote(who, text string) daq.Event {
	return daq.Event{Note: &daq.Note{Kind: "permit", Time: e.state.Time, Who: who, Text: "heating permit " + text}}
}
