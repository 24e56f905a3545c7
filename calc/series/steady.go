package series

import (
	"math"
	"time"
)

// SteadyConfig sets a detector. Its zero value is the default.
type SteadyConfig struct {
	// Span is the window that is judged; 0 means 60 s. It must hold 24 samples
	// or the quantity is never called steady.
	Span time.Duration
	// Within is the change over the window that does not matter, in the
	// quantity's unit: at least the instrument's resolution, or one code more
	// or less is taken for a movement. 0 asks for no movement beyond noise.
	Within float64
	// Relative is the same as a part of the window's mean; the larger of the two holds.
	Relative float64
}

// Condition is what a detector says. The zero value is Filling.
type Condition uint8

// The conditions.
const (
	Filling   Condition = iota // not a whole window yet
	Moving                     // it changes by more than noise and by more than Within
	Undecided                  // too few independent samples to show that it does not
	Still                      // steady
)

// String is the condition in words.
func (c Condition) String() string {
	return [...]string{Filling: "filling", Moving: "moving", Undecided: "undecided", Still: "steady"}[c]
}

const (
	steadySpan    = 60 * time.Second
	steadyPoints  = 120 // averaged points of a window
	steadyMinimum = 24  // fewer are not judged
	steadyPower   = 8   // cosine coefficients that measure the noise's power

	// movingF is F(2, 8) at 1 % (tables of F; computed with scipy.stats).
	movingF = 8.649
	// stillT is Student's t for 8 degrees of freedom at 5 % one-sided.
	stillT = 1.860
	// noiseShare is the movement, in standard deviations of the noise, that
	// is called still when Within asks for no more.
	noiseShare = 4
	// crossings is how often the noise must cross the parabola, or a quarter
	// of the points if that is less: a slug or two are no sample of slugs.
	crossings = 12
)

// Steady judges whether one quantity is steady. It allocates nothing after
// NewSteady.
//
// A window whose points differ by no more than Within is steady. Else a
// parabola is put through it. The quantity is moving where the
// parabola goes up or down by more than Within and F at 1 % says that chance
// does not do that. It is steady where, besides, the movement with its error
// at 95 % stays under Within or under four standard deviations of the noise;
// else it is undecided. The noise is measured by the power that the residuals
// have at low frequencies (their cosine coefficients 3 to 10), the only noise
// that can pass for a movement: so neither autocorrelation nor slugs make a
// steady flow unsteady, as they do for the ratio of filtered variances of Cao
// and Rhinehart, J. Process Control 5 (1995) 363, which is made for white
// noise; and a window of few slugs is not called steady. The estimator is
// that of Lazarus, Lewis, Stock and Watson, J. Bus. Econ. Stat. 36 (2018) 541
// (from memory).
//
// Wrong judgements at defaults (60 s, a sample each 200 ms, Within 0) in 1000
// windows of synthetic series, σ the standard deviation of the noise: steady
// ones missed, and moving ones called steady (false):
//
//	white noise                                   missed   1.7 %
//	autocorrelated, 0.5 from sample to sample     missed   1.7 %
//	autocorrelated, 0.8                           missed   1.8 %
//	autocorrelated, 0.9                           missed   6.4 %
//	intermittent, some 60 slugs in the window     missed   0.8 %
//	intermittent, some 30 slugs                   missed   1.0 %
//	drift of 1.5 σ over the window, white         false    0.5 %
//	drift of 2 σ, white                           false    0.0 %
//	drift of 5 σ, white                           false    0.0 %
//	drift of 5 σ, autocorrelated 0.5              false    0.0 %
//	drift of 5 σ, autocorrelated 0.8              false    0.0 %
//	drift of 5 σ, autocorrelated 0.9              false    0.0 %
//	settling by 5 σ with a third of the window    false    0.0 %
//	step of 3 σ in the middle                     false    0.0 %
//	swing of ± 2 σ, one period in the window      false    0.0 %
//	intermittent, share of slugs 10 to 90 %       false    1.6 %
//	intermittent, share of slugs 20 to 80 %       false   19.6 %
//	intermittent, some 3 slugs                    false   17.2 %
type Steady struct {
	least     float64 // Within
	relative  float64
	within    float64 // of the window judged last
	window    *Window
	residuals []float64
	condition Condition
	remaining time.Duration
}

