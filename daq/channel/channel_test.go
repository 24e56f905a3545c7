package channel

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

const lpm = 1e-3 / 60 // m³/s of one litre per minute

func flowMeter() config.Instrument {
	return config.Instrument{
		ID: quantity.Flow, Name: "flow", Every: 200 * time.Millisecond, StaleAfter: 2 * time.Second,
		Unit:     &config.Unit{Text: "L/min", Factor: lpm},
		Range:    &config.Range{Low: 0.2 * lpm, High: 12 * lpm},
		Accuracy: &config.Accuracy{OfReading: 0.005, Fixed: 0.005 * lpm},
	}
}

func levelLoop() config.Instrument {
	return config.Instrument{
		ID: quantity.Level, Name: "level", Every: 200 * time.Millisecond, StaleAfter: 2 * time.Second,
		Scale: &config.Scale{From: [2]float64{4000, 20000}, To: [2]float64{0, 0.4}},
	}
}

func clean(id quantity.ID, at time.Duration, number float64) daq.Reading {
	return daq.Reading{Instrument: id, Number: number, Count: uint64(max(number, 0)), At: at}
}

// takeOne gives a new channel one clean number.
func takeOne(in config.Instrument, number float64) Measured {
	c := New(in)
	c.Take(clean(in.ID, time.Second, number), nil)
	return c.At(time.Second)
}

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Abs(want)
}

// Oracle: the definitions of the units, and half-width ÷ √3 (JCGM 100:2008,
// 4.3.7), computed by hand.
func TestChannelUnitAndAccuracy(t *testing.T) {
	m := takeOne(flowMeter(), 1.2)
	if !near(m.Value, 2e-5, 1e-12) {
		t.Errorf("1.2 L/min = %v m³/s", m.Value)
	}
	if want := (0.005*1.2 + 0.005) * lpm / math.Sqrt(3); !near(m.DominantU, want, 1e-12) || m.Shape != uncertainty.Rectangular {
		t.Errorf("U = %v (%v), want %v rectangular", m.DominantU, m.Shape, want)
	}
	if m.Quality.Grade != daq.Good || m.Reason != "" {
		t.Errorf("quality %v, reason %q", m.Quality, m.Reason)
	}
	none := flowMeter()
	none.Accuracy = nil
	if m := takeOne(none, 1.2); !math.IsNaN(m.DominantU) {
		t.Errorf("without stated accuracy U = %v, want unknown", m.DominantU)
	}
	span := flowMeter()
	span.Accuracy = &config.Accuracy{OfSpan: 0.01}
	if want := 0.01 * 11.8 * lpm / math.Sqrt(3); !near(takeOne(span, 1.2).DominantU, want, 1e-12) {
		t.Errorf("of span: U = %v, want %v", takeOne(span, 1.2).DominantU, want)
	}
}

// Oracle: NAMUR NE 43, figures from memory: 3.6 and 21 mA are failures, 3.8 to
// 20.5 mA is measurement.
func TestChannelCurrentLoop(t *testing.T) {
	cases := []struct {
		name   string
		number float64
		grade  daq.Grade
		reason daq.Reason
		value  float64
	}{
		{"start of scale", 4000, daq.Good, "", 0},
		{"middle", 12000, daq.Good, "", 0.2},
		{"end of scale", 20000, daq.Good, "", 0.4},
		{"lower end of the measuring span", 3800, daq.Good, "", -0.005},
		{"upper end of the measuring span", 20500, daq.Good, "", 0.4125},
		{"under-range", 3700, daq.Uncertain, daq.ReasonRange, -0.0075},
		{"over-range", 20800, daq.Uncertain, daq.ReasonRange, 0.42},
		{"failure low", 3600, daq.Missing, daq.ReasonOpen, math.NaN()},
		{"open loop", 0, daq.Missing, daq.ReasonOpen, math.NaN()},
		{"failure high", 21000, daq.Missing, daq.ReasonOpen, math.NaN()},
		{"shorted", 65535, daq.Missing, daq.ReasonOpen, math.NaN()},
	}
	for _, withRange := range []bool{false, true} {
		in := levelLoop()
		if withRange {
			in.Range = &config.Range{Low: 0, High: 0.4}
		}
		for _, c := range cases {
			m := takeOne(in, c.number)
			same := near(m.Value, c.value, 1e-9) || math.IsNaN(m.Value) && math.IsNaN(c.value) || math.Abs(m.Value-c.value) < 1e-12
			if m.Quality.Grade != c.grade || m.Reason != c.reason || !same {
				t.Errorf("%s (range stated: %v): %v, %v, %q", c.name, withRange, m.Value, m.Quality, m.Reason)
			}
		}
	}
}

