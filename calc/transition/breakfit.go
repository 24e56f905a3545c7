package transition

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// What a drop is made of, each in a column: zero and gain of the transmitter and of the
// tube, and in what the two laws may be off.
const (
	ofZero = iota
	ofLaminar
	ofTurbulent
	ofHeat      // lost on the way, in its standard uncertainties
	ofHeatTorn  // what eddies lose more
	ofExponent  // of Re on the turbulent branch
	columnCount // two more for each direction: place and width of its break
)

// beforehand are the standard deviations that are known beforehand; 0 is unknown. Eddies lose a
// few percent more heat, most of whose way is the air's film (a fifth of the uncertainty).
// Blasius' exponent of −0.25 is −0.30 by Prandtl's law at Re 2000 to 3500 (computed).
var beforehand = [columnCount]float64{ofHeat: 1, ofHeatTorn: 0.2, ofExponent: 0.06}

// columns are a drop's, if all of the tube is laminar, and if all is turbulent.
func (d *Drop) columns() (laminar, turbulent [columnCount]float64) {
	const middle = 2300
	laminar = [columnCount]float64{ofZero: 1, ofLaminar: d.Laminar, ofHeat: d.Heat}
	turbulent = [columnCount]float64{ofZero: 1, ofTurbulent: d.Turbulent, ofHeat: d.Heat, ofHeatTorn: d.Heat,
		ofExponent: d.Turbulent * math.Log(d.Reynolds.X/middle)}
	return laminar, turbulent
}

// breakFit is the fit to all drops of one temperature: x of the branches, and for each
// direction where between them, in ln Re, the turbulent share is one half, and over what
// width it rises.
type breakFit struct {
	drops        []Drop
	direction    []int // of each drop
	weight       []float64
	x            [columnCount]float64
	place, scale []float64
	covariance   *mat.SymDense
}

func (b *breakFit) add(direction int, drops []Drop) {
	for _, d := range drops {
		b.drops, b.direction, b.weight = append(b.drops, d), append(b.direction, direction), append(b.weight, 1)
	}
}

// of is what the fit makes of a drop: laminar, turbulent, and the share that is.
func (b *breakFit) of(i int) (laminar, turbulent, q float64) {
	l, t := b.drops[i].columns()
	for j, x := range b.x {
		laminar, turbulent = laminar+l[j]*x, turbulent+t[j]*x
	}
	return laminar, turbulent, 1 / (1 + math.Exp(-b.away(i)))
}

// away is how far a drop is from the place of its direction, in widths.
func (b *breakFit) away(i int) float64 {
	k := b.direction[i]
	return (math.Log(b.drops[i].Reynolds.X) - b.place[k]) / b.scale[k]
}

// sum is what the fit makes least: squares over variances, of the drops and of what is
// known beforehand.
func (b *breakFit) sum() (sum float64) {
	for i, d := range b.drops {
		laminar, turbulent, q := b.of(i)
		sum += b.weight[i] * math.Pow(d.Pascal-laminar-q*(turbulent-laminar), 2)
	}
	for j, s := range beforehand {
		if s > 0 {
			sum += b.x[j] * b.x[j] / (s * s)
		}
	}
	return sum
}

// normal are the normal equations about the present fit.
func (b *breakFit) normal() (m *mat.SymDense, g *mat.VecDense) {
	n := columnCount + 2*len(b.place)
	m, g = mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	row := make([]float64, n)
	for i := range b.drops {
		d := &b.drops[i]
		laminar, turbulent, q := b.of(i)
		l, t := d.columns()
		clear(row)
		for j := range columnCount {
			row[j] = l[j] + q*(t[j]-l[j])
		}
		k := columnCount + 2*b.direction[i]
		slope := (turbulent - laminar) * q * (1 - q)
		row[k], row[k+1] = -slope/b.scale[b.direction[i]], -slope*b.away(i)
		m.SymRankOne(m, b.weight[i], mat.NewVecDense(n, row))
		g.AddScaledVec(g, b.weight[i]*(d.Pascal-laminar-q*(turbulent-laminar)), mat.NewVecDense(n, row))
	}
	for j, s := range beforehand {
		if s > 0 {
			m.SetSym(j, j, m.At(j, j)+1/(s*s))
			g.SetVec(j, g.AtVec(j)-b.x[j]/(s*s))
		}
	}
	return m, g
}

// Bounds of the width of a break in ln Re, and how far a step may go (common practice, no
// source).
const (
	leastBreak, mostBreak   = 0.003, 0.15
	farthestPlace, farWider = 0.05, 0.5
)