// NewSteady makes a detector for one quantity.
func NewSteady(c SteadyConfig) *Steady {
	if c.Span <= 0 {
		c.Span = steadySpan
	}
	return &Steady{
		// A millionth more, so that one code of 0.1 is within 0.1 in binary too.
		least:     math.Max(c.Within, 0) * (1 + 1e-6),
		relative:  math.Max(c.Relative, 0) * (1 + 1e-6),
		window:    NewWindow(c.Span, steadyPoints),
		residuals: make([]float64, steadyPoints),
	}
}

// Add takes a sample of monotonic time at and says whether the quantity is
// steady over the window that ends with it. It judges anew with each point of
// the window.
func (s *Steady) Add(at time.Duration, v float64) bool {
	if s.window.Add(at, v) {
		s.conclude()
	}
	return s.condition == Still
}

// Condition is the last judgement.
func (s *Steady) Condition() Condition { return s.condition }

// Take adds what another detector of the quantity has seen: for one of another span
// or sense.
func (s *Steady) Take(other *Steady) {
	s.window.Take(other.window)
	s.conclude()
}

func (s *Steady) conclude() {
	s.condition = s.judge()
	s.remaining = s.left()
}

// Reset forgets every sample: the window fills anew.
func (s *Steady) Reset() {
	s.window.Reset()
	s.condition = Filling
}

func (s *Steady) judge() Condition {
	n := s.window.Len()
	if n < steadyMinimum || 10*s.window.Covered() < 9*s.window.span {
		return Filling
	}
	s.within = math.Max(s.least, s.relative*math.Abs(s.window.mean()))
	if s.window.spread() <= s.within {
		return Still
	}
	m := s.movement(n)
	if m.size > s.within && m.squares/2 > movingF*m.power {
		return Moving
	}
	// A movement's standard error over evenly spaced points: √(12/n) of one.
	bound := m.size + stillT*math.Sqrt(12*m.power/float64(n))
	if bound <= s.within || bound <= noiseShare*m.noise && m.crossings >= min(crossings, n/4) {
		return Still
	}
	return Undecided
}

// Remaining is the least time from the newest point until the quantity can be called
// steady: none when it is; while the window fills, what it lacks; after a movement,
// until that has left the window. It counts from the last point that is away from the
// newest ones by more than Within and by more than their noise.
func (s *Steady) Remaining() time.Duration {
	if s.window.n == 0 {
		return s.window.span
	}
	return s.remaining
}

func (s *Steady) left() time.Duration {
	switch {
	case s.condition == Still:
		return 0
	case s.window.n == 0:
		return s.window.span
	}
	rest := s.window.restFrom(math.Max(s.within, restNoise*s.window.noise()))
	left := s.window.span - time.Duration((s.window.at(s.window.n-1).at-rest)*float64(time.Second))
	return max(s.window.width, left) // one more point, where no movement is seen and too little to say so
}

// restNoise is how many standard deviations of the noise the points of a quantity at
// rest span, nearly always: of 120 normal ones 5.1 on average, 6.4 in 99 of 100
// (tables of the studentised range with known σ, from memory).
const restNoise = 6.4

// A movement is the parabola through a window and the noise about it.
type movement struct {
	size      float64 // highest less lowest point of the parabola in the window
	squares   float64 // sum of squares of its slope and its bow, one degree each
	power     float64 // of the noise at low frequencies: what squares/2 is without movement
	noise     float64 // standard deviation of the noise
	crossings int     // of the parabola by the noise
}

func (s *Steady) movement(n int) movement {
	p := fitParabola(n, s.window.at)
	residuals := s.residuals[:n]
	var square float64
	crossed := 0
	for i := range residuals {
		v := s.window.at(i)
		p1, p2 := p.basis(v.at)
		residuals[i] = v.value - (p.mean + p.slope*p1 + p.bow*p2)
		square += residuals[i] * residuals[i]
		if i > 0 && residuals[i]*residuals[i-1] < 0 {
			crossed++
		}
	}
	get := func(i int) float64 { return residuals[i] }
	// Coefficients 1 and 2 are what slope and bow have taken away.
	return movement{
		size:      p.size(),
		squares:   p.squares,
		power:     lowPower(n, get, 3, steadyPower),
		noise:     math.Sqrt(square / float64(n-3)),
		crossings: crossed,
	}
}