func TestChannelRange(t *testing.T) {
	cases := []struct {
		name   string
		number float64
		grade  daq.Grade
	}{
		{"lower end", 0.2, daq.Good},
		{"upper end", 12, daq.Good},
		{"above", 12.01, daq.Missing},
		{"standing water", 0.05, daq.Uncertain},
		{"drift of the zero", -0.03, daq.Uncertain},
		{"far below", -3, daq.Missing},
		{"none at all", 0, daq.Uncertain},
		{"backwards by less than the range begins", -0.1, daq.Missing},
		{"nearly none", 1e-6, daq.Uncertain},
	}
	for _, c := range cases {
		m := takeOne(flowMeter(), c.number)
		if m.Quality.Grade != c.grade {
			t.Errorf("%s: %v", c.name, m.Quality)
		}
		if c.grade != daq.Good && m.Reason != daq.ReasonRange {
			t.Errorf("%s: reason %q", c.name, m.Reason)
		}
	}
}

// Oracle: 1.2 as a float of 32 bits is 3F 99 99 9A, and 1.5 is 3F C0 00 00 (IEEE
// 754, computed); with the words the other way round they are -1.6e-23 and
// 2.3e-41, the latter denormal. Neither is a small flow, with a range or
// without. The number that a meter of 12 L/min sends while its valve is shut is.
func TestChannelWrongOrder(t *testing.T) {
	swapped := func(bits uint32) float64 { return float64(math.Float32frombits(bits<<16 | bits>>16)) }
	for _, ranged := range []*config.Range{nil, {Low: 0.2 * lpm, High: 12 * lpm}, {Low: 0, High: 12 * lpm}} {
		in := flowMeter()
		in.Range, in.Modbus = ranged, &config.Modbus{Address: 1, Type: config.Float32}
		for _, number := range []float64{swapped(0x3F99999A), swapped(0x3FC00000), 1e-13, -1e-13} {
			m := takeOne(in, number)
			if m.Quality.Usable() || m.Reason != daq.ReasonRange || !strings.Contains(m.Quality.Why, "is no number that a sensor sends; check words (the word order), bytes, type and register") {
				t.Errorf("range %v: %v: %v, %v, %q", ranged, number, m.Value, m.Quality, m.Reason)
			}
		}
		if m := takeOne(in, -1.5); m.Quality.Usable() || !strings.Contains(m.Quality.Why, "-1.5 L/min is a flow below zero, which this meter cannot tell; check its direction and its zero, and words (the word order)") {
			t.Errorf("range %v: a negative flow: %v", ranged, m.Quality)
		}
		if m := takeOne(in, 3e20); m.Quality.Usable() || !strings.Contains(m.Quality.Why, "words (the word order)") {
			t.Errorf("range %v: a huge flow: %v", ranged, m.Quality)
		}
		for _, number := range []float64{0, 1e-4, -0.004} {
			if m := takeOne(in, number); !m.Quality.Usable() {
				t.Errorf("range %v: %v: %v", ranged, number, m.Quality)
			}
		}
	}
	in := flowMeter()
	in.ID, in.Range = quantity.SupplyFlow, &config.Range{Low: -12 * lpm, High: 12 * lpm}
	if m := takeOne(in, -3); m.Quality.Grade != daq.Good {
		t.Errorf("of a meter for both directions: %v", m.Quality)
	}
}

