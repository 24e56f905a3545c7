package engine

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/series"
	"flowrigd/daq"
)

// benchOf is a bench with a changed configuration: pairs of what stands there
// and what takes its place.
func benchOf(t *testing.T, change ...string) *heated {
	t.Helper()
	return &heated{bench: benchWith(t, strings.NewReplacer(change...).Replace(benchText))}
}

// play runs 200 ms intervals with what the rig does at each time since the
// beginning of the play, in seconds.
func (b *heated) play(length time.Duration, does func(s float64) (lpm, celsius, millimeters float64)) {
	for began := b.at; b.at < began+length; {
		lpm, celsius, millimeters := does((b.at - began + 200*time.Millisecond).Seconds())
		b.run(200*time.Millisecond, lpm, celsius, millimeters)
	}
}

// relativeU is the standard uncertainty of Re, of its value.
func (b *heated) relativeU() float64 {
	b.t.Helper()
	return b.value(quantity.ReynoldsUncertainty) / 2 / b.value(quantity.Reynolds)
}

const thermometerLimits = "accuracy = {fixed = \"0.5 K\"}\n"

// A thermometer with a lag of 4 s in water that warms by 0.02 K/s is 0.08 K
// behind, which counts in Re by dlnν/dT; by JCGM 100, 5.1.2, it adds in
// quadrature. dlnν/dT is taken from Re itself at 41.5 and 42.5 °C.
func TestASlowRampIsBehindByItsLag(t *testing.T) {
	const slope, lag = 0.02, 4.0
	at := func(celsius, slope float64) *heated {
		b := benchOf(t, thermometerLimits, thermometerLimits+"lag = \"4 s\"\n")
		b.play(90*time.Second, func(s float64) (float64, float64, float64) { return 1.2, celsius + slope*(s-90), 255 })
		return b
	}
	sensitivity := math.Log(at(42.5, 0).value(quantity.Reynolds) / at(41.5, 0).value(quantity.Reynolds))
	if math.Abs(sensitivity-0.0180) > 2e-4 { // IAPWS SR6-08: 0.01841 at 40 °C, 0.01633 at 50 °C
		t.Fatalf("dlnν/dT is %v", sensitivity)
	}
	still := at(42, 0).relativeU()
	for _, slope := range []float64{slope, -slope} {
		moving := at(42, slope).relativeU()
		if got, want := math.Sqrt(moving*moving-still*still), sensitivity*math.Abs(slope)*lag; !(math.Abs(got/want-1) <= 0.02) {
			t.Errorf("at %v K/s the lag adds %v of Re, by hand %v", slope, got, want)
		}
	}
}

// scattered is a noise of ± 20 mK that repeats in no short time, and is silent in
// the last 10 s of 90, so that the newest readings show the slope alone.
func scattered(s float64) float64 {
	if s > 80 {
		return 0
	}
	return 0.02 * math.Sin(1e4*s*s)
}

// doubt is the slope that scattered has by itself over the last minute of 90 s,
// and its standard error.
func doubt(t *testing.T) (slope, standardError float64) {
	w := series.NewWindow(slopeWindow, slopePoints)
	for at := 200 * time.Millisecond; at <= 90*time.Second; at += 200 * time.Millisecond {
		if w.Add(at, 42+scattered(at.Seconds())) { // judged as each point begins
			slope, standardError, _ = w.Slope()
		}
	}
	if standardError <= 0 {
		t.Fatalf("slope %v ± %v", slope, standardError)
	}
	return slope, standardError
}

// The lag of a slow ramp counts where the slope is more than three of its
// standard errors, and the time to the limit is given above two. A ramp on top of
// a series adds to its slope and leaves its standard error (Sen 1968).
func TestASlopeCountsAboveItsDoubt(t *testing.T) {
	chance, u := doubt(t)
	at := func(errors float64) *heated {
		b := benchOf(t, thermometerLimits, thermometerLimits+"lag = \"600 s\"\n") // long, so that so small a slope shows
		slope := errors*u - chance
		b.play(90*time.Second, func(s float64) (float64, float64, float64) {
			return 1.2, 42 + slope*(s-90) + scattered(s), 255
		})
		if got := b.value(quantity.TemperatureRate); math.Abs(got/(errors*u)-1) > 1e-3 {
			t.Fatalf("rate %v, made %v", got, errors*u)
		}
		return b
	}
	below, above := at(2.9), at(3.1)
	added := math.Sqrt(math.Pow(above.relativeU(), 2) - math.Pow(below.relativeU(), 2))
	if want := 0.0180 * 3.1 * u * 600; !(math.Abs(added/want-1) <= 0.05) {
		t.Errorf("above three standard errors the lag adds %v of Re, by hand %v", added, want)
	}
	for errors, want := range map[float64]bool{1.9: false, 2.1: true} {
		b := at(errors)
		s, known := b.state.Values.Get(quantity.SecondsToOverheat)
		if known != want {
			t.Errorf("at %v standard errors the time to the limit is known: %v", errors, known)
		}
		if byHand := (75 - 42) / (errors * u); known && math.Abs(s/byHand-1) > 1e-3 {
			t.Errorf("%v s to the limit, by hand %v", s, byHand)
		}
	}
}

