package config

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"flowrigd/calc/explain"
	"flowrigd/calc/pipe"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// The limits of a reading where none are given: Reynolds, Phil. Trans. R. Soc. 174
// (1883) 935, for the lower, White, Fluid Mechanics, chapter 6, for the upper (both
// as quoted in transition.References).
const (
	usualLaminarBelow   = "2000"
	usualTurbulentAbove = "4000"
)

// Asked is one quantity of a timed reading at the tube, with the range in which the
// physics and a bench have sense, in SI units or degrees Celsius.
type Asked struct {
	Flag, Preset, Help string // of the verb calc

	name      string
	dimension Dimension
	low, high float64
	spread    float64 // largest number behind ±: a part of the value, kelvins of a temperature
	remedy    string
}

// AskedReading are the quantities that a reading is made of.
func AskedReading() []Asked {
	return []Asked{
		{"flow", "", "volume `FLOW` through the tube, such as \"1.2 L/min\"", "flow", VolumeFlow, 1e-8, 1, 0.5, "give the flow that runs through the tube"},
		{"volume", "", "`VOLUME` caught at the outlet, with --time in place of --flow, such as \"200 mL\"", "volume", Volume, 1e-6, 100, 0.5, "give what was caught, a jug of 200 mL for example"},
		{"time", "", "`TIME` of the collection, such as \"30.0 s\"; without ± a hand-held stopwatch is taken", "time", Time, 1, 86400, 0.5, "collect for about 30 s or longer"},
		{"temperature", "", "water `TEMPERATURE` in the tube, such as \"42 Cel\"", "temperature", Temperature, water.Freezing, water.BoilingHere, 20, "give the temperature of liquid water"},
		{"bore", "", "inner `DIAMETER` of the tube, such as \"13 mm ± 0.05 mm\"", "bore", Length, 1e-4, 1, 0.5, "give the inner diameter of the tube, such as 13 mm"},
		{"length", "", "`LENGTH` of the tube, for the entrance length and the losses", "length", Length, 1e-3, 100, 0.5, "give the length of the tube, such as 900 mm"},
		{"roughness", "", "`HEIGHT` of the wall's roughness (drawn glass, 0.0015 mm, when not given)", "roughness", Length, 0, 0.05, math.Inf(1), "give the roughness of the wall, 0.0015 mm for drawn glass"},
		{"head", "", "`HEAD` of water above the tube's outlet, for the loss coefficient", "head", Length, 1e-3, 20, 0.5, "give the height of the water above the outlet, such as 1.35 m"},
		{"ambient", "", "air `TEMPERATURE` around the tube, with --length: Re, and the flows to set, where the dye is watched", "ambient", Temperature, -20, 60, 20, "give the temperature of the room"},
		{"outer", "", "outer `DIAMETER` of the tube, for the heat lost (bore + 3 mm when not given)", "outer diameter", Length, 1.01e-4, 2, 0.5, "give the outer diameter of the tube, such as 16 mm"},
		{"watched-at", "", "`PLACE` where the dye is watched, from the inlet (the middle when not given)", "watched at", Length, 0, 100, math.Inf(1), "give the place along the tube, such as 450 mm"},
		{"vessel-temperature", "", "`TEMPERATURE` of the water in the vessel of --volume, where it has cooled", "vessel temperature", Temperature, water.Freezing, water.BoilingHere, 20, "give the temperature of the water in the vessel"},
		{"laminar-below", usualLaminarBelow, "Reynolds `NUMBER` below which the band is laminar", "lower limit", None, 1, 1e6, 0, "give about 2000"},
		{"turbulent-above", usualTurbulentAbove, "Reynolds `NUMBER` above which the band is turbulent", "upper limit", None, 1, 1e6, 0, "give about 4000"},
	}
}

// AskedWord is one choice of a timed reading.
type AskedWord struct {
	Flag, Preset, Help string
	words              []string
}

