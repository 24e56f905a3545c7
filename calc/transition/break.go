package transition

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Breaks estimates, for each temperature and each direction in which Re came, the Re at
// which the pressure drop stands midway between its laminar and its turbulent branch. The
// drops are in the order of time. Ways with both branches that crossed within width kelvin
// of one another (0 means DefaultWidth), up and down, are of one tube and one transmitter,
// so their branches are fitted as one, by weighted least squares: the way up shows the
// laminar branch where the way down has hardly any of it left, and the other way round. Where a
// way shows no break there is no estimate, and where the fit does not hold, no Fit.
func Breaks(drops []Drop, width float64) (estimates []Estimate, err error) {
	if math.IsNaN(width) || width < 0 {
		return nil, errWidth(width)
	}
	looks, of := sharesOfDrops(drops, width)
	if _, _, err := HalfTorn(looks, width); err != nil {
		return nil, err
	}
	all, _ := ways(looks)
	slices.SortStableFunc(all, func(a, b way) int { return cmp.Compare(a.celsius, b.celsius) })
	for group := range groups(all, cmp.Or(width, DefaultWidth), func(w way) float64 { return w.celsius }) {
		estimates = append(estimates, breaksOf(group, of)...)
	}
	slices.SortStableFunc(estimates, func(a, b Estimate) int { return cmp.Compare(a.Approach, b.Approach) })
	return estimates, nil
}

// breaksOf takes the ways of one temperature, and the drops of all looks.
func breaksOf(group []way, drops []Drop) (estimates []Estimate) {
	var b breakFit
	for _, a := range [...]Approach{Rising, Falling} {
		list := slices.DeleteFunc(slices.Clone(group), func(w way) bool { return w.approach != a })
		if len(list) == 0 {
			continue
		}
		e := estimateWays(list, a)
		if e.Fit != nil {
			for _, w := range list {
				b.add(len(b.place), drops[w.from:w.from+len(w.looks)])
			}
			b.place, b.scale = append(b.place, math.Log(e.Fit.Critical.X)), append(b.scale, e.Fit.Scale)
		}
		estimates = append(estimates, e)
	}
	fits := b.fits()
	k := 0
	for i := range estimates {
		if e := &estimates[i]; e.Fit != nil {
			if e.Fit = nil; fits != nil {
				e.Fit = fits[k].with(e.Relative)
			}
			k++
		}
	}
	return estimates
}

// place is where a direction was found to break, and what is known of it by the fit alone.
type place struct {
	at, scale, own, half float64 // of ln Re: half is that of the interval
	scatter              float64
	bounded              bool
}

// with adds the relative standard uncertainty of the Re, common to all.
func (p place) with(relative float64) *Fit {
	f := &Fit{Scale: p.scale, Own: p.own, Scatter: p.scatter, Bounded: p.bounded}
	f.Critical.X = math.Exp(p.at)
	f.Critical.U = f.Critical.X * math.Hypot(p.own, relative)
	if p.bounded {
		half := math.Hypot(p.half, intervalZ*relative)
		f.Low, f.High = f.Critical.X*math.Exp(-half), f.Critical.X*math.Exp(half)
	}
	return f
}

// weighings are the rounds in which the drops are weighed anew (common practice, no source).
const weighings = 5

// fits settles the fit and weighs the drops anew by it, in turn. It gives nothing where
// the branches cannot be told from one another.
func (b *breakFit) fits() (places []place) {
	if len(b.place) == 0 {
		return nil
	}
	b.x[ofLaminar], b.x[ofTurbulent] = 1, 1
	var scatter []float64
	var between []int
	for i := range weighings {
		if i > 0 {
			if scatter, between = b.weigh(); scatter == nil {
				return nil
			}
		}
		if !b.settle() {
			return nil
		}
	}
	for k, at := range b.place {
		own, ok := b.own(k)
		if !ok || !b.rises(k) {
			return nil
		}
		p := place{at: at, scale: b.scale[k], own: own, half: intervalZ * own, scatter: scatter[k]}
		// The scatter is measured on few drops: Student's t, whose standard deviation is
		// √(ν/(ν − 2)) (JCGM 101:2008, 6.4.9).
		if degrees := float64(between[k] - 2); between[k] >= leastScatter {
			p.half = own * distuv.StudentsT{Sigma: 1, Nu: degrees}.Quantile((1+IntervalLevel)/2)
			p.own *= math.Sqrt(degrees / (degrees - 2))
		}
		low, high := b.seen(k)
		p.bounded = low <= at-p.half && at+p.half <= high
		places = append(places, p)
	}
	return places
}
