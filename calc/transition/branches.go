package transition

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"flowrigd/calc/uncertainty"
)

// Drop is the pressure drop along the tube at one steady Re.
type Drop struct {
	Reynolds uncertainty.Value
	Celsius  float64 // water in the tube
	Pascal   float64 // of friction, but for a constant
	// Laminar and Turbulent are the drops, Pa, that the two laws give at this velocity:
	// 64/Re and 0.3164/Re^0.25 times ρ·v²/2·L/D.
	Laminar, Turbulent float64
	// Heat is by how much more the drop would be, Pa, if the tube lost one standard
	// uncertainty more heat than computed: of a vertical tube, whose water so weighs more.
	Heat   float64
	Looks  float64 // how many independent looks at the flow it is the mean of
	Begins bool    // it is not known what the flow did before
}

// What makes two branches (common practice, no source).
const (
	leastOnBranch = 2   // drops, as good as laminar or as good as turbulent
	leastRise     = 5.0 // from branch to branch, times the scatter of the drops about the two
)

// sharesOfDrops is Reynolds' own sign of the transition, the break in log Δp against log v:
// along each way up or down at one temperature (within width kelvin; 0 means DefaultWidth)
// the drop leaves the laminar branch, ∝ v, and comes to the turbulent one, ∝ v^1.75. Where
// it stands between the two is the share of the tube that is turbulent. Level of both
// branches, and the transmitter's zero, are fitted to the drops of the way, since bore,
// entry and warm water change them. Ways without two branches, or with branches no farther
// apart than the drops scatter, give no look; of is the drop of each look.
func sharesOfDrops(drops []Drop, width float64) (looks []Look, of []Drop) {
	if width == 0 {
		width = DefaultWidth
	}
	bare := make([]Look, len(drops))
	for i, d := range drops {
		bare[i] = Look{Reynolds: d.Reynolds, Celsius: d.Celsius, Looks: d.Looks, Begins: d.Begins}
	}
	for from, to := range turns(bare) {
		low, high := math.Inf(1), math.Inf(-1)
		for _, l := range bare[from:to] {
			low, high = min(low, l.Celsius), max(high, l.Celsius)
		}
		shares, ok := branchesOf(drops[from:to])
		if !ok || high-low > width {
			continue
		}
		for i, l := range bare[from:to] {
			l.Torn, l.Begins = shares[i], i == 0
			looks = append(looks, l)
			of = append(of, drops[from+i])
		}
	}
	return looks, of
}

// branches are those of a way: drop = zero + (1 − q)·laminar·Laminar + q·turbulent·Turbulent.
type branches struct{ zero, laminar, turbulent float64 }

func (b branches) at(d Drop) (laminar, turbulent float64) {
	return b.zero + b.laminar*d.Laminar, b.zero + b.turbulent*d.Turbulent
}

// branchesOf finds them by least squares, q a logistic of ln Re whose place and width are
// searched for on a grid, and gives the share of each drop.
func branchesOf(way []Drop) (shares []float64, ok bool) {
	const places = 60
	best := math.Inf(1)
	var b branches
	var q, bestQ []float64
	low, high := way[0].Reynolds.X, way[0].Reynolds.X
	for _, d := range way {
		low, high = min(low, d.Reynolds.X), max(high, d.Reynolds.X)
	}
	for i := range places {
		at := low * math.Pow(high/low, float64(i)/(places-1))
		for _, scale := range [...]float64{0.002, 0.01, 0.02, 0.03, 0.05, 0.08} {
			q = logistic(way, at, scale, q)
			if one, sum, solved := leastSquares(way, q); solved && sum < best {
				best, b, bestQ = sum, one, append(bestQ[:0], q...)
			}
		}
	}
	if bestQ == nil {
		return nil, false
	}
	return b.shares(way, bestQ)
}

func logistic(way []Drop, at, scale float64, q []float64) []float64 {
	q = q[:0]
	for _, d := range way {
		q = append(q, 1/(1+math.Exp(-math.Log(d.Reynolds.X/at)/scale)))
	}
	return q
}

// leastSquares fits the branches to drops with given shares; solved is false with fewer
// than leastOnBranch on either.
func leastSquares(way []Drop, q []float64) (b branches, sum float64, solved bool) {
	m, v := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	still, torn := 0, 0
	for i, d := range way {
		row := [3]float64{1, (1 - q[i]) * d.Laminar, q[i] * d.Turbulent}
		for j := range row {
			for k := j; k < 3; k++ {
				m.SetSym(j, k, m.At(j, k)+row[j]*row[k])
			}
			v.SetVec(j, v.AtVec(j)+row[j]*d.Pascal)
		}
		if q[i] <= stillShare {
			still++
		} else if q[i] >= 1-stillShare {
			torn++
		}
	}
	var c mat.Cholesky
	var x mat.VecDense
	if still < leastOnBranch || torn < leastOnBranch || !c.Factorize(m) || c.SolveVecTo(&x, v) != nil {
		return b, 0, false
	}
	b = branches{x.AtVec(0), x.AtVec(1), x.AtVec(2)}
	for i, d := range way {
		laminar, turbulent := b.at(d)
		sum += math.Pow(d.Pascal-laminar-q[i]*(turbulent-laminar), 2)
	}
	return b, sum, true
}

// shares are where the drops stand between the branches; ok is false where those do not
// stand clear of one another.
func (b branches) shares(way []Drop, q []float64) (shares []float64, ok bool) {
	var off, rise float64
	n := 0
	for i, d := range way {
		laminar, turbulent := b.at(d)
		rise += (turbulent - laminar) / float64(len(way))
		shares = append(shares, max(0, min(1, (d.Pascal-laminar)/(turbulent-laminar))))
		switch {
		case q[i] <= stillShare:
			off, n = off+math.Pow(d.Pascal-laminar, 2), n+1
		case q[i] >= 1-stillShare:
			off, n = off+math.Pow(d.Pascal-turbulent, 2), n+1
		}
	}
	return shares, b.laminar > 0 && b.turbulent > 0 && rise > leastRise*math.Sqrt(off/float64(n))
}
