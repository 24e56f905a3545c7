package engine

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// walkText is heatedText with or without its meter of the supply and its contact of
// the heater, and with alarms that latch, wait and are called one way or another.
func walkText(r *rand.Rand) string {
	text := heatedText
	if r.IntN(4) == 0 {
		from, to := strings.Index(text, "[instruments.supply_flow]"), strings.Index(text, "[trip]")
		text = text[:from] + text[to:]
	}
	if r.IntN(4) == 0 {
		text = strings.Replace(text, "[instruments.heater_on]\nport = \"bus\"\nmodbus = {address = 9, table = \"discrete\", register = 0}\n", "", 1)
	}
	text = strings.ReplaceAll(text, `{fixed = "0.5 K"}`, fmt.Sprintf(`{fixed = "0.%d K"}`, 5+r.IntN(3)))
	if name := []string{"warm", "hot", "a-warm", ""}[r.IntN(4)]; name != "" {
		text += fmt.Sprintf("[alarms.%s]\non = \"temperature\"\nabove = \"74 Cel\"\npriority = \"high\"\ntrip = true\nlatch = %v\n", name, r.IntN(3) == 0)
	}
	return text + fmt.Sprintf("[alarms.water-overheat]\nabove = \"%d Cel\"\nlatch = %v\non_delay = \"%d s\"\n", 75+r.IntN(4), r.IntN(3) > 0, 1+r.IntN(2))
}

// Walks by chance through dangers, commands, kills, and reloads that add, remove and
// rename alarms and instruments: the judge sees every step, a danger that stands
// drops the permit, and in the end a person can give it again.
func TestWalks(t *testing.T) {
	daqtest.Counts(t)
	for seed := range uint64(12) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			w := &walk{crossed: newCrossed(t), r: rand.New(rand.NewPCG(seed, 7)), since: map[string]time.Duration{}}
			for range 300 {
				w.move()
				for range 1 + w.r.IntN(8) {
					w.interval()
					w.falls("water-overheat", w.celsius > 80 && !w.silent[quantity.Temperature])
					w.falls("instrument-fault-temperature", w.silent[quantity.Temperature])
					w.falls("head-lost", w.level < 230)
				}
			}
			w.ends()
		})
	}
}

type walk struct {
	*crossed
	r     *rand.Rand
	since map[string]time.Duration // since when a danger has not stood under the permit
}

func (w *walk) move() {
	switch w.r.IntN(20) {
	case 0, 1, 2:
		w.give()
	case 3:
		w.ask([]daq.Verb{daq.Withdraw, daq.ProofTest}[w.r.IntN(2)], "")
	case 4, 5, 6, 7:
		verbs := []daq.Verb{daq.Acknowledge, daq.Reset, daq.Shelve, daq.Unshelve, daq.OutOfService, daq.ReturnToService}
		w.ask(verbs[w.r.IntN(len(verbs))], w.e.alarms[w.r.IntN(len(w.e.alarms))].def.Name)
	case 8:
		w.all(daq.Acknowledge)
		w.all(daq.Reset)
	case 9:
		w.all(daq.ReturnToService)
		w.all(daq.Unshelve)
	case 10, 11, 12:
		w.reload(walkText(w.r))
	case 13:
		w.celsius = []float64{82, warmWater, warmWater}[w.r.IntN(3)]
	case 14:
		w.level = []float64{220, 255, 255}[w.r.IntN(3)]
	case 15:
		w.silent[quantity.Temperature] = w.r.IntN(3) == 0
	case 16:
		w.supply = []float64{0, 4, 4}[w.r.IntN(3)]
	case 17:
		w.deaf = w.r.IntN(4) == 0
	case 18:
		w.kill()
	}
}

// falls wants the permit down in time while a danger stands that an alarm watches:
// the 2 s until stale, the longest delay, and two intervals.
func (w *walk) falls(alarm string, stands bool) {
	w.t.Helper()
	if !stands || !w.state.Permit || w.stateOf(alarm) == "out-of-service" {
		w.since[alarm] = w.at
	}
	if long := w.at - w.since[alarm]; long > 4400*time.Millisecond {
		w.t.Fatalf("at %v the permit is on, and what %s watches for has stood for %v", w.at, alarm, long)
	}
}

// ends: the dangers end, and a person sees to every alarm, those included that are
// not configured any more.
func (w *walk) ends() {
	w.t.Helper()
	w.celsius, w.level, w.supply, w.deaf = warmWater, 255, 4, false
	clear(w.silent)
	w.play(fallHold+10*time.Second, time.Hour, nil)
	w.ask(daq.Withdraw, "")
	for _, verb := range []daq.Verb{daq.Unshelve, daq.ReturnToService, daq.Acknowledge, daq.Reset} {
		for _, a := range w.e.alarms {
			w.ask(verb, a.def.Name)
		}
	}
	if why := w.ask(daq.Give, ""); why != "" {
		w.t.Errorf("the permit cannot be given again: %s", why)
	}
}