// With the words in a wrong order the low word, which is noise, makes the
// exponent: a few numbers look right by chance. None of them hides the fault for
// longer than stale_after, and once it is mended three readings are enough.
func TestChannelWrongOrderUnderNoise(t *testing.T) {
	in := flowMeter()
	in.Modbus = &config.Modbus{Address: 1, Type: config.Float32}
	r := rand.New(rand.NewPCG(7, 9))
	reading := func(swap bool) float64 {
		bits := math.Float32bits(float32(2.3 + 0.003*r.NormFloat64()))
		if swap {
			bits = bits<<16 | bits>>16
		}
		return float64(math.Float32frombits(bits))
	}
	c, at, usable := New(in), time.Duration(0), 0
	const n = 18000 // an hour
	for range n {
		at += in.Every
		if x := reading(true); !math.IsNaN(x) {
			c.Take(clean(in.ID, at, x), nil)
		}
		if c.At(at).Quality.Usable() {
			usable++
		}
	}
	t.Logf("usable in %d of %d states", usable, n)
	if usable > n/100 {
		t.Errorf("usable in %d of %d states", usable, n)
	}
	for i := range 3 {
		at += in.Every
		c.Take(clean(in.ID, at, reading(false)), nil)
		if good := c.At(at).Quality.Grade == daq.Good; good != (i == 2) {
			t.Errorf("mended, reading %d: %v", i+1, c.At(at).Quality)
		}
	}
}

// What a person is told of the numbers of a loop is in the loop's own figures.
func TestChannelLoopScale(t *testing.T) {
	in := levelLoop()
	in.Scale.From = [2]float64{4, 20}
	if m := takeOne(in, 14000); m.Reason != daq.ReasonRange || m.Quality.Why != "14000 on the wire is no current of a loop whose scale is 4 to 20; write in scale.from the numbers that the instrument sends at 4 mA and at 20 mA, such as [4000, 20000]" {
		t.Errorf("µA under a scale of mA: %v", m.Quality)
	}
	if m := takeOne(levelLoop(), 14); m.Reason != daq.ReasonOpen || m.Quality.Why != "the loop carries 0.01 mA: the sensor has failed or the loop is open; or it sends 14 at another scale: check scale.from, such as [4, 20]" {
		t.Errorf("mA under a scale of µA: %v", m.Quality)
	}
	if m := takeOne(levelLoop(), -5000); m.Reason != daq.ReasonRange || !strings.Contains(m.Quality.Why, "-5000 on the wire is no current") {
		t.Errorf("a negative current: %v", m.Quality)
	}
}

// Oracle: straight lines between the points, by hand.
func TestChannelCorrection(t *testing.T) {
	in := levelLoop()
	in.Correct = []config.CorrectPoint{{Indicated: 0, True: 0.0012}, {Indicated: 0.2, True: 0.2002}, {Indicated: 0.4, True: 0.3991}}
	cases := []struct {
		number, value float64
		grade         daq.Grade
	}{
		{4000, 0.0012, daq.Good},
		{8000, 0.1007, daq.Good},
		{12000, 0.2002, daq.Good},
		{16000, 0.29965, daq.Good},
		{20000, 0.3991, daq.Good},
		{20400, 0.4091, daq.Uncertain},
		{3900, -0.0013, daq.Uncertain},
	}
	for _, c := range cases {
		m := takeOne(in, c.number)
		if math.Abs(m.Value-c.value) > 1e-12 || m.Quality.Grade != c.grade {
			t.Errorf("%v: %v, %v, want %v", c.number, m.Value, m.Quality, c.value)
		}
	}
	// 0.15 + (0.41 − 0.15) is more than 0.41 in binary; that is not beyond the end.
	in.Scale.To = [2]float64{0.15, 0.41}
	in.Correct = []config.CorrectPoint{{Indicated: 0.15, True: 0.15}, {Indicated: 0.41, True: 0.40}}
	if m := takeOne(in, 20000); math.Abs(m.Value-0.40) > 1e-12 || m.Quality.Grade != daq.Good {
		t.Errorf("at the end: %v, %v", m.Value, m.Quality)
	}
}

func TestChannelAfterFaults(t *testing.T) {
	c := New(flowMeter())
	if m := c.At(0); m.Quality.Grade != daq.Missing || !math.IsNaN(m.Value) {
		t.Errorf("before the first reading: %v, %v", m.Value, m.Quality)
	}
	c.Take(clean(quantity.Flow, time.Second, 1.2), nil)
	c.Take(daq.Reading{Instrument: quantity.Flow, Reason: daq.ReasonTimeout, Error: "no answer", At: 2 * time.Second}, nil)
	cases := []struct {
		at   time.Duration
		want string
	}{
		{2 * time.Second, "uncertain: no answer; the last good value stands"},
		{3 * time.Second, "uncertain: no answer; the last good value stands"},
		{3100 * time.Millisecond, "bad: no good reading for 2.1 s: no answer"},
	}
	for _, k := range cases {
		m := c.At(k.at)
		if m.Quality.String() != k.want || m.Reason != daq.ReasonTimeout || math.IsNaN(m.Value) != (m.Quality.Grade == daq.Bad) {
			t.Errorf("at %v: %v (%v), want %q", k.at, m.Quality, m.Value, k.want)
		}
	}
	c.Take(clean(quantity.Flow, 4*time.Second, 1.3), nil)
	if m := c.At(4 * time.Second); m.Quality.Grade != daq.Good || !near(m.Value, 1.3*lpm, 1e-12) {
		t.Errorf("after the next clean reading: %v, %v", m.Value, m.Quality)
	}
	if m := c.At(6100 * time.Millisecond); m.Quality.String() != "bad: no good reading for 2.1 s: nothing came" {
		t.Errorf("after silence: %v", m.Quality)
	}
}

