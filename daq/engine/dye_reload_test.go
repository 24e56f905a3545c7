package engine

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

func (b *heated) reloadWith(change ...string) {
	b.t.Helper()
	text := benchOf(b.t, change...).e.cfg
	b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Configuration: text.SHA256, Config: text}})
}

// A reload that says that the dye is watched elsewhere loses nothing of the water on its
// way: on a ramp the water at the new place is that of as long before.
func TestAReloadKeepsTheWaterOnItsWay(t *testing.T) {
	const ramp, place = 0.05, 0.300
	b := benchOf(t)
	b.play(2*time.Minute, func(s float64) (float64, float64, float64) { return 0.4, 40 + ramp*s, 255 })
	b.reloadWith("watched_at = \"0 mm\"", "watched_at = \"300 mm\"")
	lag, lost := ramp*place/speed(0.4), b.value(quantity.TubeTemperatureFall)
	if got := b.value(quantity.Temperature) - b.value(quantity.TubeTemperature); got < lag-0.02 || got > lag+lost+0.02 {
		t.Errorf("%v K below the inlet, want %v to %v", got, lag, lag+lost)
	}
}

// Until the thermometer is read again after a silence of the flow meter, what it said
// last is all that is known of the inlet, and the water before it counts as unseen.
func TestTheWayBeginsWithTheReadingThatStands(t *testing.T) {
	b := warmRig(t, "[instruments.temperature]\n", "[instruments.temperature]\nevery = \"5 s\"\n")
	b.run(time.Minute, 0.4, 40, 255)
	settled := b.value2(quantity.TubeTemperature)
	b.fault(quantity.Flow, daq.ReasonTimeout, "no answer")
	b.at += 3 * time.Second
	b.step(daq.Input{Kind: daq.KindTick})
	if _, known := b.state.Values.Get(quantity.Flow); known {
		t.Fatal("the flow is known in spite of its fault")
	}
	b.at += 200 * time.Millisecond
	b.read(quantity.Flow, 0.4)
	got := math.Sqrt(math.Pow(b.value2(quantity.TubeTemperature), 2) - settled*settled)
	if want := unseenRamp * place() / speed(0.4) / math.Sqrt(3); !(math.Abs(got/want-1) < 0.1) {
		t.Errorf("u(T at the dye) has %v K more, want %v", got, want)
	}
}

// Water that stood in the hot tube has cooled there, by as many times the fall of the
// flow that carries it on as it was longer on its way; when it comes to the dye that is
// within U.
func TestWaterThatStoodInTheTubeIsDoubted(t *testing.T) {
	b := warmRig(t)
	b.run(time.Minute, 0.4, 60, 255)
	settled := b.value2(quantity.TubeTemperature)
	b.run(time.Minute, 0, 60, 255)
	b.run(400*time.Millisecond, 0.4, 60, 255)
	way := place() / speed(0.4)
	got := math.Sqrt(math.Pow(b.value2(quantity.TubeTemperature), 2) - settled*settled)
	fall := b.state.Values
	whole, _ := fall.Get(quantity.TubeTemperatureFall)
	if want := whole / 2 * 60 / way / math.Sqrt(3); !(math.Abs(got/want-1) < 0.1) {
		t.Errorf("u(T at the dye) has %v K more after a minute's standing, want %v", got, want)
	}
	b.run(time.Minute, 0.4, 60, 255)
	if after := b.value2(quantity.TubeTemperature); math.Abs(after/settled-1) > 0.05 {
		t.Errorf("u(T at the dye) %v K once that water has gone, before it stood %v", after, settled)
	}
}

