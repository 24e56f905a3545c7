package report

import (
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"flowrigd/calc/explain"
	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
	"flowrigd/config"
	"flowrigd/daq"
)

// Critical is the critical Re at one temperature, by one sign, coming from one side.
type Critical struct {
	transition.Estimate
	By      string // the sign
	From    string // rising, falling, or any
	Celsius float64
}

// criticals are the onsets of disturbance that people saw, for each direction of approach
// that was observed, and for all together where none was; and where they saw it turn
// turbulent too, the Re at which the thread is torn half of the time.
func criticals(observations []transition.Observation) (all []Critical, err error) {
	directions := []transition.Approach{transition.Rising, transition.Falling}
	pick := func(want func(transition.Approach) bool) (list []transition.Observation) {
		for _, o := range observations {
			if want(o.Approach) {
				list = append(list, o)
			}
		}
		return list
	}
	for _, a := range directions {
		if all, err = appendCriticals(all, a.String(), pick(func(b transition.Approach) bool { return a == b })); err != nil {
			return nil, err
		}
	}
	if len(all) == 0 {
		return appendCriticals(all, "any", observations)
	}
	return all, nil
}

func appendCriticals(all []Critical, from string, observations []transition.Observation) ([]Critical, error) {
	onset, err := transition.Analyse(observations, 0)
	if err != nil {
		return nil, err
	}
	half, err := transition.AnalyseHalf(observations, 0)
	if err != nil {
		return nil, err
	}
	for _, e := range append(onset, half...) {
		if e.Pooled || e.Approach != transition.Unstated {
			continue
		}
		switch c := (Critical{e, byEye, from, (e.LowCelsius + e.HighCelsius) / 2}); {
		case e.Limit == transition.Onset:
			all = append(all, c)
		case e.Limit == transition.Half && e.Fit != nil && e.Fit.Bounded:
			c.By = byEyeHalf
			all = append(all, c)
		}
	}
	return all, nil
}

// observationOf is what the analysis takes; false for one without a known Re or
// temperature.
func observationOf(o *daq.Observation) (transition.Observation, bool) {
	band, ok := quantity.ParseBand(o.Seen)
	if !ok || o.Reynolds == nil || o.ReynoldsUncertainty == nil || o.Water() == nil {
		return transition.Observation{}, false
	}
	approach, _ := transition.ParseApproach(o.Approach)
	out := transition.Observation{Reynolds: uncertainty.Expanded(*o.Reynolds, *o.ReynoldsUncertainty, 2), Celsius: *o.Water(), Seen: band, Approach: approach}
	_, err := transition.Analyse([]transition.Observation{out}, 0)
	return out, err == nil
}

// Value is the critical Re in words, with its interval or with why there is none.
func (c Critical) Value() string {
	if f := c.Fit; f != nil && f.Bounded {
		return fmt.Sprintf("%.0f, in %.0f to %.0f", rounded(f.Critical.X), rounded(f.Low), rounded(f.High))
	}
	return "no interval"
}

// Bracket is what was seen on either side.
func (c Critical) Bracket() string {
	if c.Limit == transition.Half {
		return c.halfBracket()
	}
	switch c.Outcome {
	case transition.AllBelow:
		return fmt.Sprintf("above %.0f: only laminar was seen", c.HighestBelow.X)
	case transition.AllAbove:
		return fmt.Sprintf("below %.0f: only disturbed was seen", c.LowestAbove.X)
	case transition.Separated:
		return fmt.Sprintf("laminar up to %.0f, disturbed from %.0f", c.HighestBelow.X, c.LowestAbove.X)
	case transition.Overlapping:
		return fmt.Sprintf("overlap: disturbed from %.0f, and laminar up to %.0f (%d observations between)", c.LowestAbove.X, c.HighestBelow.X, c.Crossed)
	}
	return "nothing seen"
}

// halfBracket is the bracket of a share of one half.
func (c Critical) halfBracket() string {
	switch c.Outcome {
	case transition.AllBelow:
		return fmt.Sprintf("above %.0f: never torn for half of the time", c.HighestBelow.X)
	case transition.AllAbove:
		return fmt.Sprintf("below %.0f: always torn for half of the time or more", c.LowestAbove.X)
	case transition.Separated:
		if c.By == byPressure {
			return fmt.Sprintf("nearer the laminar branch up to %.0f, the turbulent one from %.0f", c.HighestBelow.X, c.LowestAbove.X)
		}
		if c.By == byEyeHalf {
			return fmt.Sprintf("laminar up to %.0f, turbulent from %.0f", c.HighestBelow.X, c.LowestAbove.X)
		}
		return fmt.Sprintf("torn for less than half up to %.0f, for more from %.0f", c.HighestBelow.X, c.LowestAbove.X)
	case transition.Overlapping:
		if c.By == byPressure {
			return fmt.Sprintf("overlap: nearer the turbulent branch from %.0f, the laminar one up to %.0f (%d between)", c.LowestAbove.X, c.HighestBelow.X, c.Crossed)
		}
		if c.By == byEyeHalf {
			return fmt.Sprintf("overlap: turbulent from %.0f, and laminar up to %.0f", c.LowestAbove.X, c.HighestBelow.X)
		}
		return fmt.Sprintf("overlap: torn for more than half from %.0f, and for less up to %.0f (%d between)", c.LowestAbove.X, c.HighestBelow.X, c.Crossed)
	}
	return "nothing seen"
}