// The time to the limit by hand: 33 K at 0.05 K/s are 660 s; with a limit of 60
// °C 360 s; beyond the limit none is left. At rest and while the water cools there
// is none to tell.
func TestSecondsToOverheat(t *testing.T) {
	for _, c := range []struct {
		name           string
		limit          string
		celsius, slope float64 // at the end
		want           float64
		known          bool
	}{
		{"rising", "", 42, 0.05, 660, true},
		{"rising by odd steps", "", 42, 0.07, 33 / 0.07, true},
		{"another limit", "60 Cel", 42, 0.05, 360, true},
		{"beyond the limit", "", 76, 0.05, 0, true},
		{"at rest", "", 42, 0, 0, false},
		{"cooling", "", 42, -0.05, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			more := ""
			if c.limit != "" {
				more = "[alarms.water-overheat]\nabove = \"" + c.limit + "\"\n"
			}
			b := benchOf(t, "[ports.bus]", more+"[ports.bus]")
			b.play(90*time.Second, func(s float64) (float64, float64, float64) { return 1.2, c.celsius + c.slope*(s-90), 255 })
			if s, known := b.state.Values.Get(quantity.SecondsToOverheat); known != c.known || math.Abs(s-c.want) > 1 {
				t.Errorf("%v s (%v), by hand %v (%v)", s, known, c.want, c.known)
			} else if s != math.Round(s*1000)/1000 {
				t.Errorf("%v s is closer than to the millisecond", s)
			}
		})
	}
}

// What may move in the minute that is called steady: 0.1 K, 1 mm, 0.5 % of the
// flow. A ramp without noise of 0.95 of that is steady, one of 1.1
// is not.
func TestWhatMayMoveWhileSteady(t *testing.T) {
	for _, c := range []struct {
		name                      string
		lpm, celsius, millimeters float64 // in a minute
	}{
		{"temperature", 0, 0.1, 0}, {"level", 0, 0, 1}, {"flow", 0.006, 0, 0},
	} {
		for share, want := range map[float64]bool{0.95: true, 1.1: false} {
			b := benchOf(t)
			b.play(90*time.Second, func(s float64) (float64, float64, float64) {
				m := share * s / 60
				return 1.2 + m*c.lpm, 42 + m*c.celsius, 255 + m*c.millimeters
			})
			if got := b.value(quantity.Steady) != 0; got != want {
				t.Errorf("%s that moves by %v of what may: steady %v", c.name, share, got)
			}
		}
	}
}

// A pulse meter shows the mean over its window, which is half of it late: a flow
// that grows by 0.3 L/min in each second is read 0.3 L/min too low with a window
// of 2 s, and that adds in quadrature.
func TestAPulseMeterIsHalfItsWindowLate(t *testing.T) {
	const slope, perLitre = 0.3, 100000.0 // L/min in a second; fine, so that no step of the count shows
	end := func(slope float64) *heated {
		meter := "unit = \"L/min\"\nrange = [\"0.2 L/min\", \"12 L/min\"]\naccuracy = {of_reading = \"0.5 %\", fixed = \"0.005 L/min\"}\n"
		b := benchOf(t, `type = "float32", words = "big"`, `type = "uint32", words = "big"`,
			meter, "pulses = {per_litre = 100000, bits = 32, window = \"2 s\"}\naccuracy = {of_reading = \"1 %\"}\n")
		litres := 0.0
		for b.at < 10*time.Second {
			b.at += 200 * time.Millisecond
			litres += (4 + slope*(b.at.Seconds()-9)) / 60 * 0.2 // the mean over the last window is 4 at 10 s
			b.step(daq.Input{Kind: daq.KindReading, Reading: daq.Reading{Instrument: quantity.Flow, Count: uint64(1000 + litres*perLitre), At: b.at}})
			b.read(quantity.Temperature, 420)
			b.read(quantity.Level, 4000+255*40)
			b.step(daq.Input{Kind: daq.KindTick})
		}
		return b
	}
	still, moving := end(0), end(slope)
	if got := moving.value(quantity.Flow) * 60000; math.Abs(got-4) > 0.05 {
		t.Fatalf("the flow is %v L/min, made 4", got)
	}
	got := math.Sqrt(math.Pow(moving.relativeU(), 2) - math.Pow(still.relativeU(), 2))
	if want := slope * 1 / 4; !(math.Abs(got/want-1) <= 0.05) {
		t.Errorf("the window adds %v of Re, by hand %v", got, want)
	}
}

