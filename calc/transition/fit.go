package transition

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"flowrigd/calc/uncertainty"
)

// FitMethod names the fit wherever it is shown.
const FitMethod = "logistic in ln Re by penalised likelihood (Firth 1993)"

// minFit is the least number of observations, and of each side, for a fit.
const (
	minFit     = 6
	minFitSide = 2
)

// Fit is the probability of being above a limit as a logistic function of ln
// Re, p = 1/(1 + exp(−(ln Re − ln Critical)/Scale)).
//
// It is a penalised fit: the likelihood times the root of the determinant of
// Fisher's information (Firth, Biometrika 80 (1993) 27). Separated
// observations have no fit of maximum likelihood (Albert and Anderson,
// Biometrika 71 (1984) 1: Scale would be 0), this one they have; how sharp it
// makes the transition then comes from the penalty more than from the water.
type Fit struct {
	// Critical is Re at p = ½. Its uncertainty is the delta method's, with the
	// mean relative uncertainty of the observed Re added as common to all.
	Critical uncertainty.Value
	Scale    float64 // of ln Re; p goes from 0.1 to 0.9 over 4.4 of it
	Own      float64 // relative standard uncertainty of the fit alone, without that of the observed Re

	// Scatter is that of the shares about the curve ÷ what so many looks let expect; 1
	// where the shares are too few to tell it. Own and interval have it in them.
	Scatter float64

	// Low and High are the interval of IntervalLevel, if Bounded: by the profile of
	// the likelihood, the uncertainty of the observed Re added as common to all.
	// Without it the data are too few or too blurred, and the bracket stands alone.
	Low, High float64
	Bounded   bool
}

// fit is nil with too few observations, with no rise of p with Re, and where
// p = ½ lies outside the observed Re.
func fit(group []Observation, limit Limit) *Fit {
	var list []trial
	for _, o := range group {
		list = append(list, trial{o.Reynolds, limit.share(o), 1})
	}
	return fitTrials(list, limit == Half)
}

// A trial is a look at one Re: what share of so many independent looks was above the
// limit.
type trial struct {
	re          uncertainty.Value
	share, many float64
}

// fitTrials measures the scatter where the trials are shares; of yes and no it is known.
func fitTrials(list []trial, shares bool) *Fit {
	p := newProblem(list)
	if len(p.x) < minFit || p.above < minFitSide || p.below < minFitSide || p.scale == 0 {
		return nil
	}
	b, ok := p.solve()
	if !ok || b.slope <= 0 {
		return nil
	}
	x := -b.constant / b.slope
	if x < p.low || x > p.high {
		return nil
	}
	// Delta method: x = −constant/slope.
	dc, ds := -1/b.slope, -x/b.slope
	i := p.information(b)
	variance := (dc*dc*i.ss - 2*dc*ds*i.cs + ds*ds*i.cc) / i.determinant()
	critical := math.Exp(p.centre + p.scale*x)
	own := p.scale * math.Sqrt(variance)
	scatter, chiSquared := 1.0, intervalChiSquared
	if shares {
		scatter, chiSquared = p.scatter(b)
	}
	own *= math.Sqrt(scatter)
	f := &Fit{
		Critical: uncertainty.Value{X: critical, U: critical * math.Hypot(own, p.relative)},
		Scale:    p.scale / b.slope,
		Own:      own, Scatter: scatter,
	}
	var low, high float64
	if low, high, f.Bounded = p.interval(b, chiSquared*scatter); f.Bounded {
		f.Low = critical * math.Exp(-math.Hypot(p.scale*(x-low), intervalZ*p.relative))
		f.High = critical * math.Exp(math.Hypot(p.scale*(high-x), intervalZ*p.relative))
	}
	return f
}

// A problem is the trials with x = (ln Re − centre)/scale.
type problem struct {
	x             []float64
	y             []float64 // share above the limit
	many          []float64 // looks
	above, below  float64   // looks on either side of the limit
	centre, scale float64
	low, high     float64 // of x
	relative      float64 // mean relative standard uncertainty of Re
}

func newProblem(list []trial) problem {
	n := float64(len(list))
	var p problem
	for _, t := range list {
		p.centre += math.Log(t.re.X) / n
		p.relative += t.re.Relative() / n
	}
	for _, t := range list {
		p.scale += math.Pow(math.Log(t.re.X)-p.centre, 2) / n
	}
	if p.scale = math.Sqrt(p.scale); p.scale < 1e-9 {
		p.scale = 0
		return p
	}
	for _, t := range list {
		x := (math.Log(t.re.X) - p.centre) / p.scale
		p.x, p.y, p.many = append(p.x, x), append(p.y, t.share), append(p.many, t.many)
		p.low, p.high = math.Min(p.low, x), math.Max(p.high, x)
		p.above += t.many * t.share
		p.below += t.many * (1 - t.share)
	}
	return p
}

