package series

import "math"

// A parabola is mean + slope·p1(x) + bow·p2(x) by least squares, on the
// orthogonal polynomials p1 = x − a, p2 = x² − b·p1 − c of the points' own
// times, x from −1 (oldest point) to 1 (newest).
type parabola struct {
	start, scale     float64 // x = (t − start)·scale − 1
	a, b, c          float64
	mean, slope, bow float64
	squares          float64 // slope²·Σp1² + bow²·Σp2²
}

func fitParabola(n int, at func(int) point) parabola {
	p := parabola{start: at(0).at}
	p.scale = 2 / (at(n-1).at - p.start)
	p.orthogonalise(n, at)
	var v1, v2, n1, n2 float64
	for i := range n {
		q := at(i)
		p1, p2 := p.basis(q.at)
		d := q.value - p.mean
		v1 += d * p1
		v2 += d * p2
		n1 += p1 * p1
		n2 += p2 * p2
	}
	p.slope, p.bow = v1/n1, v2/n2
	p.squares = p.slope*v1 + p.bow*v2
	return p
}

// orthogonalise finds a, b, c and the mean. The mean is summed about the first
// value, so that a constant series has a parabola of exactly that constant.
func (p *parabola) orthogonalise(n int, at func(int) point) {
	count := float64(n)
	origin := at(0).value
	for i := range n {
		q := at(i)
		p.a += p.x(q.at) / count
		p.mean += (q.value - origin) / count
	}
	p.mean += origin
	var x2, x2p1, p1p1 float64
	for i := range n {
		x := p.x(at(i).at)
		x2 += x * x / count
		x2p1 += x * x * (x - p.a)
		p1p1 += (x - p.a) * (x - p.a)
	}
	p.b, p.c = x2p1/p1p1, x2
}

func (p *parabola) x(t float64) float64 { return (t-p.start)*p.scale - 1 }

func (p *parabola) basis(t float64) (p1, p2 float64) {
	x := p.x(t)
	p1 = x - p.a
	return p1, x*x - p.b*p1 - p.c
}

// size is the parabola's highest less its lowest point for x in −1…1.
func (p *parabola) size() float64 {
	at := func(x float64) float64 { return p.slope*x + p.bow*(x*x-p.b*x) }
	low, high := math.Min(at(-1), at(1)), math.Max(at(-1), at(1))
	if p.bow != 0 {
		if vertex := (p.b - p.slope/p.bow) / 2; math.Abs(vertex) < 1 {
			low, high = math.Min(low, at(vertex)), math.Max(high, at(vertex))
		}
	}
	return high - low
}