// rounded to ten: a critical Re is not known to one.
func rounded(v float64) float64 { return math.Round(v/10) * 10 }

// statedU is the standard uncertainty that the papers of an instrument state of a value.
func statedU(i *config.Instrument, value float64) float64 {
	switch {
	case i == nil:
		return 0
	case i.Accuracy != nil:
		span := 0.0
		if i.Range != nil {
			span = i.Range.High - i.Range.Low
		}
		return (i.Accuracy.OfReading*math.Abs(value) + i.Accuracy.OfSpan*span + i.Accuracy.Fixed) / math.Sqrt(3)
	case i.Calibration != nil:
		return math.Hypot(i.Calibration.OfReading*value, i.Calibration.Fixed)
	}
	return 0
}

// waterNear is water at a temperature where it is liquid.
func waterNear(celsius float64) (water.Properties, error) {
	return water.At(max(water.Freezing, min(water.BoilingHere, celsius)))
}

// Verdict is whether the critical Re is the same at all temperatures, by one sign and
// in one direction.
type Verdict struct {
	transition.Sameness
	By, From string
	Used     int // temperatures
}

// verdicts answer the question of the sweep.
func verdicts(all []Critical, causes func(transition.Estimate) []float64) (list []Verdict, err error) {
	for _, by := range [...]string{byEye, byEyeHalf, byLight, byPressure} {
		for _, from := range [...]string{"rising", "falling", "any"} {
			var estimates []transition.Estimate
			for _, c := range all {
				if c.From == from && c.By == by {
					estimates = append(estimates, c.Estimate)
				}
			}
			s, used, err := transition.SameOverTemperatures(estimates, causes)
			if err != nil {
				return nil, err
			}
			if used >= 2 {
				list = append(list, Verdict{s, by, from, used})
			}
		}
	}
	return list, nil
}

// String is the verdict in words.
func (v Verdict) String() string {
	answer := "the data do not contradict one critical Re at all temperatures"
	if v.P < 0.05 {
		answer = "the critical Re is not the same at all temperatures (level 0.05)"
	}
	direction := "Re " + v.From
	if v.From == "any" {
		direction = "whatever the direction"
	}
	return fmt.Sprintf("By %s, %s, %d temperatures: %s. Cochran's Q = %.2f with %d degrees of freedom, p = %s; weighted mean %s (k = 2).",
		v.By, direction, v.Used, answer, v.Q, v.Degrees, probability(v.P), explain.WithUncertainty(v.Mean, 2*v.U))
}

func probability(p float64) string {
	if p < 0.0001 {
		return "under 0.0001"
	}
	return fmt.Sprintf("%.2g", p)
}

// CriticalVelocity is what the critical Re means in this tube at one temperature.
type CriticalVelocity struct {
	Celsius, Viscosity           float64 // °C, m²/s
	Measured                     float64 // m/s, at the critical Re; 0 where there is none
	At2000, At2300, Lower, Upper float64 // m/s; Reynolds 1883 the last two
	FeedMouth, FeedAxis          float64 // m³/s of dye, at the mean and at twice the mean velocity of Re 2000
	From                         string
}

// velocities are the critical velocities of the temperatures, and how much dye to
// feed through a needle of that bore (m; 0 for none).
func velocities(all []Critical, temperatures []float64, bore, needle float64) (rows []CriticalVelocity) {
	row := func(celsius float64, re float64, from string) {
		w, err := water.At(celsius)
		if err != nil || celsius < 0 {
			return
		}
		nu := w.KinematicViscosity
		r := CriticalVelocity{Celsius: celsius, Viscosity: nu, Measured: re * nu / bore, At2000: 2000 * nu / bore, At2300: 2300 * nu / bore, From: from}
		if v, err := transition.Reynolds1883(bore, celsius); err == nil {
			r.Lower, r.Upper = v.Lower, v.Upper
		}
		if q, err := transition.ThreadFlow(needle, r.At2000); err == nil {
			r.FeedMouth, r.FeedAxis = q, 2*q
		}
		rows = append(rows, r)
	}
	for _, c := range all {
		switch {
		case c.Fit != nil && c.Fit.Bounded:
			row(c.Celsius, c.Fit.Critical.X, c.From+", by "+c.By)
		case c.narrow():
			row(c.Celsius, c.Critical.X, c.From+", by "+c.By+", middle of the bracket")
		}
	}
	if len(rows) == 0 {
		for _, celsius := range temperatures {
			row(celsius, 0, "")
		}
	}
	return rows
}

