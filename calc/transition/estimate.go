package transition

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"flowrigd/calc/uncertainty"
)

// Outcome says what the observations of an estimate allow. The zero value is
// Nothing.
type Outcome uint8

// The outcomes.
const (
	Nothing     Outcome = iota // no observation
	AllBelow                   // the limit lies above the highest Re seen below it
	AllAbove                   // the limit lies below the lowest Re seen above it
	Separated                  // the limit lies between the two
	Overlapping                // the two cross over: no single limit held throughout
)

// String is the outcome in words.
func (o Outcome) String() string {
	return [...]string{
		Nothing: "no observation", AllBelow: "seen below the limit only", AllAbove: "seen above the limit only",
		Separated: "separated", Overlapping: "overlapping",
	}[o]
}

// Estimate is what a group of observations says about one limit.
type Estimate struct {
	Limit  Limit
	Pooled bool // over all temperatures
	LowCelsius,
	HighCelsius float64 // of the group
	Approach Approach // Unstated: whatever the approach

	Below, Above int               // observations on either side of the limit
	HighestBelow uncertainty.Value // highest Re seen below the limit, if Below > 0
	LowestAbove  uncertainty.Value // lowest Re seen above it, if Above > 0
	Relative     float64           // mean relative standard uncertainty of the observed Re
	Outcome      Outcome
	Crossed      int // observations inside the overlap, its two ends among them

	// Critical is the middle of the interval between HighestBelow and
	// LowestAbove, known if both are: rectangular over the interval, and the
	// uncertainty of its ends added as fully correlated, since bore, meter and
	// thermometer are the same for both.
	Critical uncertainty.Value
	Known    bool

	Fit *Fit // nil where there is none

	words []trial // what people said of the half, none of another limit
}

// DefaultWidth is how many kelvin the observations of one temperature may
// spread: a bench wanders by a kelvin or two (common practice, no source).
const DefaultWidth = 3

// Analyse estimates the onset of disturbance and that of full turbulence, first pooled over all temperatures, then at
// each temperature (observations within width kelvin; 0 means DefaultWidth);
// each for all approaches, and for rising and falling where both were stated.
func Analyse(observations []Observation, width float64) ([]Estimate, error) {
	return analyse(observations, width, Onset, Complete)
}

// AnalyseHalf is Analyse for the Re at which the dye is torn for half of the time, from
// what people saw: a laminar look is a share of none, a turbulent one of all, and a
// transitional one counts for half. Its bracket goes from the highest laminar look to the
// lowest turbulent one; without one of each there is no fit.
func AnalyseHalf(observations []Observation, width float64) ([]Estimate, error) {
	return analyse(observations, width, Half)
}

func analyse(observations []Observation, width float64, limits ...Limit) ([]Estimate, error) {
	if math.IsNaN(width) || width < 0 {
		return nil, errWidth(width)
	}
	for i, o := range observations {
		if err := o.check(); err != nil {
			return nil, fmt.Errorf("transition: observation %d: %w", i+1, err)
		}
	}
	if width == 0 {
		width = DefaultWidth
	}
	sorted := slices.Clone(observations)
	slices.SortStableFunc(sorted, func(a, b Observation) int { return cmp.Compare(a.Celsius, b.Celsius) })
	estimates := estimateGroup(sorted, limits)
	for i := range estimates {
		estimates[i].Pooled = true
	}
	for group := range groups(sorted, width, func(o Observation) float64 { return o.Celsius }) {
		estimates = append(estimates, estimateGroup(group, limits)...)
	}
	return estimates, nil
}

// groups cuts a list sorted by temperature into runs of at most width.
func groups[T any](sorted []T, width float64, celsius func(T) float64) func(yield func([]T) bool) {
	return func(yield func([]T) bool) {
		for start, i := 0, 1; i <= len(sorted); i++ {
			if i < len(sorted) && celsius(sorted[i])-celsius(sorted[start]) <= width {
				continue
			}
			if !yield(sorted[start:i]) {
				return
			}
			start = i
		}
	}
}

// estimateGroup takes observations sorted by temperature.
func estimateGroup(group []Observation, limits []Limit) []Estimate {
	var estimates []Estimate
	pick := func(a Approach) []Observation {
		return slices.DeleteFunc(slices.Clone(group), func(o Observation) bool { return o.Approach != a })
	}
	rising, falling := pick(Rising), pick(Falling)
	for _, limit := range limits {
		estimates = append(estimates, estimate(group, limit, Unstated))
		if len(rising) > 0 && len(falling) > 0 {
			estimates = append(estimates, estimate(rising, limit, Rising), estimate(falling, limit, Falling))
		}
	}
	return estimates
}

func estimate(group []Observation, limit Limit, a Approach) Estimate {
	e := Estimate{Limit: limit, Approach: a}
	if len(group) == 0 {
		return e
	}
	e.LowCelsius, e.HighCelsius = group[0].Celsius, group[len(group)-1].Celsius
	reynolds := make([]float64, len(group))
	for i, o := range group {
		e.Relative += o.Reynolds.Relative() / float64(len(group))
		if share := limit.share(o); share != 0.5 {
			e.count(o.Reynolds, share == 1)
		}
		reynolds[i] = o.Reynolds.X
		if limit == Half {
			e.words = append(e.words, trial{o.Reynolds, limit.share(o), 1})
		}
	}
	e.conclude(reynolds)
	if limit != Half || e.Below > 0 && e.Above > 0 {
		e.Fit = fit(group, limit)
	}
	return e
}

// count takes what was seen at a Re into the bracket.
func (e *Estimate) count(re uncertainty.Value, above bool) {
	if above {
		if e.Above == 0 || re.X < e.LowestAbove.X {
			e.LowestAbove = re
		}
		e.Above++
		return
	}
	if e.Below == 0 || re.X > e.HighestBelow.X {
		e.HighestBelow = re
	}
	e.Below++
}

// conclude takes the Re of all that was counted.
func (e *Estimate) conclude(reynolds []float64) {
	switch {
	case e.Above == 0:
		e.Outcome = AllBelow
		return
	case e.Below == 0:
		e.Outcome = AllAbove
		return
	case e.HighestBelow.X < e.LowestAbove.X:
		e.Outcome = Separated
	default:
		e.Outcome = Overlapping
		for _, re := range reynolds {
			if re >= e.LowestAbove.X && re <= e.HighestBelow.X {
				e.Crossed++
			}
		}
	}
	width := e.LowestAbove.X - e.HighestBelow.X
	ends := (e.LowestAbove.U + e.HighestBelow.U) / 2
	e.Critical = uncertainty.Limits((e.LowestAbove.X+e.HighestBelow.X)/2, width/2)
	e.Critical.U = math.Hypot(e.Critical.U, ends)
	if ends > 0 {
		e.Critical.Shape = uncertainty.Normal
	}
	e.Known = true
}