// AskedWords are the choices that go with a reading.
func AskedWords() []AskedWord {
	ways := [...]string{pipe.VerticalDown: "vertical-down", pipe.VerticalUp: "vertical-up", pipe.Horizontal: "horizontal"}
	return []AskedWord{
		{"orientation", "vertical-down", "`WAY` of the water, for the heat lost: " + oneOf(ways[:]), ways[:]},
		{"vessel", "", "what --volume was caught in, marked for 20 Cel: `MATERIAL`, " + oneOf(explain.VesselNames()), explain.VesselNames()},
	}
}

// read is the number of a word among the choices, from 0; -1 where none was written.
func (q AskedWord) read(text string) (int, error) {
	if text == "" {
		return -1, nil
	}
	i := slices.Index(q.words, text)
	if i < 0 {
		return -1, fmt.Errorf("calc: --%s: %q is no choice; write %s", q.Flag, text, oneOf(q.words))
	}
	return i, nil
}

// ParseReading reads the quantities of a reading as they were written, "" where one
// was not, and reports all that is wrong at once.
func ParseReading(words func(flag string) string) (explain.Reading, error) {
	given := map[string]explain.Given{}
	var wrong []error
	for _, q := range AskedReading() {
		text := words(q.Flag)
		if text == "" {
			continue
		}
		g, err := q.read(text)
		if err != nil {
			wrong = append(wrong, err)
		}
		given[q.Flag] = g
	}
	choice := map[string]int{}
	for _, q := range AskedWords() {
		i, err := q.read(words(q.Flag))
		if err != nil {
			wrong = append(wrong, err)
		}
		choice[q.Flag] = i
	}
	wrong = append(wrong, complete(given)...)
	if choice["vessel"] >= 0 && !given["volume"].IsGiven() {
		wrong = append(wrong, errors.New(`calc: vessel (--vessel) belongs to a volume; give --volume "200 mL" with --time "30.0 s"`))
	}
	if len(wrong) == 0 {
		wrong = consistent(given)
	}
	return explain.Reading{
		Flow: given["flow"], Volume: given["volume"], Time: given["time"],
		Temperature: given["temperature"], Bore: given["bore"],
		Length: given["length"], Roughness: given["roughness"], Head: given["head"],
		Ambient: given["ambient"], Outer: given["outer"], WatchedAt: given["watched-at"],
		Orientation: pipe.Orientation(max(0, choice["orientation"])),
		Vessel:      explain.Vessel(choice["vessel"] + 1), VesselTemperature: given["vessel-temperature"],
		LaminarBelow: given["laminar-below"].X, TurbulentAbove: given["turbulent-above"].X,
	}, errors.Join(wrong...)
}

// read reads one quantity; the error names it, what was written, the allowed
// range and the remedy.
func (q Asked) read(text string) (explain.Given, error) {
	g := explain.Given{Text: text, Factor: 1}
	v, err := ParseQuantity(text, q.dimension)
	if err != nil {
		return g, q.refuse("%w", err)
	}
	switch most, shown := q.most(v.X); {
	case !(v.X >= q.low && v.X <= q.high):
		return g, q.refuse("%q is out of range; %s", text, q.remedyFor(v.X))
	case beyond(v, most):
		return g, q.refuse("%q: what stands behind ± is more than %s; give a smaller one", text, shown)
	}
	value, spread, _, _ := split(tidy(text))
	if spread == "" {
		v.U = math.NaN()
	}
	g.Value = v
	number, unit := cutNumber(value) // for the working
	g.Number = number
	if u, err := UnitFor(strings.TrimSpace(unit), q.dimension); err == nil {
		g.Factor, g.Offset = u.Factor, u.Offset
	}
	return g, nil
}

func (q Asked) refuse(format string, args ...any) error {
	return fmt.Errorf("calc: %s (--%s): %w; allowed: %s to %s", q.name, q.Flag, fmt.Errorf(format, args...),
		Format(q.low, q.dimension), Format(q.high, q.dimension))
}

// remedyFor says what is meant instead of a value out of range.
func (q Asked) remedyFor(x float64) string {
	switch {
	case q.dimension != Temperature || q.Flag == "ambient":
		return q.remedy
	case x < water.Freezing:
		return "that would be ice; " + q.remedy
	}
	return "that would be steam; " + q.remedy
}