const (
	// leastScatter is of how many shares, other than as good as none or all, their
	// scatter can be told.
	leastScatter = 6
	// leastRatio bounds what a few shares that lie on the curve by chance can tell
	// (common practice, no source).
	leastRatio = 0.1
)

// scatter is Pearson's statistic over its degrees of freedom (quasi-likelihood,
// Wedderburn, Biometrika 61 (1974) 439; from memory): how much wider the shares scatter
// about the curve than their looks say, be it that stretches of turbulence come in
// crowds, or narrower. chiSquared is the quantile of IntervalLevel that goes with it,
// Student's t squared where the scatter was measured.
func (p problem) scatter(b coefficients) (ratio, chiSquared float64) {
	sum, n := 0.0, 0
	for i, x := range p.x {
		if q := b.probability(x); q >= stillShare && q <= 1-stillShare {
			sum += p.many[i] * (p.y[i] - q) * (p.y[i] - q) / (q * (1 - q))
			n++
		}
	}
	if n < leastScatter {
		return 1, intervalChiSquared
	}
	t := distuv.StudentsT{Sigma: 1, Nu: float64(n - 2)}.Quantile((1 + IntervalLevel) / 2)
	return max(leastRatio, sum/float64(n-2)), t * t
}

type coefficients struct{ constant, slope float64 }

func (b coefficients) probability(x float64) float64 {
	return 1 / (1 + math.Exp(-b.constant-b.slope*x))
}

// A matrix is Fisher's information of constant and slope, symmetric.
type matrix struct{ cc, cs, ss float64 }

func (m matrix) determinant() float64 { return m.cc*m.ss - m.cs*m.cs }

func (m matrix) solve(c, s float64) coefficients {
	d := m.determinant()
	return coefficients{(m.ss*c - m.cs*s) / d, (m.cc*s - m.cs*c) / d}
}

func (p problem) information(b coefficients) matrix {
	var m matrix
	for i, x := range p.x {
		q := b.probability(x)
		w := p.many[i] * q * (1 - q)
		m.cc += w
		m.cs += w * x
		m.ss += w * x * x
	}
	return m
}

// score is Firth's modified score: Σ(n(y − π) + h(½ − π))·(1, x), h the leverage.
func (p problem) score(b coefficients, m matrix) (c, s float64) {
	for i, x := range p.x {
		q := b.probability(x)
		v := m.solve(1, x)
		h := p.many[i] * q * (1 - q) * (v.constant + v.slope*x)
		e := p.many[i]*(p.y[i]-q) + h*(0.5-q)
		c += e
		s += e * x
	}
	return c, s
}

// likelihood is the penalised log-likelihood; one exponential and one logarithm serve
// probability, information and likelihood of a trial.
func (p problem) likelihood(b coefficients) float64 {
	var m matrix
	l := 0.0
	for i, x := range p.x {
		z := b.constant + b.slope*x
		e := math.Exp(-math.Abs(z))
		w := p.many[i] * e / ((1 + e) * (1 + e))
		m.cc += w
		m.cs += w * x
		m.ss += w * x * x
		l -= p.many[i] * math.Log1p(e)
		if z > 0 { // ln π = −ln(1 + e), ln(1 − π) = −z − ln(1 + e)
			l -= p.many[i] * (1 - p.y[i]) * z
		} else {
			l += p.many[i] * p.y[i] * z
		}
	}
	return l + math.Log(m.determinant())/2
}

// solve climbs the penalised likelihood by Fisher scoring; a step that goes
// down or into the flat is halved.
func (p problem) solve() (coefficients, bool) {
	var b coefficients
	now := p.likelihood(b)
	for range 200 {
		m := p.information(b)
		c, s := p.score(b, m)
		if math.Abs(c) < 1e-9 && math.Abs(s) < 1e-9 {
			return b, true
		}
		step := m.solve(c, s)
		next, better := p.climb(b, step, now)
		if !better {
			// The likelihood's own rounding: as high as it gets.
			return b, math.Abs(c) < 1e-5 && math.Abs(s) < 1e-5
		}
		b, now = next, p.likelihood(next)
	}
	return b, false
}

func (p problem) climb(b, step coefficients, now float64) (coefficients, bool) {
	for range 30 {
		next := coefficients{b.constant + step.constant, b.slope + step.slope}
		if l := p.likelihood(next); l > now {
			return next, true
		}
		step.constant /= 2
		step.slope /= 2
	}
	return b, false
}
