package transition

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s %.10g, want %.10g within %g", what, got, want, relative)
	}
}

// seen makes observations at 20 °C without uncertainty: L, T and D (turbulent)
// by letter.
func seen(letters string, re ...float64) []Observation {
	bands := map[byte]quantity.Band{'L': quantity.Laminar, 'T': quantity.Transitional, 'D': quantity.Turbulent}
	var all []Observation
	for i, r := range re {
		all = append(all, Observation{Reynolds: uncertainty.Value{X: r}, Celsius: 20, Seen: bands[letters[i]]})
	}
	return all
}

// one is the estimate for a limit, an approach and pooled or the first group.
func one(t *testing.T, all []Estimate, limit Limit, a Approach, pooled bool) Estimate {
	t.Helper()
	for _, e := range all {
		if e.Limit == limit && e.Approach == a && e.Pooled == pooled {
			return e
		}
	}
	t.Fatalf("no estimate of %v, approach %q, pooled %v", limit, a, pooled)
	return Estimate{}
}

func TestInterval(t *testing.T) {
	rows := []struct {
		name         string
		letters      string
		re           []float64
		limit        Limit
		outcome      Outcome
		below, above float64 // 0: none
		crossed      int
	}{
		{"nothing", "", nil, Onset, Nothing, 0, 0, 0},
		{"laminar only", "LL", []float64{1800, 1500}, Onset, AllBelow, 1800, 0, 0},
		{"turbulent only", "DD", []float64{4800, 4500}, Onset, AllAbove, 0, 4500, 0},
		{"separated", "LTLD", []float64{1900, 2400, 2100, 4500}, Onset, Separated, 2100, 2400, 0},
		{"separated, full turbulence", "LTLD", []float64{1900, 2400, 2100, 4500}, Complete, Separated, 2400, 4500, 0},
		{"overlapping", "LTLTD", []float64{1900, 2050, 2300, 2400, 4500}, Onset, Overlapping, 2300, 2050, 2},
		{"both at the same Re", "LT", []float64{2100, 2100}, Onset, Overlapping, 2100, 2100, 2},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			all, err := Analyse(seen(row.letters, row.re...), 0)
			if err != nil {
				t.Fatal(err)
			}
			e := one(t, all, row.limit, Unstated, true)
			if e.Outcome != row.outcome || e.HighestBelow.X != row.below || e.LowestAbove.X != row.above || e.Crossed != row.crossed {
				t.Errorf("%v: below %g, above %g, %d crossed; want %v: %g, %g, %d", e.Outcome, e.HighestBelow.X, e.LowestAbove.X, e.Crossed, row.outcome, row.below, row.above, row.crossed)
			}
			if e.Known != (row.below > 0 && row.above > 0) {
				t.Errorf("critical known: %v", e.Known)
			}
			if e.Known {
				near(t, "critical", e.Critical.X, (row.below+row.above)/2, 1e-12)
			}
		})
	}
}

// TestCriticalUncertainty: 2000 to 2240 is ±120, 69.28 as a rectangle (JCGM
// 100, 4.3.7); the ends' 40 are common to both and add in quadrature: 80.
func TestCriticalUncertainty(t *testing.T) {
	o := seen("LT", 2000, 2240)
	all, err := Analyse(o, 0)
	if err != nil {
		t.Fatal(err)
	}
	if e := one(t, all, Onset, Unstated, true); math.Abs(e.Critical.U-69.282) > 1e-3 || e.Critical.Shape != uncertainty.Rectangular {
		t.Errorf("exact ends: %+v", e.Critical)
	}
	o[0].Reynolds.U, o[1].Reynolds.U = 38, 42
	all, _ = Analyse(o, 0)
	if e := one(t, all, Onset, Unstated, true); math.Abs(e.Critical.U-80) > 1e-2 || e.Critical.Shape != uncertainty.Normal {
		t.Errorf("ends ± 40: %+v", e.Critical)
	}
}

