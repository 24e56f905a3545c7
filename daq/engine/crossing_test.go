package engine

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// crossed is a heated bench with a fault in it, whose judge watches every step.
type crossed struct {
	*heated
	celsius, level float64
	silent         map[quantity.ID]bool // says nothing any more
	broken         map[quantity.ID]bool // answers with a fault
	text           string               // of the configuration
}

func newCrossed(t *testing.T) *crossed {
	t.Helper()
	c := &crossed{celsius: warmWater, level: 255, silent: map[quantity.ID]bool{}, broken: map[quantity.ID]bool{}, text: crossedText}
	c.begin(t, newJudge(t), nil, 0)
	return c
}

// warmWater is below every limit and so near to them that a fall from above is
// none that the tank could not make.
const warmWater = 71.5

// crossedText has a high alarm that latches nothing beside the built-in ones.
var crossedText = heatedText + `
[alarms.warm]
on = "temperature"
above = "74 Cel"
priority = "high"
trip = true
`

// begin starts an engine, as after a kill with what the journal has.
func (c *crossed) begin(t *testing.T, j *judge, saved []daq.SavedAlarm, at time.Duration) {
	t.Helper()
	cfg := benchConfig(t, c.text)
	e, err := New(cfg, saved)
	if err != nil {
		t.Fatal(err)
	}
	j.adopt(cfg)
	c.heated = &heated{bench: &bench{t: t, e: e, judge: j, at: at}, supply: 4}
	c.step(e.Begin())
}

// kill ends the engine and starts another, two seconds later.
func (c *crossed) kill() {
	events, supply, deaf := c.events, c.supply, c.deaf
	c.begin(c.t, c.judge.restarted(), c.lastEvents(), c.at+2*time.Second)
	c.events, c.supply, c.deaf = events, supply, deaf
	if c.state.Permit {
		c.t.Error("the permit is on at the start")
	}
}

func (c *crossed) reload(text string) {
	c.text = text
	cfg := benchConfig(c.t, text)
	c.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Configuration: cfg.SHA256, Config: cfg}})
}

// play lets time pass; every so often something is done in the middle.
func (c *crossed) play(length time.Duration, every time.Duration, do func()) {
	next := c.at + every
	for end := c.at + length; c.at < end; {
		c.interval()
		if do != nil && c.at >= next {
			do()
			next = c.at + every
		}
	}
}

// interval is 200 ms: every instrument that speaks, a tick, the relay's answer.
func (c *crossed) interval() {
	c.at += 200 * time.Millisecond
	heater := 0.0
	if c.relay {
		heater = 1
	}
	for _, r := range []struct {
		id    quantity.ID
		value float64
	}{{quantity.HeaterOn, heater}, {quantity.SupplyFlow, c.supply}, {quantity.Flow, 1.2}, {quantity.Temperature, c.celsius * 10}, {quantity.Level, 4000 + c.level*40}} {
		switch {
		case c.silent[r.id]:
		case c.broken[r.id]:
			c.fault(r.id, daq.ReasonTimeout, "no answer")
		default:
			c.read(r.id, r.value)
		}
	}
	c.step(daq.Input{Kind: daq.KindTick})
	if !c.deaf {
		c.relay = c.state.Permit
		c.step(daq.Input{Kind: daq.KindOutput, Output: &daq.Output{On: c.state.Permit}})
	}
}

// ask gives a command whose refusal is none of this test's business.
func (c *crossed) ask(verb daq.Verb, name string) string {
	c.t.Helper()
	cmd := &daq.Command{ID: "1", Who: "dana", Ask: asked(verb, name)}
	c.step(daq.Input{Kind: daq.KindCommand, Command: cmd})
	if c.e.Reply() == nil {
		c.t.Fatalf("%s %s: no reply", verb, name)
	}
	return c.e.Reply().Error
}

// stateOf is an alarm's state as every interface shows it.
func (c *crossed) stateOf(name string) string {
	for _, a := range c.state.Alarms {
		if a.Name == name {
			return a.State
		}
	}
	return "normal"
}

