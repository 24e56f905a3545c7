package dye

import "math"

// Spells are the times in which the thread was torn, or those in which it was still.
type Spells struct {
	Seconds      float64 // all of them together
	Ended        int     // how many were seen to end
	Whole        int     // how many were seen from beginning to end
	Sum, Squares float64 // of the lengths of the whole ones, s and s²
}

func (s *Spells) add(length float64, ended, whole bool) {
	s.Seconds += length
	if ended {
		s.Ended++
	}
	if whole {
		s.Whole++
		s.Sum += length
		s.Squares += length * length
	}
}

// Seen is what was seen of a thread over a time.
type Seen struct{ Torn, Still Spells }

// Share is the share of time with a torn thread, and what it says of the flow: the share
// that a longer time would show.
type Share struct {
	Fraction  float64 // 0 to 1
	Low, High float64 // of the flow's, 95 %
	U         float64 // standard uncertainty: half of the interval ÷ 1.96
	Looks     float64 // how many independent looks at the thread tell as much
}

// enoughCycles is how many whole stretches and pauses tell how much their lengths scatter.
const enoughCycles = 10

// Share is the share with its interval after Wilson (J. Am. Stat. Assoc. 22 (1927) 209)
// on an effective number of looks: the readings within one stretch of torn thread are no
// trials. Torn and still times alternate (Cox, Renewal Theory, 1962): with mean lengths
// mT and mL that scatter by sT and sL, over a time T,
//
//	var g = (mL²·sT² + mT²·sL²)/((mT + mL)³·T),   looks = g(1 − g)/var g.
//
// Until ten of each were seen from beginning to end their lengths are taken as
// exponential, sT = mT and sL = mL, and so looks = T·(1/mT + 1/mL)/2. Where none was
// seen to end, half of one is taken as seen: with nothing torn at all a stretch of
// passage seconds, which the place where the dye is watched takes for one stretch of
// turbulence to go by.
func (s *Seen) Share(passage float64) Share {
	torn, still := s.Torn.Seconds, s.Still.Seconds
	all := torn + still
	g := torn / all
	looks := all * (s.Torn.rate(passage) + s.Still.rate(passage)) / 2
	if s.Torn.Whole >= enoughCycles && s.Still.Whole >= enoughCycles {
		mT, vT := s.Torn.moments()
		mL, vL := s.Still.moments()
		if variance := (mL*mL*vT + mT*mT*vL) / (math.Pow(mT+mL, 3) * all); variance > 0 {
			looks = g * (1 - g) / variance
		}
	}
	low, high := wilson(g, looks)
	return Share{Fraction: g, Low: low, High: high, U: (high - low) / (2 * normal95), Looks: looks}
}

// rate is how many spells end in a second of them.
func (s *Spells) rate(passage float64) float64 {
	return math.Max(0.5, float64(s.Ended)) / math.Max(s.Seconds, passage/2)
}

// moments are the mean and the variance (n − 1) of the whole spells' lengths.
func (s *Spells) moments() (mean, variance float64) {
	n := float64(s.Whole)
	mean = s.Sum / n
	return mean, math.Max(0, s.Squares-n*mean*mean) / (n - 1)
}

const normal95 = 1.959963984540054

// wilson is the interval of a share g of n looks at the level 0.95; n need not be whole.
func wilson(g, n float64) (low, high float64) {
	const z2 = normal95 * normal95
	middle := (g + z2/(2*n)) / (1 + z2/n)
	half := normal95 / (1 + z2/n) * math.Sqrt(g*(1-g)/n+z2/(4*n*n))
	return math.Max(0, middle-half), math.Min(1, middle+half)
}

// Passage is how long one stretch of turbulence takes to go by, in seconds at a velocity
// in m/s through a bore in metres: a puff is 25 bores long with its tail, and goes with
// the water (20 to 30 D and 0.9 to 1 U, from memory).
func Passage(velocity, bore float64) float64 { return 25 * bore / velocity }

// Looks is how many independent looks at the flow the share of a time of so many seconds
// is, at a velocity in m/s through a bore in metres: of exponential stretches and pauses,
// each a passage long in the mean at a share of one half, where it tells most.
func Looks(seconds, velocity, bore float64) float64 { return seconds / Passage(velocity, bore) }