func TestTemperaturesAndApproach(t *testing.T) {
	var all []Observation
	add := func(celsius, re float64, band quantity.Band, a Approach) {
		all = append(all, Observation{Reynolds: uncertainty.Value{X: re}, Celsius: celsius, Seen: band, Approach: a})
	}
	for _, celsius := range []float64{58.8, 21, 40.2} { // not in order
		add(celsius, 2600, quantity.Laminar, Rising)
		add(celsius+1, 2900, quantity.Transitional, Rising)
		add(celsius-1, 2100, quantity.Transitional, Falling)
		add(celsius, 1900+celsius, quantity.Laminar, Falling)
	}
	got, err := Analyse(all, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 4*6 {
		t.Fatalf("%d estimates, want pooled and three temperatures of six", len(got))
	}
	pooled := one(t, got, Onset, Unstated, true)
	if pooled.Outcome != Overlapping || pooled.LowCelsius != 20 || pooled.HighCelsius != 59.8 || pooled.Crossed != 6 {
		t.Errorf("pooled: %+v", pooled)
	}
	if e := one(t, got, Onset, Rising, true); e.Outcome != Separated || e.Critical.X != 2750 {
		t.Errorf("rising: %+v", e)
	}
	if e := one(t, got, Onset, Falling, false); e.LowCelsius != 20 || e.HighCelsius != 21 || e.HighestBelow.X != 1921 || e.LowestAbove.X != 2100 {
		t.Errorf("falling at the first temperature: %+v", e)
	}
	if wide, _ := Analyse(all, 100); len(wide) != 2*6 {
		t.Errorf("%d estimates with a width of 100 K, want 12", len(wide))
	}
	if none, err := Analyse(nil, 0); err != nil || len(none) != 2 {
		t.Errorf("of nothing: %d estimates, %v; want the two pooled ones", len(none), err)
	}
}

// TestFitTwoLevels: with Re at two levels the model is saturated, and Firth's
// penalty (Jeffreys's prior) is exactly half an observation added to each cell
// of the 2×2 table (Firth 1993; Haldane 1956). So the answer is known in
// closed form, separated or not.
func TestFitTwoLevels(t *testing.T) {
	rows := []struct {
		name            string
		low, lowAbove   int // observations at 1900, of which above
		high, highAbove int // at 2500
	}{
		{"separated", 5, 0, 5, 5},
		{"separated, unequal", 9, 0, 4, 4},
		{"overlapping", 6, 1, 8, 6},
		{"many", 60, 5, 70, 66},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			var all []Observation
			add := func(n, above int, re float64) {
				letters := strings.Repeat("T", above) + strings.Repeat("L", n-above)
				for i := range n {
					all = append(all, seen(letters[i:], re)...)
				}
			}
			add(row.low, row.lowAbove, 1900)
			add(row.high, row.highAbove, 2500)
			logit := func(n, above int) float64 {
				return math.Log((float64(above) + 0.5) / (float64(n-above) + 0.5))
			}
			l0, l1 := logit(row.low, row.lowAbove), logit(row.high, row.highAbove)
			x0, x1 := math.Log(1900), math.Log(2500)
			want := x0 - l0*(x1-x0)/(l1-l0)
			f := fit(all, Onset)
			if f == nil {
				t.Fatal("no fit")
			}
			near(t, "critical", f.Critical.X, math.Exp(want), 1e-7)
			near(t, "scale", f.Scale, (x1-x0)/(l1-l0), 1e-7)
			// Delta method on the two independent logits, var = 1/(n·p·(1−p)).
			v := func(n int, l float64) float64 { p := 1 / (1 + math.Exp(-l)); return 1 / (float64(n) * p * (1 - p)) }
			d := (x1 - x0) / ((l1 - l0) * (l1 - l0))
			u := d * math.Sqrt(l1*l1*v(row.low, l0)+l0*l0*v(row.high, l1))
			near(t, "u", f.Critical.U/f.Critical.X, u, 1e-6)
		})
	}
}