// preparations bring the alarm water-overheat (or warm, which does not latch)
// into each state.
var preparations = []struct {
	name, alarm, state string
	prepare            func(c *crossed)
}{
	{"normal", "water-overheat", "normal", func(*crossed) {}},
	{"unacknowledged", "water-overheat", "unacknowledged", func(c *crossed) { c.heat(3 * time.Second) }},
	{"acknowledged", "water-overheat", "acknowledged", func(c *crossed) {
		c.heat(3 * time.Second)
		c.ask(daq.Acknowledge, "water-overheat")
	}},
	{"returned", "warm", "returned-unacknowledged", func(c *crossed) { c.heat(3 * time.Second); c.cool() }},
	{"latched", "water-overheat", "latched-unacknowledged", func(c *crossed) { c.heat(3 * time.Second); c.cool() }},
	{"latched and acknowledged", "water-overheat", "latched-acknowledged", func(c *crossed) {
		c.heat(3 * time.Second)
		c.cool()
		c.ask(daq.Acknowledge, "water-overheat")
	}},
	{"shelved", "water-overheat", "shelved", func(c *crossed) { c.ask(daq.Shelve, "water-overheat") }},
	{"shelved while it stands", "water-overheat", "shelved", func(c *crossed) {
		c.heat(3 * time.Second)
		c.ask(daq.Shelve, "water-overheat")
	}},
	{"shelved when latched", "water-overheat", "shelved", func(c *crossed) {
		c.heat(3 * time.Second)
		c.cool()
		c.ask(daq.Shelve, "water-overheat")
	}},
	{"out of service", "water-overheat", "out-of-service", func(c *crossed) { c.ask(daq.OutOfService, "water-overheat") }},
	{"out of service when latched", "water-overheat", "out-of-service", func(c *crossed) {
		c.heat(3 * time.Second)
		c.cool()
		c.ask(daq.OutOfService, "water-overheat")
	}},
}

func (c *crossed) heat(length time.Duration) {
	c.celsius = 76
	c.play(length, time.Hour, nil)
}

func (c *crossed) cool() {
	c.celsius = warmWater
	c.play(2*time.Second, time.Hour, nil)
}

// dangers are what must take the permit away, each within its time: the on-delay
// of 2 s, or the 2 s until a reading is stale, the relay's watchdog of 3 s, and
// two intervals.
var dangers = []struct {
	name    string
	allowed time.Duration
	watches []string // the alarms that see it; it is not seen while all are out of service
	begin   func(c *crossed)
}{
	{"overheated", 2400 * time.Millisecond, []string{"water-overheat", "warm"}, func(c *crossed) { c.celsius = 76 }},
	{"head lost", 2400 * time.Millisecond, []string{"head-lost"}, func(c *crossed) { c.level = 220 }},
	{"thermometer silent", 2400 * time.Millisecond, []string{"instrument-fault-temperature"}, func(c *crossed) { c.silent[quantity.Temperature] = true }},
	{"thermometer broken", 2400 * time.Millisecond, []string{"instrument-fault-temperature"}, func(c *crossed) { c.broken[quantity.Temperature] = true }},
	{"level silent", 2400 * time.Millisecond, []string{"instrument-fault-level"}, func(c *crossed) { c.silent[quantity.Level] = true }},
	{"no supply", 2400 * time.Millisecond, []string{"heating-without-supply"}, func(c *crossed) { c.supply = 0 }},
	{"supply unknown", 4400 * time.Millisecond, []string{"heating-without-supply"}, func(c *crossed) { c.silent[quantity.SupplyFlow] = true }},
	{"relay silent", 3400 * time.Millisecond, []string{"the relay"}, func(c *crossed) { c.deaf = true }},
}