func TestChannelFaultBeforeAnyReading(t *testing.T) {
	c := New(flowMeter())
	c.Take(daq.Reading{Instrument: quantity.Flow, Reason: daq.ReasonPort, Error: "/dev/x: no such device", At: 1}, nil)
	if m := c.At(2); m.Quality.String() != "bad: /dev/x: no such device" || m.Reason != daq.ReasonPort {
		t.Errorf("%v, %q", m.Quality, m.Reason)
	}
}

func TestChannelNotANumber(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if m := takeOne(flowMeter(), x); m.Quality.Usable() || m.Reason != daq.ReasonOpen {
			t.Errorf("%v: %v, %q", x, m.Quality, m.Reason)
		}
	}
}

func TestChannelMaxStep(t *testing.T) {
	in := flowMeter()
	in.MaxStep = 1 * lpm
	c := New(in)
	at := time.Duration(0)
	take := func(number float64) Measured {
		at += in.Every
		c.Take(clean(in.ID, at, number), nil)
		return c.At(at)
	}
	take(1.2)
	if m := take(8.2); m.Reason != daq.ReasonStep || !near(m.Value, 1.2*lpm, 1e-12) || m.Quality.Grade != daq.Uncertain {
		t.Errorf("a wild number: %v, %v", m.Value/lpm, m.Quality)
	}
	if m := take(1.3); m.Quality.Grade != daq.Good {
		t.Errorf("back again: %v", m.Quality)
	}
	take(8.2)
	if m := take(8.3); m.Quality.Grade != daq.Good || !near(m.Value, 8.3*lpm, 1e-12) {
		t.Errorf("a confirmed jump: %v, %v", m.Value/lpm, m.Quality)
	}
}

func TestChannelFrozen(t *testing.T) {
	in := flowMeter()
	in.FrozenAfter = 5 * time.Second
	c := New(in)
	for at := time.Duration(0); at < 5*time.Second; at += in.Every {
		c.Take(clean(in.ID, at, 1.2), nil)
		if m := c.At(at); m.Quality.Grade != daq.Good {
			t.Fatalf("at %v: %v", at, m.Quality)
		}
	}
	c.Take(clean(in.ID, 5*time.Second, 1.2), nil)
	if m := c.At(5 * time.Second); m.Quality.Grade != daq.Bad || m.Reason != daq.ReasonFrozen {
		t.Errorf("unchanged for 5 s: %v, %q", m.Quality, m.Reason)
	}
	c.Take(clean(in.ID, 5200*time.Millisecond, 1.201), nil)
	if m := c.At(5200 * time.Millisecond); m.Quality.Grade != daq.Good {
		t.Errorf("moving again: %v", m.Quality)
	}
}

func TestChannelBoolean(t *testing.T) {
	in := config.Instrument{ID: quantity.SupplyOn, Name: "supply_on", StaleAfter: time.Second}
	for number, want := range map[float64]float64{0: 0, 1: 1, 255: 1} {
		if m := takeOne(in, number); m.Value != want || m.Quality.Grade != daq.Good {
			t.Errorf("%v: %v, %v", number, m.Value, m.Quality)
		}
	}
}

