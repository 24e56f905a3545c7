package engine

import (
	"math"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// warmRig watches the dye half-way down its tube of 900 mm, in a room of 20 °C.
func warmRig(t *testing.T, more ...string) *heated {
	t.Helper()
	return benchOf(t, append([]string{"watched_at = \"0 mm\"\n", ""}, more...)...)
}

// speed is the mean velocity of a flow in the bench's bore of 13 mm, m/s.
func speed(lpm float64) float64 { return lpm / 60000 / (math.Pi / 4 * 0.013 * 0.013) }

// The water at the dye is what entered x/v ago: on a ramp of 0.05 K/s it lags behind the
// inlet by the ramp times that, whatever the valve did on the way.
func TestTheWaterAtTheDyeIsThatOfBefore(t *testing.T) {
	const ramp, place = 0.05, 0.450
	for _, c := range []struct {
		name string
		lpm  func(s float64) float64
		age  float64 // s, of the water at the dye after 120 s
	}{
		{"a constant flow", func(float64) float64 { return 0.4 }, place / speed(0.4)},
		{"half the flow before", func(s float64) float64 {
			if s < 118 {
				return 0.2
			}
			return 0.4
		}, 2 + (place-2*speed(0.4))/speed(0.2)},
	} {
		b := warmRig(t)
		at := 0.0
		b.play(2*time.Minute, func(s float64) (float64, float64, float64) {
			at = s
			return c.lpm(s), 40 + ramp*s, 255
		})
		inlet := b.value(quantity.Temperature)
		lost := b.value(quantity.TubeTemperatureFall) // to the outlet: at most as much to the dye
		got := inlet - b.value(quantity.TubeTemperature)
		if low, high := ramp*(c.age-0.4), ramp*(c.age+0.4)+lost; got < low || got > high {
			t.Errorf("%s: %v K below the inlet after %v s, want %v to %v", c.name, got, at, low, high)
		}
	}
}

// Without a ramp and without a fall the water at the dye is that of the inlet, and its
// history adds nothing.
func TestTheWayOfStillTemperatures(t *testing.T) {
	b := warmRig(t)
	b.run(time.Minute, 0.4, 20, 255)
	if got := b.value(quantity.TubeTemperature); math.Abs(got-20) > 1e-9 {
		t.Errorf("%v °C at the dye of water at the room's 20 °C", got)
	}
	with := b.relativeU()
	b = warmRig(t, "room = \"20 Cel\"", "")
	b.run(10*time.Minute, 0.4, 20, 255)
	if after := b.relativeU(); math.Abs(after/with-1) > 1e-9 {
		t.Errorf("U %v after a minute, %v after ten", with, after)
	}
}

// Until water that was seen at the inlet has come to the dye, what it may have done
// before counts: 0.05 K/s as limits, over the time that is missing.
func TestAShortHistoryIsInTheUncertainty(t *testing.T) {
	way := place() / speed(0.4) // s
	b := warmRig(t)
	b.run(200*time.Millisecond, 0.4, 40, 255)
	first := b.value2(quantity.TubeTemperature)
	b.run(time.Minute, 0.4, 40, 255)
	later := b.value2(quantity.TubeTemperature)
	got := math.Sqrt(first*first - later*later)
	if want := 0.05 * way / math.Sqrt(3); math.Abs(got/want-1) > 0.05 {
		t.Errorf("at the start u(T at the dye) has %v K more, want %v", got, want)
	}
}

func place() float64 { return 0.450 }

// value2 is the standard uncertainty of a quantity.
func (b *heated) value2(id quantity.ID) float64 {
	b.t.Helper()
	u, known := b.state.U.Get(id)
	if !known {
		b.t.Fatalf("the uncertainty of %s is unknown", id.Name())
	}
	return u
}

// A thermometer that was silent leaves no history behind: the water that passed meanwhile
// is not taken for that of before.
func TestASilenceForgetsTheWay(t *testing.T) {
	b := warmRig(t)
	b.run(time.Minute, 0.4, 40, 255)
	for range 40 {
		b.at += 200 * time.Millisecond
		b.read(quantity.Flow, 0.4)
		b.read(quantity.Level, 4000+255*40)
		b.step(daq.Input{Kind: daq.KindTick})
	}
	b.run(time.Second, 0.4, 60, 255)
	if got := b.value(quantity.TubeTemperature); got < 58 || got > 60 {
		t.Errorf("%v °C at the dye, where water of 60 °C runs and that before is unknown", got)
	}
	if u := b.value2(quantity.TubeTemperature); u < 0.2 {
		t.Errorf("u %v K: as if the water on the way had been seen", u)
	}
}

// The counts of the way do not grow: a day of a slow flow and one of a fast one keep
// as many entries as there is room for.
func TestTheWayIsBounded(t *testing.T) {
	for _, velocity := range []float64{0.001, 0.05, 3} {
		w := onTheWay{length: 0.45}
		at := time.Duration(0)
		for i := range 200_000 {
			at += 200 * time.Millisecond
			w.move(at, velocity, true)
			w.enter(40 + float64(i%7))
			if v := w.warmer(40, velocity, 0.005, 0.3); math.IsNaN(v.X) || math.IsNaN(v.U) || math.Abs(v.X) > 7 {
				t.Fatalf("%v m/s, reading %d: %+v", velocity, i, v)
			}
		}
	}
}

// Water in the meter that is 10 K cooler than in the tube is denser: the same mass is
// 0.4 % more volume in the tube at 40 °C (992.22 and 995.65 kg/m³ at 40 and 30 °C, Kell
// 1975, from memory).
func TestTheWaterInTheMeter(t *testing.T) {
	plain := warmRig(t)
	plain.run(time.Second, 1.2, 40, 255)
	for name, more := range map[string][2]string{
		"stated":   {"unit = \"L/min\"\n", "unit = \"L/min\"\nmeter_fall = \"10 K ± 20 K\"\n"},
		"measured": {"[instruments.level]", "[instruments.meter]\nport = \"bus\"\nmodbus = {address = 5, table = \"input\", register = 0, type = \"int16\"}\nscale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}\naccuracy = {fixed = \"20 K\"}\n[instruments.level]"},
	} {
		b := warmRig(t, more[0], more[1])
		b.run(time.Second, 1.2, 40, 255)
		if name == "measured" {
			b.read(quantity.Meter, 300)
		}
		b.run(200*time.Millisecond, 1.2, 40, 255)
		ratio := b.value(quantity.Reynolds) / plain.value(quantity.Reynolds)
		if want := 995.65 / 992.22; math.Abs(ratio-want) > 2e-4 {
			t.Errorf("%s: Re is %v of that without, want %v", name, ratio, want)
		}
		if b.relativeU() <= plain.relativeU() {
			t.Errorf("%s: the uncertainty of the water in the meter does not count", name)
		}
	}
}

// Steady rests on the three windows and on the tube: at 0.1 m/s three passages of 0.9 m
// and the viscous time are more than the minute of the windows only where the tube is
// long. What is waited for is said, and counts down.
func TestSettlingCountsDown(t *testing.T) {
	b := warmRig(t)
	if b.run(30*time.Second, 0.8, 20, 255); b.value(quantity.Steady) != 0 {
		t.Fatal("steady after half a window")
	}
	left := b.value(quantity.SettlingSeconds)
	if left < 20 || left > 35 || b.state.WaitsFor == "" {
		t.Errorf("%v s left, waits for %q", left, b.state.WaitsFor)
	}
	b.run(10*time.Second, 0.8, 20, 255)
	if now := b.value(quantity.SettlingSeconds); math.Abs(left-10-now) > 1 {
		t.Errorf("%v s left, 10 s later %v", left, now)
	}
	b.run(30*time.Second, 0.8, 20, 255)
	if _, known := b.state.Values.Get(quantity.SettlingSeconds); known || b.value(quantity.Steady) != 1 || b.state.WaitsFor != "" {
		t.Errorf("steady %v, settling known %v, waits for %q", b.value(quantity.Steady), known, b.state.WaitsFor)
	}
	b.run(time.Second, 0.84, 20, 255) // the valve is turned by 5 %
	b.run(time.Second, 0.84, 20, 255)
	if left := b.value(quantity.SettlingSeconds); left < 50 || !strings.Contains(b.state.WaitsFor, "flow") {
		t.Errorf("%v s after the valve was turned, waits for %q", left, b.state.WaitsFor)
	}
	b.at += 1234567 * time.Nanosecond
	b.step(daq.Input{Kind: daq.KindTick})
	if left := b.value(quantity.SettlingSeconds); left != math.Round(left*1000)/1000 {
		t.Errorf("%v s is closer than to the millisecond", left)
	}
}

// A long tube outlasts the windows: 3 m at 0.05 m/s need 180 s and the viscous time of
// 7.3 s (R²/(5.783·ν), 6.5 mm, 1.0034e-6 m²/s).
func TestALongTubeSettlesLater(t *testing.T) {
	lpm := 0.05 * math.Pi / 4 * 0.013 * 0.013 * 60000
	b := benchOf(t, "length = \"900 mm\"", "length = \"3 m\"")
	b.run(90*time.Second, lpm, 20, 255)
	if left := b.value(quantity.SettlingSeconds); math.Abs(left-(187.3-90)) > 3 || !strings.Contains(b.state.WaitsFor, "renewed") {
		t.Errorf("%v s left after 90 s, waits for %q; want some 97 s", left, b.state.WaitsFor)
	}
	b.run(93*time.Second, lpm, 20, 255)
	if b.value(quantity.Steady) != 0 {
		t.Error("steady after 183 s")
	}
	b.run(8*time.Second, lpm, 20, 255)
	if b.value(quantity.Steady) != 1 {
		t.Errorf("not steady after 191 s: %v s left, waits for %q", b.value(quantity.SettlingSeconds), b.state.WaitsFor)
	}
}

// A room thermometer in the sun or in the tank is doubted: the stated room is taken,
// with twice its uncertainty. A warm hall is a hall.
func TestARoomThermometerThatShowsNoRoom(t *testing.T) {
	const ambient = "[instruments.ambient]\nport = \"bus\"\nmodbus = {address = 6, table = \"input\", register = 0, type = \"int16\"}\n" +
		"scale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}\naccuracy = {fixed = \"0.5 K\"}\n[instruments.level]"
	see := func(water, shown float64, more ...string) *heated {
		b := warmRig(t, append([]string{"[instruments.level]", ambient}, more...)...)
		b.run(time.Second, 0.4, water, 255)
		b.read(quantity.Ambient, 10*shown)
		b.run(time.Second, 0.4, water, 255)
		return b
	}
	assumed := warmRig(t)
	assumed.run(2200*time.Millisecond, 0.4, 65, 255)
	for _, c := range []struct {
		water, shown float64
		doubted      bool
	}{{65, 21, false}, {65, 44, false}, {65, 46, true}, {65, 64, true}, {65, -19, false}, {65, -21, true}, {40, 39, true}, {40, 37, false}, {20, 28, false}, {32, 31, true}} {
		b := see(c.water, c.shown)
		if got := b.state.Quality[quantity.Ambient].Grade == daq.Uncertain; got != c.doubted {
			t.Errorf("water %v °C, room %v °C: doubted %v", c.water, c.shown, got)
		}
		if fall := b.value(quantity.TubeTemperatureFall); c.water == 65 && c.doubted && math.Abs(fall/assumed.value(quantity.TubeTemperatureFall)-1) > 0.01 {
			t.Errorf("room %v °C: a fall of %v K, with the stated room %v K", c.shown, fall, assumed.value(quantity.TubeTemperatureFall))
		}
	}
	if doubted := see(65, 64); doubted.value2(quantity.TubeTemperatureFall) <= assumed.value2(quantity.TubeTemperatureFall) {
		t.Error("the doubt is not in the uncertainty")
	}
}

// What the doubt of the way is made of, by hand. Water that warms by 0.05 K/s runs at
// 0.05 m/s: 1 K colder for each metre that it has gone. A flow known to 1 % moves the
// place by 4.5 mm of 450 mm, 4.5 mK. And where the present flow is faster than that
// which filled the tube, the water was longer on its way than it seems: a fall of 0.6 K
// counts with the part by which it was, as limits, from 5 % on.
func TestTheDoubtOfTheWay(t *testing.T) {
	const length, velocity, ramp, fall = 0.45, 0.05, 0.05, 0.6
	for _, c := range []struct{ present, flowU, want float64 }{
		{velocity, 0.01, 0.0045},
		{velocity, 0.02, 0.009},
		{velocity, 0, 0},
		{1.04 * velocity, 0, 0},
		{1.07 * velocity, 0, fall * 0.07 / math.Sqrt(3)},
		{1.5 * velocity, 0, fall * 0.5 / math.Sqrt(3)},
		{0.93 * velocity, 0, fall * 0.07 / math.Sqrt(3)},
		{velocity, math.NaN(), 0},
	} {
		w, celsius := onTheWay{length: length}, 0.0
		for at := time.Duration(0); at <= time.Minute; at += 200 * time.Millisecond {
			celsius = 40 + ramp*at.Seconds()
			w.move(at, velocity, true)
			w.enter(celsius)
		}
		v := w.warmer(celsius, c.present, c.flowU, fall)
		if math.Abs(v.U-c.want) > 2e-4 || math.Abs(v.X+ramp*length/velocity) > 1e-3 {
			t.Errorf("flow %v m/s known to %v: %v ± %v K, want %v ± %v", c.present, c.flowU, v.X, v.U, -ramp*length/velocity, c.want)
		}
	}
}

// The water in the meter is assumed to be that of the tube's outlet, less what is
// stated: as warm as a thermometer there would show it.
func TestTheAssumedWaterInTheMeter(t *testing.T) {
	assumed := warmRig(t, "unit = \"L/min\"\n", "unit = \"L/min\"\nmeter_fall = \"5 K ± 1 K\"\n")
	assumed.run(time.Minute, 0.3, 65, 255)
	outlet := 65 - assumed.value(quantity.TubeTemperatureFall)
	if outlet > 64.5 {
		t.Fatalf("%v °C at the outlet: the test shows nothing", outlet)
	}
	measured := warmRig(t, "[instruments.level]", "[instruments.meter]\nport = \"bus\"\nmodbus = {address = 5, table = \"input\", register = 0, type = \"uint16\"}\nscale = {from = [0, 10000], to = [\"0 Cel\", \"100 Cel\"]}\naccuracy = {fixed = \"0.5 K\"}\n[instruments.level]")
	measured.run(time.Minute, 0.3, 65, 255)
	measured.read(quantity.Meter, math.Round((outlet-5)*100))
	measured.run(400*time.Millisecond, 0.3, 65, 255)
	if ratio := assumed.value(quantity.Reynolds) / measured.value(quantity.Reynolds); math.Abs(ratio-1) > 1e-5 {
		t.Errorf("Re %v of that with the outlet less 5 K measured", ratio)
	}
}