// A reload that changes what the loss coefficient is computed from is no blockage: a
// bore that is written 2 % wider moves it by 8 %. One that changes something else keeps
// what it is compared with.
func TestAReloadIsNoBlockage(t *testing.T) {
	const alarm = "[alarms.tube-blocked]\n[ports.bus]"
	for _, c := range []struct {
		name, from, to string
		lpm            float64 // afterwards
		raised         bool
	}{
		{"another bore", "bore = \"13.00 mm", "bore = \"13.26 mm", 1.2, false},
		{"another correction", "[instruments.level]\n", "[instruments.level]\ncorrect = [[\"0 mm\", \"100 mm\"], [\"400 mm\", \"500 mm\"]]\n", 1.2, false},
		{"another site, and a blockage", "site = \"north-hall\"", "site = \"south-hall\"", 1.1, true},
	} {
		b := benchOf(t, "[ports.bus]", alarm)
		b.run(3*time.Minute, 1.2, 20, 255)
		b.reloadWith("[ports.bus]", alarm, c.from, c.to)
		b.run(2*time.Minute, c.lpm, 20, 255)
		if raised := len(b.state.Alarms) > 0 && b.state.Alarms[0].Name == "tube-blocked"; raised != c.raised {
			t.Errorf("%s: raised %v, want %v", c.name, raised, c.raised)
		}
	}
}

// A blockage of which half has gone is no alarm any more, one of a little less is: the
// limit of an alarm that stands is half of that which raises it.
func TestABlockageReturnsAtHalfItsLimit(t *testing.T) {
	const step = 0.001
	b := benchOf(t, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")
	b.run(3*time.Minute, 1.2, 20, 255)
	stands := func(loss float64) bool {
		b.run(40*time.Second, 1.2*(1-loss), 20, 255)
		return len(b.state.Alarms) > 0 && b.state.Alarms[0].State == "unacknowledged"
	}
	raised := step
	for ; raised < 0.04 && !stands(raised); raised += step {
	}
	gone := raised
	for ; gone > 0 && stands(gone); gone -= step {
	}
	if share := gone / raised; raised < 0.005 || raised > 0.03 || share < 0.35 || share > 0.65 {
		t.Errorf("raised at a loss of %.1f %%, gone at %.1f %%", 100*raised, 100*gone)
	}
}

// What is waited for is said at every moment until the rig is steady, with instruments
// that are read as rarely as a thermometer may be.
func TestAnUnsteadyRigSaysWhatItWaitsFor(t *testing.T) {
	b := benchOf(t, "[instruments.temperature]\n", "[instruments.temperature]\nevery = \"5 s\"\n")
	for b.at < 4*time.Minute {
		b.at += 200 * time.Millisecond
		b.read(quantity.Flow, 1.2)
		b.read(quantity.Level, 4000+255*40)
		if b.at%(7*time.Second) == 0 { // on a line that is behind
			b.read(quantity.Temperature, 420)
		}
		b.step(daq.Input{Kind: daq.KindTick})
		steady, known := b.state.Values.Get(quantity.Steady)
		_, counts := b.state.Values.Get(quantity.SettlingSeconds)
		if said := b.state.WaitsFor != ""; known && (counts == (steady != 0) || said == (steady != 0)) {
			t.Fatalf("after %v: steady %v, counts down %v, waits for %q", b.at, steady, counts, b.state.WaitsFor)
		}
	}
}

// A step makes nothing but what it hands out: what is derived, the water on its way and
// the windows of steadiness and of a blockage are kept in place.
func TestTheStateIsDerivedInPlace(t *testing.T) {
	b := benchOf(t, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")
	b.run(3*time.Minute, 0.4, 50, 255)
	blocked := b.e.alarms[0]
	for _, w := range b.e.alarms {
		if w.def.Name == "tube-blocked" {
			blocked = w
		}
	}
	if blocked.losses.base.K == 0 {
		t.Fatal("no loss coefficient to compare with")
	}
	if n := testing.AllocsPerRun(500, func() {
		b.at += 200 * time.Millisecond
		b.e.state.Mono = b.at
		for id, number := range map[quantity.ID]float64{quantity.Flow: 0.4, quantity.Temperature: 500, quantity.Level: 14200} {
			in := daq.Input{Kind: daq.KindReading, Mono: b.at, Wall: dayOne.Add(b.at), Reading: daq.Reading{Instrument: id, Number: number, At: b.at}}
			b.e.channels[id].Take(in.Reading, nil)
			b.e.compute(&in)
		}
	}); n != 0 {
		t.Errorf("a state is derived with %v allocations", n)
	}
	s := b.e.surroundings()
	if n := testing.AllocsPerRun(500, func() {
		b.e.state.Mono += 200 * time.Millisecond
		blocked.blocked(&s)
	}); n > 1 { // the value that the alarm hands out
		t.Errorf("tube-blocked looks with %v allocations", n)
	}
}