// A steady flow with normal noise as wide as the maker's limits allow must stay
// good, and so must one with hardly any noise or a coarse number.
func TestChannelNoiseIsNoMotion(t *testing.T) {
	in := flowMeter()
	in.Lag = 500 * time.Millisecond
	half := 0.005*1.2 + 0.005
	cases := []struct {
		name         string
		sigma, digit float64
	}{
		{"noise at the accuracy", half / math.Sqrt(3), 0},
		{"noise of a tenth", half / 10, 0},
		{"hardly any noise", half / 1000, 0},
		{"a digit as wide as the accuracy", half / 20, half},
		{"a digit of half the accuracy", half / 5, half / 2},
	}
	for _, k := range cases {
		t.Run(k.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(1, 2))
			c, moving := New(in), 0
			const n = 100000
			for i := range n {
				x := 1.2 + k.sigma*r.NormFloat64()
				if k.digit > 0 {
					x = math.Round(x/k.digit) * k.digit
				}
				at := time.Duration(i) * in.Every
				c.Take(clean(in.ID, at, x), nil)
				if c.At(at).Quality.Grade != daq.Good {
					moving++
				}
			}
			t.Logf("%d of %d readings called moving", moving, n)
			if moving > n/10000 {
				t.Errorf("%d of %d readings of a steady flow were called moving", moving, n)
			}
		})
	}
}

// The noise is that of the last 64 readings, by their median: one that begins is in
// the uncertainty when it is most of them, and a few jumps are not.
func TestChannelNoiseThatBegins(t *testing.T) {
	in := flowMeter()
	half := 0.005*1.2 + 0.005
	r, c, n := rand.New(rand.NewPCG(1, 2)), New(in), 0
	take := func(count int, sigma float64) float64 {
		var m Measured
		for range count {
			at := time.Duration(n) * in.Every
			n++
			c.Take(clean(in.ID, at, 1.2+sigma*r.NormFloat64()), nil)
			m = c.At(at)
		}
		return m.StandardU() / lpm
	}
	quiet := take(200, half/1000)
	if few := take(24, 5*half); few > 1.1*quiet {
		t.Errorf("24 readings of noise: u = %.4f L/min, before it %.4f", few, quiet)
	}
	if many := take(24, 5*half); many < 1.5*half {
		t.Errorf("48 readings of noise of %.4f L/min: u = %.4f", 5*half, many)
	}
	if still := take(24, half/1000); still < 1.5*half {
		t.Errorf("24 readings after the noise: u = %.4f L/min", still)
	}
	if over := take(64, half/1000); over > 1.1*quiet {
		t.Errorf("88 readings after the noise: u = %.4f L/min, before it %.4f", over, quiet)
	}
	c, n = New(in), 0
	if first := take(16, 5*half); first < 1.5*half {
		t.Errorf("16 readings from the start, all of noise: u = %.4f L/min", first)
	}
}

// Oracle: a first-order sensor, y' = (x − y)/lag, integrated exactly. Whenever
// a reading is called good it is within the maker's limits and 2·U of the
// truth, or of what the truth was within the last lag.
func TestChannelMovingValve(t *testing.T) {
	in := flowMeter()
	in.Lag = 500 * time.Millisecond
	half := func(x float64) float64 { return 0.005*x + 0.005 }
	for _, to := range []float64{1.25, 1.3, 1.5, 2.4, 8, 0.4} {
		r := rand.New(rand.NewPCG(3, 4))
		c := New(in)
		truth, y := 1.2, 1.2
		flagged, history := time.Duration(-1), []float64(nil)
		const valve, dt = 10 * time.Second, 10 * time.Millisecond
		for at := time.Duration(0); at < 20*time.Second; at += dt {
			if at >= valve {
				truth = 1.2 + (to-1.2)*math.Min(1, float64(at-valve)/1e9)
			}
			y += (truth - y) * (1 - math.Exp(-dt.Seconds()/0.5))
			history = append(history, truth)
			if at%in.Every != 0 {
				continue
			}
			c.Take(clean(in.ID, at, y+half(y)/20*r.NormFloat64()), nil)
			m := c.At(at)
			if m.Quality.Grade != daq.Good {
				if flagged < 0 {
					flagged = at
				}
				continue
			}
			low, high := bounds(history[max(0, len(history)-50):])
			v, u := m.Value/lpm, 2*m.StandardU()/lpm
			if v > high+u+half(v) || v < low-u-half(v) {
				t.Errorf("to %v: at %v a good %v ± %v where the truth was %v to %v", to, at, v, u, low, high)
			}
		}
		t.Logf("valve to %v L/min: first called moving after %v", to, flagged-valve)
		if math.Abs(to-1.2) > 0.5 && (flagged < valve || flagged > valve+2*in.Every) {
			t.Errorf("valve to %v: first called moving after %v", to, flagged-valve)
		}
	}
}

