package rigsim

import (
	"math"
	"math/rand/v2"
)

// surroundings are the room and the mains, which nobody on the bench sets.
type surroundings struct {
	room, mains float64 // °C now
	air, cellar wander
	at          float64 // s since the rig began
}

// wander is a temperature that drifts about its mean: three sines whose
// amplitudes add up to the swing, so that it never leaves it and has no jumps.
type wander struct {
	mean, swing float64 // °C, K
	omega       [3]float64
	phase       [3]float64
}

// parts of the swing that the three sines have.
var wanderParts = [3]float64{0.5, 0.3, 0.2}

// newWander draws one: the slowest sine has the period, give or take a fifth,
// the others a half and a quarter of theirs.
func newWander(r *rand.Rand, low, high, swing, period float64) wander {
	w := wander{mean: low + (high-low)*r.Float64(), swing: swing}
	for i := range w.omega {
		w.omega[i] = 2 * math.Pi / (period * (0.8 + 0.4*r.Float64())) * float64(int(1)<<i)
		w.phase[i] = 2 * math.Pi * r.Float64()
	}
	return w
}

func (w *wander) value(at float64) float64 {
	v := w.mean
	for i, part := range wanderParts {
		v += w.swing * part * math.Sin(w.omega[i]*at+w.phase[i])
	}
	return v
}

func newSurroundings(r *rand.Rand, calm bool) surroundings {
	s := surroundings{
		air:    newWander(r, roomLow, roomHigh, roomSwing, roomPeriod),
		cellar: newWander(r, mainsLow, mainsHigh, mainsSwing, mainsPeriod),
	}
	if calm {
		s.air.swing, s.cellar.swing = 0, 0
	}
	s.step(0)
	return s
}

func (s *surroundings) step(dt float64) {
	s.at += dt
	s.room, s.mains = s.air.value(s.at), s.cellar.value(s.at)
}
