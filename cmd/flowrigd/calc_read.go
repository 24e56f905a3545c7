package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"flowrigd/calc/explain"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
	"flowrigd/config"
)

// readReading reads every quantity and reports all that is wrong at once.
func readReading(words map[string]*string) (explain.Reading, error) {
	given := map[string]explain.Given{}
	var wrong []error
	for _, q := range askedQuantities() {
		if *words[q.flag] == "" {
			continue
		}
		g, err := q.read(*words[q.flag])
		if err != nil {
			wrong = append(wrong, err)
		}
		given[q.flag] = g
	}
	wrong = append(wrong, complete(given)...)
	if len(wrong) == 0 {
		wrong = fitting(given)
	}
	return explain.Reading{
		Flow: given["flow"], Volume: given["volume"], Time: given["time"],
		Temperature: given["temperature"], Bore: given["bore"],
		Length: given["length"], Roughness: given["roughness"], Head: given["head"],
		LaminarBelow: given["laminar-below"].X, TurbulentAbove: given["turbulent-above"].X,
	}, errors.Join(wrong...)
}

// read reads one quantity; the error names it, what was written, the allowed
// range and the remedy.
func (q asked) read(text string) (explain.Given, error) {
	g := explain.Given{Text: text}
	v, err := config.ParseQuantity(text, q.dimension)
	switch {
	case err != nil:
		return g, q.refuse("%w", err)
	case !(v.X >= q.low && v.X <= q.high):
		return g, q.refuse("%q is out of range; %s", text, q.remedyFor(v.X))
	case beyond(v, q.most(v.X)):
		return g, q.refuse("%q: what stands behind ± is more than %s; give a smaller one", text, q.mostText())
	}
	g.Value = v
	value := beforeSpread(text)
	if value == text {
		g.U = math.NaN()
	}
	return g, q.convert(&g, value)
}

// refuse makes an error of the quantity, with its range.
func (q asked) refuse(format string, args ...any) error {
	return fmt.Errorf("calc: %s (--%s): %w; allowed: %s to %s", q.name, q.flag, fmt.Errorf(format, args...),
		config.Format(q.low, q.dimension), config.Format(q.high, q.dimension))
}

// remedyFor says what is meant instead of a value out of range.
func (q asked) remedyFor(x float64) string {
	switch {
	case q.dimension != config.Temperature:
		return q.remedy
	case x < water.Freezing:
		return "that would be ice; " + q.remedy
	}
	return "that would be steam; " + q.remedy
}

// most is the largest number behind the ± of a value: beyond it a
// first-order budget does not hold.
func (q asked) most(x float64) float64 {
	if q.dimension == config.Temperature {
		return q.spread
	}
	return q.spread * x
}

// beyond reports that more stands behind ± than is allowed; the half-width
// comes back from a division, hence the last digits.
func beyond(v uncertainty.Value, most float64) bool {
	return config.HalfWidth(v) > most*(1+1e-12)
}

func (q asked) mostText() string {
	if q.dimension == config.Temperature {
		return config.Format(q.spread, config.TemperatureDifference)
	}
	return config.Format(q.spread, config.Percent) + " of the value"
}

// beforeSpread is the text up to its ±.
func beforeSpread(text string) string {
	for _, sign := range []string{"±", "+/-"} {
		if value, _, found := strings.Cut(text, sign); found {
			return value
		}
	}
	return text
}

// convert notes how the number becomes SI, for the working.
func (q asked) convert(g *explain.Given, value string) error {
	words := strings.Fields(value)
	g.Number, g.Factor = words[0], 1
	if len(words) < 2 {
		return nil
	}
	unit, err := config.UnitFor(words[1], q.dimension)
	if err != nil {
		return q.refuse("%w", err)
	}
	g.Factor, g.Offset = unit.Factor, unit.Offset
	return nil
}

// complete says what is missing and what is there twice.
func complete(given map[string]explain.Given) []error {
	there := func(flag string) bool { return given[flag].There() }
	var wrong []error
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
	say(!there("laminar-below"), `lower limit (--laminar-below) is empty; give about 2000`)
	say(!there("turbulent-above"), `upper limit (--turbulent-above) is empty; give about 4000`)
	return wrong
}

// fitting says which quantities do not go together.
func fitting(given map[string]explain.Given) []error {
	var wrong []error
	if low, high := given["laminar-below"], given["turbulent-above"]; low.X >= high.X {
		wrong = append(wrong, fmt.Errorf("calc: lower limit (--laminar-below): %q is not below the upper limit %q; give the lower one there, such as 2000 and 4000", low.Text, high.Text))
	}
	if err := tooRough(given["roughness"], given["bore"].X/20); err != nil {
		wrong = append(wrong, err)
	}
	return wrong
}

// tooRough says why a wall is too rough for its bore, or known too badly: most
// is 5 % of the bore.
func tooRough(wall explain.Given, most float64) error {
	why := ""
	switch {
	case !wall.There():
		return nil
	case wall.X > most:
		why = "is out of range"
	case beyond(wall.Value, most):
		why = "has too much behind ±"
	default:
		return nil
	}
	return fmt.Errorf("calc: roughness (--roughness): %q %s; give the roughness of the wall, 0.0015 mm for drawn glass; allowed: 0 mm to %s, 5 %% of the bore",
		wall.Text, why, config.Format(most, config.Length))
}