func bounds(x []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range x {
		low, high = min(low, v), max(high, v)
	}
	return low, high
}

func TestChannelUncertaintyOfMotion(t *testing.T) {
	in := flowMeter()
	in.Lag = 500 * time.Millisecond
	c := New(in)
	c.Take(clean(in.ID, 0, 1.2), nil)
	c.Take(clean(in.ID, in.Every, 1.6), nil)
	m := c.At(in.Every)
	if m.Quality.String() != "uncertain: moving; the reading lags by up to 0.5 s" {
		t.Errorf("quality %v", m.Quality)
	}
	// 0.4 L/min in 0.2 s is 2 L/min a second; 0.5 s behind that is 1 L/min.
	if want := math.Hypot(1, (0.005*1.6+0.005)/math.Sqrt(3)) * lpm; !near(m.StandardU(), want, 1e-9) {
		t.Errorf("U = %v L/min, want %v", m.StandardU()/lpm, want/lpm)
	}
}

// A value that stands still now may have moved a step ago: what moved longer than three
// lags ago is over, what creeps shows in eight steps where one says nothing.
func TestChannelLooksBackThreeLags(t *testing.T) {
	slow := flowMeter()
	slow.Lag, slow.Every, slow.StaleAfter = 5*time.Second, 20*time.Second, time.Minute
	c := New(slow)
	for i, x := range []float64{1.2, 1.6, 1.6} {
		c.Take(clean(slow.ID, time.Duration(i)*slow.Every, x), nil)
	}
	if m := c.At(2 * slow.Every); m.Quality.Grade != daq.Good {
		t.Errorf("a step that is over for four lags: %v", m.Quality)
	}
	creeping := flowMeter()
	creeping.Lag, creeping.Every = 10*time.Second, time.Second
	c = New(creeping)
	for i := range 9 { // a slope of 1.5 mL/min a second is 0.015 L/min behind; the limit is 0.011
		c.Take(clean(creeping.ID, time.Duration(i)*creeping.Every, 1.2+0.0015*float64(i)), nil)
	}
	want := math.Hypot(0.015, (0.005*1.212+0.005)/math.Sqrt(3)) * lpm
	if m := c.At(8 * time.Second); m.Quality.Grade != daq.Uncertain || !near(m.StandardU(), want, 1e-6) {
		t.Errorf("a slope over eight steps: %v, U = %v L/min, want %v", m.Quality, m.StandardU()/lpm, want/lpm)
	}
}

// A number that another question brings is no sign of life; after a change of anything else
// it is.
func TestWhatAnotherQuestionBrings(t *testing.T) {
	base := config.Instrument{Name: "temperature", Port: "bus", Query: &config.Query{Send: []byte("T?")}}
	for name, c := range map[string]struct {
		change func(in *config.Instrument)
		want   bool
	}{
		"nothing":  {func(*config.Instrument) {}, false},
		"accuracy": {func(in *config.Instrument) { in.Accuracy = &config.Accuracy{Fixed: 1} }, false},
		"same":     {func(in *config.Instrument) { in.Query = &config.Query{Send: []byte("T?")} }, false},
		"port":     {func(in *config.Instrument) { in.Port = "tc" }, true},
		"register": {func(in *config.Instrument) { in.Modbus = &config.Modbus{} }, true},
		"query":    {func(in *config.Instrument) { in.Query = &config.Query{Send: []byte("U?")} }, true},
		"stream":   {func(in *config.Instrument) { in.Stream = &config.Stream{} }, true},
	} {
		in := base
		in.FrozenAfter = 10 * time.Second
		old := &guard{in: in}
		old.frozen(daq.Reading{Number: 1, At: 0})
		c.change(&in)
		now := &guard{in: in}
		now.inherit(old)
		if since, _ := now.frozen(daq.Reading{Number: 2, At: 5 * time.Second}); (since == 0) != c.want {
			t.Errorf("%s: the same number since %v, another question: %v", name, since, c.want)
		}
		again := &guard{in: in}
		now.inherit(old)
		again.inherit(now) // two reloads before a reading
		if since, _ := again.frozen(daq.Reading{Number: 2, At: 5 * time.Second}); (since == 0) != c.want {
			t.Errorf("%s, and a reload more: the same number since %v", name, since)
		}
	}
}