// meddlers are what somebody does in the middle of it, again and again.
var meddlers = []struct {
	name  string
	every time.Duration
	do    func(c *crossed, n int)
}{
	{"nobody", time.Hour, func(*crossed, int) {}},
	{"the same file again", 1800 * time.Millisecond, func(c *crossed, _ int) { c.reload(c.text) }},
	{"another accuracy", 1800 * time.Millisecond, func(c *crossed, n int) {
		c.reload(strings.ReplaceAll(crossedText, `{fixed = "0.5 K"}`, fmt.Sprintf(`{fixed = "0.%d K"}`, 5+n%2)))
	}},
	{"every instrument changed", 600 * time.Millisecond, func(c *crossed, n int) {
		text := strings.ReplaceAll(crossedText, `accuracy = {`, fmt.Sprintf("lag = \"%d ms\"\nevery = \"%d ms\"\naccuracy = {", 100+n%2, 200-n%2))
		c.reload(text)
	}},
	{"other limits that are not crossed", 1800 * time.Millisecond, func(c *crossed, n int) {
		c.reload(crossedText + fmt.Sprintf("[alarms.fast]\non = \"velocity\"\nabove = \"1.%d m/s\"\npriority = \"low\"\n", 3+n%2))
	}},
	{"kill", 1700 * time.Millisecond, func(c *crossed, n int) {
		if n == 0 {
			c.kill()
		}
	}},
	{"give again and again", 600 * time.Millisecond, func(c *crossed, _ int) { c.ask(daq.Give, "") }},
	{"withdraw and give", 600 * time.Millisecond, func(c *crossed, _ int) { c.ask(daq.Withdraw, ""); c.ask(daq.Give, "") }},
	{"proof test", 600 * time.Millisecond, func(c *crossed, _ int) { c.ask(daq.ProofTest, "") }},
	{"acknowledge all", 600 * time.Millisecond, func(c *crossed, _ int) { c.all(daq.Acknowledge) }},
	{"acknowledge and reset all", 600 * time.Millisecond, func(c *crossed, _ int) { c.all(daq.Acknowledge); c.all(daq.Reset); c.ask(daq.Give, "") }},
	{"shelve all", 600 * time.Millisecond, func(c *crossed, _ int) { c.all(daq.Shelve) }},
	{"shelve and unshelve all", 600 * time.Millisecond, func(c *crossed, _ int) { c.all(daq.Shelve); c.all(daq.Unshelve) }},
}

// all gives a command to every alarm of the configuration.
func (c *crossed) all(verb daq.Verb) {
	for _, a := range c.e.cfg.Alarms {
		c.ask(verb, a.Name)
	}
}

// Every state of an alarm, crossed with every danger, crossed with what people,
// reloads and kills do in the middle: the permit falls in time, and comes back
// only when what tripped is acknowledged and reset and a person gives it again.
func TestStatesDangersAndMeddling(t *testing.T) {
	sample := 0
	for _, p := range preparations {
		for _, d := range dangers {
			for _, m := range meddlers {
				if sample++; testing.Short() && sample%7 != 0 {
					continue
				}
				t.Run(p.name+"/"+d.name+"/"+m.name, func(t *testing.T) {
					t.Parallel()
					c := newCrossed(t)
					c.play(2*time.Second, time.Hour, nil)
					p.prepare(c)
					if got := c.stateOf(p.alarm); got != p.state {
						t.Fatalf("prepared as %s: %s is %s", p.name, p.alarm, got)
					}
					c.give()
					c.play(time.Second, time.Hour, nil)
					if !c.unwatched(d.watches) {
						c.judge.endangered(c.at, d.allowed, d.name)
					}
					d.begin(c)
					n := 0
					c.play(8*time.Second, m.every, func() { m.do(c, n); n++ })
					c.recovers()
				})
			}
		}
	}
}

// give asks for the permit, naming what is out of service.
func (c *crossed) give() {
	ask := &daq.GiveAsk{}
	for name, state := range c.judge.states {
		if state == "out-of-service" {
			ask.Without = append(ask.Without, name)
		}
	}
	c.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: ask}})
}

func (c *crossed) unwatched(watches []string) bool {
	for _, name := range watches {
		if c.stateOf(name) != "out-of-service" {
			return false
		}
	}
	return true
}

// recovers: the danger ends, people do what the alarms ask for, and the permit
// can be given again.
func (c *crossed) recovers() {
	c.t.Helper()
	c.judge.safe()
	c.celsius, c.level, c.supply, c.deaf = warmWater, 255, 4, false
	clear(c.silent)
	clear(c.broken)
	c.play(5*time.Second, time.Hour, nil)
	for _, verb := range []daq.Verb{daq.Withdraw, daq.Unshelve, daq.ReturnToService, daq.Acknowledge, daq.Reset} {
		c.all(verb)
	}
	if len(c.state.Tripped) > 0 {
		c.t.Errorf("%v still hold the permit after a reset of all", c.state.Tripped)
	}
	if why := c.ask(daq.Give, ""); why != "" {
		c.t.Errorf("the permit cannot be given again: %s", why)
	}
	c.play(time.Second, time.Hour, nil)
	if !c.permitted() {
		c.t.Errorf("the permit was given and is not on; alarms %v", slices.Collect(func(yield func(string) bool) {
			for _, a := range c.state.Alarms {
				yield(a.Name + " " + a.State)
			}
		}))
	}
}