// TestFitDirect: the same penalised likelihood maximised by a general search
// (computed with scipy.optimize, Nelder–Mead, tolerance 1e-12).
func TestFitDirect(t *testing.T) {
	rows := []struct {
		name               string
		letters            string
		re                 []float64
		critical, scale, u float64
	}{
		{"separated", "LLLLLTTTTD", []float64{1600, 1750, 1900, 2000, 2100, 2250, 2300, 2500, 2800, 3200}, 2161.963163, 0.05709072, 0.05712912},
		{"overlapping", "LLLTLTLLTTTD", []float64{1600, 1750, 1900, 2150, 2100, 2250, 2050, 2300, 2200, 2500, 2800, 3200}, 2178.084497, 0.09166746, 0.06633488},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			f := fit(seen(row.letters, row.re...), Onset)
			if f == nil {
				t.Fatal("no fit")
			}
			near(t, "critical", f.Critical.X, row.critical, 1e-6)
			near(t, "scale", f.Scale, row.scale, 1e-5)
			near(t, "u", f.Critical.U/f.Critical.X, row.u, 1e-5)
		})
	}
}

// TestFitCoverage: made observations with a known truth; critical ± 2u holds
// it 95 times in a hundred or close.
func TestFitCoverage(t *testing.T) {
	const truth, scale, sets = 2300.0, 0.05, 1000
	r := rand.New(rand.NewPCG(1883, 935))
	held, fitted := 0, 0
	for range sets {
		var all []Observation
		for range 40 {
			re := 1700 + 1300*r.Float64()
			letter := "L"
			if r.Float64() < 1/(1+math.Exp(-math.Log(re/truth)/scale)) {
				letter = "T"
			}
			all = append(all, seen(letter, re)...)
		}
		f := fit(all, Onset)
		if f == nil {
			continue
		}
		fitted++
		if math.Abs(f.Critical.X-truth) <= 2*f.Critical.U {
			held++
		}
	}
	share := float64(held) / float64(fitted)
	t.Logf("%d of %d sets fitted, coverage %.3f", fitted, sets, share)
	if fitted < sets*99/100 || share < 0.93 {
		t.Errorf("%d of %d sets fitted, coverage %.3f; want 99 %% and 0.93", fitted, sets, share)
	}
}

func TestNoFit(t *testing.T) {
	for name, all := range map[string][]Observation{
		"five observations":     seen("LLLTT", 1, 2, 3, 4, 5),
		"one above":             seen("LLLLLT", 1, 2, 3, 4, 5, 6),
		"all at one Re":         seen("LTLTLT", 2000, 2000, 2000, 2000, 2000, 2000),
		"disturbed lies lower":  seen("TTTLLL", 1000, 1100, 1200, 3000, 3100, 3200),
		"limit below what seen": seen("TTLTTTTTTTTLTT", 2000, 2010, 2020, 2030, 2040, 2050, 2060, 2070, 2080, 2090, 2100, 2005, 2110, 2120),
	} {
		if f := fit(all, Onset); f != nil {
			t.Errorf("%s: %+v, want no fit", name, *f)
		}
	}
}