func (b *breakFit) stepped(step *mat.VecDense) *breakFit {
	c := *b
	c.place, c.scale = slices.Clone(b.place), slices.Clone(b.scale)
	for j := range c.x {
		c.x[j] += step.AtVec(j)
	}
	for k := range c.place {
		c.place[k] += max(-farthestPlace, min(farthestPlace, step.AtVec(columnCount+2*k)))
		wider := max(-farWider, min(farWider, step.AtVec(columnCount+2*k+1)))
		c.scale[k] = max(leastBreak, min(mostBreak, c.scale[k]*math.Exp(wider)))
	}
	return &c
}

// settle goes to the least sum with the weights as they are (Levenberg and Marquardt).
func (b *breakFit) settle() bool {
	damping := 1e-9
	for range 100 {
		m, g := b.normal()
		before := b.sum()
		next := b.better(m, g, before, &damping)
		if next == nil {
			break
		}
		*b = *next
		if before-b.sum() < 1e-6*(1+before) {
			break
		}
	}
	m, _ := b.normal()
	var c mat.Cholesky
	if !c.Factorize(m) {
		return false
	}
	b.covariance = mat.NewSymDense(m.SymmetricDim(), nil)
	return c.InverseTo(b.covariance) == nil
}

// better is the fit after a step that makes the sum less; nil where none does.
func (b *breakFit) better(m *mat.SymDense, g *mat.VecDense, sum float64, damping *float64) *breakFit {
	for range 12 {
		damped := mat.NewSymDense(m.SymmetricDim(), nil)
		damped.CopySym(m)
		for j := range m.SymmetricDim() {
			damped.SetSym(j, j, m.At(j, j)*(1+*damping))
		}
		var c mat.Cholesky
		var step mat.VecDense
		if c.Factorize(damped) && c.SolveVecTo(&step, g) == nil {
			if next := b.stepped(&step); next.sum() < sum {
				*damping = max(1e-9, *damping/10)
				return next
			}
		}
		*damping = max(1e-6, *damping*10)
	}
	return nil
}

// What counts as on a branch when the drops are weighed, by the variance q(1 − q) of the
// share; and how few of them tell the scatter about it (common practice, no source).
const (
	onBranch     = 0.01
	leastOffRows = 4
)

// weigh gives each drop the weight of its own variance: that of the transmitter, measured
// on the branches, and between them that of the share. scatter is by how much the shares
// of a direction scatter more than so many looks let expect, between how many drops tell
// it. Without enough on the branches there is neither.
func (b *breakFit) weigh() (scatter []float64, between []int) {
	off, rise, n := 0.0, 0.0, 0.0
	for i, d := range b.drops {
		laminar, turbulent, q := b.of(i)
		rise += math.Pow(turbulent-laminar, 2) / float64(len(b.drops))
		if q*(1-q) < onBranch {
			off, n = off+math.Pow(d.Pascal-laminar-q*(turbulent-laminar), 2), n+1
		}
	}
	if n < leastOffRows {
		return nil, nil
	}
	noise := max(1e-6*rise, off/(n-3)) // zero and two gains are fitted to them
	scatter, between = make([]float64, len(b.place)), make([]int, len(b.place))
	share := func(i int) (one, off float64) {
		laminar, turbulent, q := b.of(i)
		return math.Pow(turbulent-laminar, 2) * q * (1 - q) / b.drops[i].Looks, math.Pow(b.drops[i].Pascal-laminar-q*(turbulent-laminar), 2)
	}
	for i, k := range b.direction {
		if _, _, q := b.of(i); q > stillShare && q < 1-stillShare {
			one, off := share(i)
			scatter[k], between[k] = scatter[k]+max(0, off-noise)/one, between[k]+1
		}
	}
	for k, n := range between {
		if scatter[k] = max(leastRatio, scatter[k]/float64(n-2)); n < leastScatter {
			scatter[k] = 1
		}
	}
	for i, k := range b.direction {
		one, _ := share(i)
		b.weight[i] = 1 / (noise + scatter[k]*one)
	}
	return scatter, between
}

// own is the standard uncertainty of a place by the fit, of ln Re.
func (b *breakFit) own(k int) (u float64, ok bool) {
	v := b.covariance.At(columnCount+2*k, columnCount+2*k)
	return math.Sqrt(v), v > 0 && !math.IsInf(v, 0)
}

// rises says that the turbulent branch is the upper one where a direction breaks, and that
// the width came to rest within its bounds.
func (b *breakFit) rises(k int) bool {
	for i, of := range b.direction {
		if laminar, turbulent, q := b.of(i); of == k && q > stillShare && q < 1-stillShare && turbulent <= laminar {
			return false
		}
	}
	return b.scale[k] < mostBreak
}

// seen is the range of ln Re of a direction.
func (b *breakFit) seen(k int) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i, d := range b.drops {
		if b.direction[i] == k {
			low, high = min(low, math.Log(d.Reynolds.X)), max(high, math.Log(d.Reynolds.X))
		}
	}
	return low, high
}