// most is the largest number behind the ± of a value, and how it is written: beyond
// it a first-order budget does not hold.
func (q Asked) most(x float64) (spread float64, shown string) {
	if q.dimension == Temperature {
		return q.spread, Format(q.spread, TemperatureDifference)
	}
	return q.spread * x, Format(q.spread, Percent) + " of the value"
}

// beyond reports that more stands behind ± than is allowed; the half-width
// comes back from a division, hence the last digits.
func beyond(v uncertainty.Value, most float64) bool {
	return HalfWidth(v) > most*(1+1e-12)
}

// complete says what is missing and what is there twice.
func complete(given map[string]explain.Given) (wrong []error) {
	there := func(flag string) bool { return given[flag].IsGiven() }
	say := func(yes bool, text string) {
		if yes {
			wrong = append(wrong, errors.New("calc: "+text))
		}
	}
	collected := there("volume") || there("time")
	say(there("flow") && collected, `flow (--flow) stands beside --volume or --time; give either --flow "1.2 L/min" or --volume "200 mL" with --time "30.0 s"`)
	say(!there("flow") && !collected, `flow (--flow) is missing; give --flow "1.2 L/min", or --volume "200 mL" with --time "30.0 s"`)
	say(!there("flow") && there("volume") && !there("time"), `time (--time) is missing beside --volume; give the seconds of the collection, such as --time "30.0 s"`)
	say(!there("flow") && there("time") && !there("volume"), `volume (--volume) is missing beside --time; give what was caught, such as --volume "200 mL"`)
	say(!there("temperature"), `temperature (--temperature) is missing; give that of the water, such as --temperature "20 Cel"`)
	say(!there("bore"), `bore (--bore) is missing; give the inner diameter of the tube, such as --bore "13 mm"`)
	say(there("ambient") && !there("length"), `length (--length) is missing beside --ambient; give that of the tube, such as --length "900 mm"`)
	say(there("outer") && !there("ambient"), `outer diameter (--outer) is for the heat lost; give the room with it, such as --ambient "20 Cel"`)
	say(there("watched-at") && !there("ambient"), `watched at (--watched-at) is for the heat lost; give the room with it, such as --ambient "20 Cel"`)
	say(there("vessel-temperature") && !there("volume"), `vessel temperature (--vessel-temperature) belongs to a volume; give --volume "200 mL" with --time "30.0 s"`)
	say(!there("laminar-below"), `lower limit (--laminar-below) is empty; give about 2000`)
	say(!there("turbulent-above"), `upper limit (--turbulent-above) is empty; give about 4000`)
	return wrong
}

// consistent says which quantities do not go together.
func consistent(given map[string]explain.Given) (wrong []error) {
	if low, high := given["laminar-below"], given["turbulent-above"]; low.X >= high.X {
		wrong = append(wrong, fmt.Errorf("calc: lower limit (--laminar-below): %q is not below the upper limit %q; give the lower one there, such as 2000 and 4000", low.Text, high.Text))
	}
	if outer := given["outer"]; outer.IsGiven() && outer.X <= given["bore"].X {
		wrong = append(wrong, fmt.Errorf("calc: outer diameter (--outer): %q is not more than the bore %q; give the outer diameter of the tube", outer.Text, given["bore"].Text))
	}
	if at := given["watched-at"]; at.IsGiven() && at.X > given["length"].X {
		wrong = append(wrong, fmt.Errorf("calc: watched at (--watched-at): %q is beyond the length %q; give the place from the inlet", at.Text, given["length"].Text))
	}
	why, wall, most := "", given["roughness"], given["bore"].X/20
	switch {
	case !wall.IsGiven():
	case wall.X > most:
		why = "is out of range"
	case beyond(wall.Value, most):
		why = "has too much behind ±"
	}
	if why != "" {
		wrong = append(wrong, fmt.Errorf("calc: roughness (--roughness): %q %s; give the roughness of the wall, 0.0015 mm for drawn glass; allowed: 0 mm to %s, 5 %% of the bore", wall.Text, why, Format(most, Length)))
	}
	return wrong
}