func TestBadObservations(t *testing.T) {
	good := seen("L", 2000)[0]
	rows := []struct {
		name   string
		change func(*Observation)
		want   string
	}{
		{"no Re", func(o *Observation) { o.Reynolds.X = 0 }, "observation 2: reynolds number: 0 is outside 1 to 1e6"},
		{"Re not a number", func(o *Observation) { o.Reynolds.X = math.NaN() }, "reynolds number: NaN"},
		{"u not a number", func(o *Observation) { o.Reynolds.U = math.NaN() }, "standard uncertainty NaN"},
		{"ice", func(o *Observation) { o.Celsius = -1 }, "temperature: -1 Cel"},
		{"no temperature", func(o *Observation) { o.Celsius = math.NaN() }, "temperature: NaN Cel"},
		{"no flow", func(o *Observation) { o.Seen = quantity.NoFlow }, `seen: "no-flow"`},
		{"nothing seen", func(o *Observation) { o.Seen = quantity.Unknown }, `seen: "unknown"`},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			bad := good
			row.change(&bad)
			_, err := Analyse([]Observation{good, bad}, 0)
			if err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("error %v, want %q in it", err, row.want)
			}
		})
	}
	if _, err := Analyse(nil, -1); err == nil || !strings.Contains(err.Error(), "width: -1 K") {
		t.Errorf("negative width: %v", err)
	}
}

// TestSources holds both tables against the rows of testdata, each with its
// own source and how it was obtained.
func TestSources(t *testing.T) {
	file, err := os.Open("../../testdata/tables/transition.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	printed := map[float64]bool{}
	checked := 0
	for _, row := range rows[1:] {
		switch row[0] {
		case "transition_threshold":
			printed[number(row[9])] = true
		case "reynolds_1883":
			v, err := Reynolds1883(number(row[4]), number(row[5]))
			if err != nil {
				t.Fatal(err)
			}
			got := v.Lower
			if row[1] == "critical_velocity_upper" {
				got = v.Upper
			}
			near(t, row[1]+" at "+row[5]+" Cel", got, number(row[9]), 5e-6)                   // six digits
			near(t, "Re of "+row[1], got*number(row[4])/number(row[8]), number(row[2]), 3e-5) // five digits
			checked++
		}
	}
	if checked != 24 {
		t.Errorf("%d critical velocities checked, want 24", checked)
	}
	for _, r := range References() {
		if !printed[r.Reynolds] || r.Source == "" || r.How == "" {
			t.Errorf("reference %g: not in testdata or without a source", r.Reynolds)
		}
	}
	if len(References()) != len(printed) {
		t.Errorf("%d references, %d in testdata", len(References()), len(printed))
	}
}

func TestReynolds1883BadInput(t *testing.T) {
	for name, in := range map[string][2]float64{
		"bore of zero": {0, 20}, "bore not a number": {math.NaN(), 20}, "ice": {0.013, -1}, "steam": {0.013, 101},
	} {
		if v, err := Reynolds1883(in[0], in[1]); err == nil {
			t.Errorf("%s: %+v, want an error", name, v)
		}
	}
}

func TestApproachWords(t *testing.T) {
	for _, a := range [...]Approach{Unstated, Rising, Falling} {
		if got, ok := ParseApproach(a.String()); !ok || got != a {
			t.Errorf("%q reads back as %v, %v", a, got, ok)
		}
	}
	if _, ok := ParseApproach("sideways"); ok {
		t.Error(`"sideways" was read`)
	}
}

// The standard uncertainty that all Re share (bore, meter) is common to the
// observations and does not average out: it adds in quadrature to the fit's own.
func TestFitKeepsTheCommonUncertainty(t *testing.T) {
	const common = 0.03
	o := seen("LLLTLTLLTTTD", 1600, 1750, 1900, 2150, 2100, 2250, 2050, 2300, 2200, 2500, 2800, 3200)
	exact, err := Analyse(o, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := range o {
		o[i].Reynolds.U = common * o[i].Reynolds.X
	}
	shared, err := Analyse(o, 0)
	if err != nil {
		t.Fatal(err)
	}
	without, with := one(t, exact, Onset, Unstated, true).Fit, one(t, shared, Onset, Unstated, true).Fit
	if without == nil || with == nil {
		t.Fatal("no fit")
	}
	near(t, "critical", with.Critical.X, without.Critical.X, 1e-12)
	near(t, "u", with.Critical.U, math.Hypot(without.Critical.U, common*without.Critical.X), 1e-9)
}