// shortTube says what a tube of that length cannot show.
func shortTube(diameters float64) string {
	floor, err := transition.FloorOf(diameters)
	if err != nil || floor > 2040 {
		return ""
	}
	return fmt.Sprintf("This tube is %.0f bores long. It cannot show the 2040 at which turbulence just sustains itself in very long pipes: a patch of turbulence that would die needs longer to do so than it takes to leave the tube, down to about Re %.0f (from the lives of such patches, Avila et al. 2011, constants from memory). Coming down with disturbed water shows that floor; going up with quiet water shows this rig's own threshold, which may lie far higher.",
		diameters, rounded(floor))
}

// narrow says that a bracket is closed, and its middle is of use: in one step of the valve
// from turbulent to laminar Re goes by all there is.
func (c Critical) narrow() bool {
	return c.Known && math.Abs(c.LowestAbove.X-c.HighestBelow.X) < 0.3*c.Critical.X
}

// lookOf is how a critical Re is drawn: the ink tells the direction, the shape the sign.
func lookOf(c Critical) mark {
	inks := map[string]color.Color{"rising": orange, "falling": blue, "any": black}
	shapes := map[string]draw.GlyphDrawer{byEye: draw.RingGlyph{}, byEyeHalf: draw.CircleGlyph{}, byLight: draw.TriangleGlyph{}, byPressure: draw.BoxGlyph{}}
	return mark{inks[c.From], shapes[c.By]}
}

// beside is by how many kelvin one is drawn beside the others of its temperature.
func beside(c Critical) float64 {
	x := 0.5 * float64(slices.Index([]string{byEye, byEyeHalf, byLight, byPressure}, c.By))
	if c.From == "falling" {
		x += 0.25
	}
	return x
}

// CriticalOverTemperature is the critical Re over temperature with its intervals; a
// bracket that stands alone is a dotted line without a point.
func CriticalOverTemperature(all []Critical) (Picture, bool, error) {
	p := newPlot("water temperature where the dye is watched, °C", "critical Reynolds number")
	drawn, low, high := 0, math.Inf(1), math.Inf(-1)
	named := map[string]bool{}
	for _, c := range all {
		look, x := lookOf(c), c.Celsius+beside(c)
		low, high = min(low, c.Celsius), max(high, c.Celsius)
		name := c.From + ", by " + c.By
		if named[name] {
			name = ""
		}
		switch {
		case c.Fit != nil && c.Fit.Bounded:
			addLine(p, "", look.ink, nil, plotter.XYs{{X: x, Y: c.Fit.Low}, {X: x, Y: c.Fit.High}})
			s := &plotter.Scatter{XYs: plotter.XYs{{X: x, Y: c.Fit.Critical.X}}, GlyphStyle: draw.GlyphStyle{Color: look.ink, Shape: look.shape, Radius: 3.5}}
			p.Add(s)
			if name != "" {
				p.Legend.Add(name, plot.Thumbnailer(s))
				named[name] = true
			}
		case c.narrow():
			name = "bracket alone"
			if named[name] {
				name = ""
			}
			named["bracket alone"] = true
			addLine(p, name, look.ink, dotted, plotter.XYs{{X: x, Y: c.HighestBelow.X}, {X: x, Y: c.LowestAbove.X}})
		default:
			continue
		}
		drawn++
	}
	if drawn == 0 {
		return Picture{}, false, nil
	}
	low, high = low-5, high+5
	addLine(p, "2000 (Reynolds) and 2300 (textbooks)", grey, dashed, plotter.XYs{{X: low, Y: 2000}, {X: high, Y: 2000}})
	addLine(p, "", grey, dashed, plotter.XYs{{X: low, Y: 2300}, {X: high, Y: 2300}})
	p.X.Min, p.X.Max = low, high
	p.Y.Max += (p.Y.Max - p.Y.Min) * (0.2 + 0.075*float64(len(named)))
	what := fmt.Sprintf("%d critical Reynolds numbers between %.0f and %.0f °C, each", drawn, low+5, high-5)
	if drawn == 1 {
		what = fmt.Sprintf("The critical Reynolds number at %.0f °C", low+5)
	}
	picture, err := render(p, "Critical Reynolds number against temperature",
		what+" with its interval of level 0.9 or its bracket; the numbers stand in the table of results. Dashed lines stand at 2000 and 2300.")
	return picture, err == nil, err
}
