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

func (p *permit) holds(name string) bool { return slices.Contains(p.tripped, name) }

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

// proofTime is how long a proof test keeps the permit down where the relay
// confirms. Behind a pulsed line it lasts proofMore longer than the relay holds
// its last pulse, or two readings of the heater's contact where that is more.
const (
	proofTime = 3 * time.Second
	proofMore = time.Second
)

func (e *Engine) applyPermit(c *daq.Command) (string, error) {
	p := &e.permit
	switch {
	case p.cfg == nil:
		return "", fmt.Errorf("this rig has no heating permit: configure [trip]")
	case c.Verb() == daq.Withdraw && p.given:
		p.drop(e.state.Mono)
		return "withdrawn", nil
	case c.Verb() == daq.Withdraw:
		return "", fmt.Errorf("it is not given")
	case c.Verb() == daq.ProofTest && !p.given:
		return "", fmt.Errorf("the permit is not given: give it first, then prove it")
	case c.Verb() == daq.ProofTest && p.proof > 0:
		return "", fmt.Errorf("a proof test is running")
	case c.Verb() == daq.ProofTest:
		return e.beginProof(), nil
	}
	return e.give(c.Ask.(*daq.GiveAsk).Without)
}

// give is refused while a trip stands, while what must be watched is unknown, and
// while an alarm that trips is out of service that the command does not name.
func (e *Engine) give(without []string) (string, error) {
	p := &e.permit
	if p.given {
		return "", fmt.Errorf("it is given already")
	}
	if len(p.tripped) > 0 {
		return "", fmt.Errorf("a trip stands: %s; remove its cause, acknowledge and reset it, then give the permit again", strings.Join(p.tripped, ", "))
	}
	out := e.unwatched()
	if err := mustName(out, without); err != nil {
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

// beginProof takes the permit down for as long as a proof test needs.
func (e *Engine) beginProof() string {
	p, length := &e.permit, proofTime
	if p.cfg.Pulse != config.NoPulse {
		length = p.cfg.Watchdog + max(proofMore, 2*e.cfg.Every(quantity.HeaterOn))
	}
	on, measured := e.state.Values.Get(quantity.HeaterOn)
	p.proof, p.sawOff, p.heated = e.state.Mono+length, false, measured && on != 0
	return "proof test begun: dropped for " + daq.Seconds(length)
}