// Only a heated tank rises by more than 0.05 K/s: while the permit is down that
// raises trip-ineffective after its half minute, and a slower rise does not.
func TestARiseThatOnlyAHeaterMakes(t *testing.T) {
	for slope, want := range map[float64]bool{0.055: true, 0.045: false} {
		b := benchOf(t, "[ports.bus]", "[trip]\nport = \"bus\"\nmodbus = {address = 9, coil = 0}\n[ports.bus]")
		b.run(5*time.Second, 1.2, 30, 255)
		b.must(b.do(daq.Give, ""))
		b.run(5*time.Second, 1.2, 30, 255)
		b.must(b.do(daq.Withdraw, ""))
		b.play(2*time.Minute, func(s float64) (float64, float64, float64) { return 1.2, 30 + slope*s, 255 })
		if got := slices.Contains(b.alarms(), "trip-ineffective unacknowledged"); got != want {
			t.Errorf("at %v K/s trip-ineffective is raised: %v", slope, got)
		}
	}
}

// What the room does to the profile is said where it matters, whichever way the water
// runs. Gr/Re at Re 1500 in a tube of 13 mm × 900 mm and a room of 20 °C is about 2 at
// 30 °C, 26 at 50 °C and 78 at 65 °C when vertical, a third more when horizontal
// (Churchill and Chu 1975, Le Fevre and Ede 1956, radiation and glass; computed for
// this project).
func TestTheProfileIsSaid(t *testing.T) {
	const ahead, behind, none = "run ahead along it", "holds the water back along it", ""
	for _, c := range []struct {
		way          string
		celsius, lpm float64
		want         string
	}{
		{"vertical-down", 30, 0.737, none}, {"vertical-down", 50, 0.509, ahead}, {"vertical-down", 65, 0.406, "run far ahead along it"},
		{"vertical-up", 30, 0.737, none}, {"vertical-up", 50, 0.509, behind}, {"vertical-up", 65, 0.406, "near a standstill"},
		{"horizontal", 30, 0.737, none}, {"horizontal", 50, 0.509, "turns the water over"}, {"horizontal", 65, 0.406, "turns the water over"},
	} {
		b := benchOf(t, "length = \"900 mm\"\n", "length = \"900 mm\"\norientation = \""+c.way+"\"\n")
		b.run(time.Second, c.lpm, c.celsius, 255)
		said := strings.Join(b.state.Warnings, "; ")
		if strings.Contains(said, "profile") != (c.want != none) && strings.Contains(said, "heat through") != (c.want != none) || !strings.Contains(said, c.want) {
			t.Errorf("%s at %v °C: %q, want %q", c.way, c.celsius, said, c.want)
		}
		if _, known := b.state.Values.Get(quantity.FrictionFactor); known != (c.celsius < 60) {
			t.Errorf("%s at %v °C: friction known %v", c.way, c.celsius, known)
		}
	}
}

// Water of 60 °C in a room of 20 °C, a tube of 13 mm × 900 mm: Gr/Re passes 60 at 0.399
// L/min where the tube is vertical, and is above 10 up to the limit of turbulence, at
// 1.162 L/min, where it is horizontal (see calc/pipe, TestTubeInACoolRoom).
func TestBuoyancyWarnsWhicheverWayTheWaterRuns(t *testing.T) {
	for _, c := range []struct {
		way, says string
		lpm       map[float64]bool
	}{
		{"vertical-down", "run far ahead along it", map[float64]bool{0.38: true, 0.42: false}},
		{"vertical-up", "near a standstill", map[float64]bool{0.38: true, 0.42: false}},
		{"horizontal", "profile is not known", map[float64]bool{1.1: true, 1.2: false}},
	} {
		for lpm, want := range c.lpm {
			b := benchOf(t, "length = \"900 mm\"\n", "length = \"900 mm\"\norientation = \""+c.way+"\"\n",
				"[instruments.level]", "[instruments.ambient]\nport = \"bus\"\nmodbus = {address = 5, table = \"input\", register = 0, type = \"int16\"}\n"+
					"scale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}\naccuracy = {fixed = \"0.5 K\"}\n[instruments.level]")
			b.run(time.Second, lpm, 60, 255)
			b.read(quantity.Ambient, 200)
			if got := strings.Contains(strings.Join(b.state.Warnings, "; "), c.says); got != want {
				t.Errorf("%s at %v L/min: warns %v; warnings %q", c.way, lpm, got, b.state.Warnings)
			}
		}
	}
}

// A rise counts that stands out by two standard errors.
func TestARiseStandsOutOfTheNoise(t *testing.T) {
	for se, want := range map[float64]bool{0.0149: true, 0.0151: false} {
		p := plausibility{hasSlope: true, slope: stillRising + 0.03, se: se}
		if got := p.rising(); got != want {
			t.Errorf("0.03 K/s above the limit, standard error %v K/s: rising %v", se, got)
		}
	}
}
