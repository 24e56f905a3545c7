package transition

import (
	"math"
	"slices"
)

// ordered is one curve through people's words of several temperatures, by proportional
// odds (McCullagh, J. R. Stat. Soc. B 42 (1980) 109; from memory): P(not laminar) and
// P(turbulent) are logistic in ln Re, of one width, gap apart, and each temperature has
// its own place midway between the two. Taken as a share of one half, a word in the middle
// scatters less than yes and no do, and a dozen words of one temperature do not tell by how
// much: a test of sameness with such scatters rejected in 1 % of simulated rigs at the
// level of 5 %.
type ordered struct {
	groups [][]trial
	places []float64
	gap    float64 // of ln Re
	scale  float64 // of ln Re
}

// oneCurve is where it lies at each temperature, in ln Re.
type oneCurve struct {
	places, own []float64   // place, and its standard uncertainty with gap and scale known
	shared      [][]float64 // what gap and scale make of all places, as two causes
}

// fitWords fits it by likelihood, penalised as the other curve is (Jeffreys); ok is false
// where there are no words, none is in the middle, or the likelihood has no summit.
func fitWords(groups [][]trial, places []float64) (w oneCurve, ok bool) {
	if slices.ContainsFunc(groups, func(g []trial) bool { return g == nil }) {
		return oneCurve{}, false
	}
	o := ordered{groups: groups, places: append([]float64(nil), places...), gap: 0.05, scale: 0.02}
	if !o.climb() {
		return oneCurve{}, false
	}
	return o.curve(), true
}

// climb goes to the summit of the penalised likelihood; false where it finds none.
func (o *ordered) climb() bool {
	for range 200 {
		for i := range o.groups {
			o.places[i] = o.placeOf(i)
		}
		gap, scale := o.step()
		o.gap, o.scale = o.gap*math.Exp(gap), o.scale*math.Exp(scale)
		switch {
		case !(o.scale > leastWidth) || !(o.gap > leastWidth):
			return false
		case math.Abs(gap) < 1e-4 && math.Abs(scale) < 1e-4:
			return true
		}
	}
	return false
}

// leastWidth of ln Re is finer than a valve is set (common practice, no source).
const leastWidth = 0.002

// look is the probability of a word, and its derivatives by place, ln gap and ln scale.
func (o *ordered) look(t trial, place, share float64) (p float64, d [3]float64) {
	x := math.Log(t.re.X) - place
	begun, whole := (x+o.gap/2)/o.scale, (x-o.gap/2)/o.scale
	// Of a logistic, and of its slope, without loss at either end.
	of := func(z float64) float64 { return 1 / (1 + math.Exp(-z)) }
	slope := func(z float64) float64 { return of(z) * of(-z) }
	by := func(z, side float64) [3]float64 {
		return [3]float64{-slope(z) / o.scale, side * slope(z) * o.gap / 2 / o.scale, -slope(z) * z}
	}
	b, w := by(begun, 1), by(whole, -1)
	switch share {
	case 0:
		return of(-begun), [3]float64{-b[0], -b[1], -b[2]}
	case 1:
		return of(whole), w
	}
	if p = of(begun) - of(whole); whole > 0 {
		p = of(-whole) - of(-begun)
	}
	return p, [3]float64{b[0] - w[0], b[1] - w[1], b[2] - w[2]}
}

// placeOf is where the likelihood of a group has its summit: its slope falls throughout.
func (o *ordered) placeOf(i int) float64 {
	slope := func(at float64) (sum float64) {
		for _, t := range o.groups[i] {
			p, d := o.look(t, at, t.share)
			sum += d[0] / max(p, 1e-300)
		}
		return sum
	}
	for reach := o.scale / 4; ; reach *= 4 {
		low, high := o.places[i]-reach, o.places[i]+reach
		if l, h := slope(low), slope(high); reach > 1 || l > 0 && h < 0 {
			return crossing(slope, high, low, h, l)
		}
	}
}

// A known is what the words tell of places, ln gap and ln scale: Fisher's information.
type known struct {
	places []float64    // of each place
	left   [][2]float64 // what gap and scale move each place by
	common matrix       // of gap and scale, the places following
}

func (o *ordered) information() (k known) {
	for i, group := range o.groups {
		var m [3][3]float64
		for _, t := range group {
			for _, share := range [...]float64{0, 0.5, 1} {
				p, d := o.look(t, o.places[i], share)
				for a := range d {
					for b := range d {
						m[a][b] += d[a] * d[b] / max(p, 1e-300)
					}
				}
			}
		}
		k.places = append(k.places, m[0][0])
		k.left = append(k.left, [2]float64{-m[0][1] / m[0][0], -m[0][2] / m[0][0]})
		k.common.cc += m[1][1] - m[0][1]*m[0][1]/m[0][0]
		k.common.cs += m[1][2] - m[0][1]*m[0][2]/m[0][0]
		k.common.ss += m[2][2] - m[0][2]*m[0][2]/m[0][0]
	}
	return k
}

// penalty is half the logarithm of the determinant of the information, of the parameters
// in which the curve is linear: places, gap and 1 over scale.
func (o ordered) penalty(gap, scale float64) float64 {
	o.gap, o.scale = o.gap*math.Exp(gap), o.scale*math.Exp(scale)
	k := o.information()
	sum := math.Log(k.common.determinant())/2 + float64(len(k.places)+2)*math.Log(o.scale) - math.Log(o.gap)
	for _, m := range k.places {
		sum += math.Log(m) / 2
	}
	return sum
}

// step is where the penalised likelihood climbs to by Fisher's scoring of ln gap and ln
// scale.
func (o *ordered) step() (gap, scale float64) {
	const h = 1e-3
	g := (o.penalty(h, 0) - o.penalty(-h, 0)) / (2 * h)
	s := (o.penalty(0, h) - o.penalty(0, -h)) / (2 * h)
	for i, group := range o.groups {
		for _, t := range group {
			p, d := o.look(t, o.places[i], t.share)
			g += d[1] / max(p, 1e-300)
			s += d[2] / max(p, 1e-300)
		}
	}
	to := o.information().common.solve(g, s)
	const far = 0.3
	return max(-far, min(far, to.constant)), max(-far, min(far, to.slope))
}

func (o *ordered) curve() oneCurve {
	k := o.information()
	w := oneCurve{places: o.places, shared: make([][]float64, 2)}
	d := k.common.determinant()
	for i, m := range k.places {
		w.own = append(w.own, 1/math.Sqrt(m))
		// The inverse of the common information, as the sum of two squares.
		gap, scale := k.left[i][0], k.left[i][1]
		w.shared[0] = append(w.shared[0], (gap*k.common.ss-scale*k.common.cs)/math.Sqrt(k.common.ss*d))
		w.shared[1] = append(w.shared[1], scale/math.Sqrt(k.common.ss))
	}
	return w
}
