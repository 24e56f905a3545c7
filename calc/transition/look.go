package transition

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"flowrigd/calc/uncertainty"
)

// Look is what an instrument showed at one Re: over some time the dye was torn for a
// share of it.
type Look struct {
	Reynolds uncertainty.Value // 1 to 1e6, mean over that time
	Celsius  float64           // water where the dye is watched, 0 to 100
	Torn     float64           // share of the time, 0 to 1
	// Looks is how many independent looks at the flow tell as much, above 0: the
	// readings within one stretch of turbulence are no trials (calc/dye gives them).
	Looks float64
	// Begins says that it is not known what the flow did before: no way leads here.
	Begins bool
}

func (l Look) check() error {
	o := Observation{Reynolds: l.Reynolds, Celsius: l.Celsius}
	if err := o.checkConditions(); err != nil {
		return err
	}
	if !(l.Torn >= 0 && l.Torn <= 1) || !(l.Looks > 0) || math.IsInf(l.Looks, 0) {
		return fmt.Errorf("torn share: %g of %g looks; give a share from 0 to 1, and looks above 0", l.Torn, l.Looks)
	}
	return nil
}

// What makes a way through the transition (common practice, no source): Re goes on in
// one direction until it has turned back by turnShare, and the flow it begins with was
// as good as undisturbed, or as good as torn throughout. What begins half torn tells
// of neither direction.
const (
	turnShare  = 0.03
	stillShare = 0.05
)

// way is a stretch of looks through which Re rose, or fell.
type way struct {
	looks    []Look
	from     int // where its first look stands in the list
	approach Approach
	celsius  float64 // where it crossed one half, or came nearest
}

// HalfTorn estimates, for each direction in which Re came and for each temperature,
// the Re at which the dye is torn for half of the time. The looks are in the order of
// time. Ways that crossed within width kelvin of one another (0 means DefaultWidth)
// are one temperature; a way may itself go through many, where water is heated through
// the transition. unused is how many looks belong to no way.
func HalfTorn(looks []Look, width float64) (estimates []Estimate, unused int, err error) {
	if math.IsNaN(width) || width < 0 {
		return nil, 0, errWidth(width)
	}
	for i, l := range looks {
		if err := l.check(); err != nil {
			return nil, 0, fmt.Errorf("transition: look %d: %w", i+1, err)
		}
	}
	all, unused := ways(looks)
	for _, a := range [...]Approach{Rising, Falling} {
		of := slices.DeleteFunc(slices.Clone(all), func(w way) bool { return w.approach != a })
		slices.SortStableFunc(of, func(a, b way) int { return cmp.Compare(a.celsius, b.celsius) })
		for group := range groups(of, cmp.Or(width, DefaultWidth), func(w way) float64 { return w.celsius }) {
			estimates = append(estimates, estimateWays(group, a))
		}
	}
	return estimates, unused, nil
}

func errWidth(width float64) error {
	return fmt.Errorf("transition: width: %g K; give how far one temperature's observations may spread, from 0", width)
}

// ways cuts looks where Re turns, and keeps those whose beginning is known.
func ways(looks []Look) (list []way, unused int) {
	used := make([]bool, len(looks)) // by one way, or by the two that meet in it
	for from, to := range turns(looks) {
		w := way{looks: looks[from:to], from: from}
		first, last := w.looks[0], w.looks[len(w.looks)-1]
		switch rises := last.Reynolds.X > first.Reynolds.X; {
		case rises && first.Torn <= stillShare:
			w.approach = Rising
		case !rises && first.Torn >= 1-stillShare:
			w.approach = Falling
		default:
			continue
		}
		nearest := slices.MinFunc(w.looks, func(a, b Look) int { return cmp.Compare(math.Abs(a.Torn-0.5), math.Abs(b.Torn-0.5)) })
		w.celsius = nearest.Celsius
		list = append(list, w)
		for i := from; i < to; i++ {
			used[i] = true
		}
	}
	for _, u := range used {
		if !u {
			unused++
		}
	}
	return list, unused
}

// turns gives the stretches between two turns of Re, the look at the turn in the one
// that it begins.
func turns(looks []Look) func(yield func(from, to int) bool) {
	return func(yield func(from, to int) bool) {
		begin, turn, up := 0, 0, 0 // up: 1 rising, -1 falling, 0 not known yet
		for i := 1; i <= len(looks); i++ {
			if i == len(looks) || looks[i].Begins {
				if i-begin > 1 && !yield(begin, i) {
					return
				}
				begin, turn, up = i, i, 0
				continue
			}
			re, at := looks[i].Reynolds.X, looks[turn].Reynolds.X
			switch {
			case up == 0 && math.Abs(re/at-1) > turnShare:
				up, turn = int(math.Copysign(1, re-at)), i
			case up > 0 && re >= at, up < 0 && re <= at:
				turn = i
			case up != 0 && math.Abs(re/at-1) > turnShare:
				if !yield(begin, turn+1) {
					return
				}
				begin, turn, up = turn, i, -up
			}
		}
	}
}

// estimateWays takes ways of one direction and temperature.
func estimateWays(group []way, a Approach) Estimate {
	e := Estimate{Limit: Half, Approach: a, LowCelsius: math.Inf(1), HighCelsius: math.Inf(-1)}
	var trials []trial
	var reynolds []float64
	for _, w := range group {
		e.LowCelsius, e.HighCelsius = math.Min(e.LowCelsius, w.celsius), math.Max(e.HighCelsius, w.celsius)
		for _, l := range w.looks {
			e.count(l.Reynolds, l.Torn >= 0.5)
			trials = append(trials, trial{l.Reynolds, l.Torn, l.Looks})
			reynolds = append(reynolds, l.Reynolds.X)
		}
	}
	for _, t := range trials {
		e.Relative += t.re.Relative() / float64(len(trials))
	}
	e.conclude(reynolds)
	e.Fit = fitTrials(trials, true)
	return e
}