func TestChannelIsDeterministic(t *testing.T) {
	in := flowMeter()
	in.Lag, in.MaxStep, in.FrozenAfter = time.Second, lpm, 3*time.Second
	play := func() string {
		r, c, b := rand.New(rand.NewPCG(5, 6)), New(in), strings.Builder{}
		for i := range 1000 {
			at := time.Duration(i) * in.Every
			reading := clean(in.ID, at, 1+r.Float64())
			if r.IntN(10) == 0 {
				reading = daq.Reading{Instrument: in.ID, Reason: daq.ReasonChecksum, Error: "wrong check", At: at}
			}
			c.Take(reading, nil)
			m := c.At(at)
			b.WriteString(m.Quality.String())
			b.WriteString(config.Format(m.Value, config.VolumeFlow))
		}
		return b.String()
	}
	first, second := play(), play()
	if first != second {
		t.Error("the same readings gave different values")
	}
}

// TestChannelPatience holds that an instrument that never gave a value is
// missing for stale_after, and bad from then on.
func TestChannelPatience(t *testing.T) {
	c := New(flowMeter())
	c.At(10 * time.Second)
	c.Take(daq.Reading{Instrument: quantity.Flow, Reason: daq.ReasonTimeout, Error: "no answer", At: 10 * time.Second}, nil)
	if m := c.At(12 * time.Second); m.Quality.Grade != daq.Missing || m.Quality.String() != "bad: no answer" {
		t.Errorf("within stale_after: grade %v, %v", m.Quality.Grade, m.Quality)
	}
	if m := c.At(12*time.Second + time.Millisecond); m.Quality.Grade != daq.Bad {
		t.Errorf("after stale_after: grade %v, %v", m.Quality.Grade, m.Quality)
	}
}

// What no water can be is a failed sensor, without a stated range too.
func TestChannelWithoutRange(t *testing.T) {
	tenths := func(id quantity.ID) config.Instrument {
		return config.Instrument{ID: id, Name: id.Short(), Every: time.Second, StaleAfter: 3 * time.Second,
			Scale: &config.Scale{From: [2]float64{0, 1000}, To: [2]float64{0, 100}}}
	}
	for _, c := range []struct {
		id     quantity.ID
		number float64
		usable bool
	}{
		{quantity.Temperature, 725, true}, {quantity.Temperature, -32768, false}, {quantity.Temperature, 32767, false},
		{quantity.HeaterOutlet, 8500, false}, {quantity.Tank, -2000, false}, {quantity.Tank, 20, true},
		{quantity.Ambient, -32768, false}, {quantity.Ambient, -150, true}, {quantity.Level, -32768, false}, {quantity.Level, -100, true},
		{quantity.PressureDrop, -32768, true}, {quantity.Flow, 5, true}, {quantity.Flow, -1, false}, {quantity.Flow, 11000, false},
	} {
		if m := takeOne(tenths(c.id), c.number); m.Quality.Usable() != c.usable || !c.usable && m.Reason != daq.ReasonRange {
			t.Errorf("%s of %v: %v, %v (%q)", c.id.Short(), c.number, m.Value, m.Quality, m.Reason)
		}
	}
}

// A scale from 4 to 20 mA is a current loop from either end and in any power of
// ten; another scale of 1 to 5 is not.
func TestWhatIsACurrentLoop(t *testing.T) {
	for _, c := range []struct {
		from   [2]float64
		number float64
		usable bool
	}{
		{[2]float64{4, 20}, 0, false}, {[2]float64{20, 4}, 0, false}, {[2]float64{20, 4}, 22, false}, {[2]float64{20, 4}, 12, true},
		{[2]float64{4000, 20000}, 3500, false}, {[2]float64{0.004, 0.020}, 0.0035, false}, {[2]float64{0.004, 0.020}, 0.012, true},
		{[2]float64{100, 500}, 600, true}, {[2]float64{100, 500}, 80, true}, {[2]float64{1, 5}, 0.5, true},
	} {
		in := config.Instrument{ID: quantity.Level, Name: "level", Every: time.Second, StaleAfter: 3 * time.Second,
			Scale: &config.Scale{From: c.from, To: [2]float64{0, 0.4}}}
		if m := takeOne(in, c.number); m.Quality.Usable() != c.usable {
			t.Errorf("%v on a scale from %v: %v", c.number, c.from, m.Quality)
		}
	}
}
