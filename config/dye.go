package config

import (
	"fmt"
	"time"

	"flowrigd/calc/quantity"
)

// Dye is the thread, and how it is watched.
type Dye struct {
	Needle    float64 // m, bore of the needle it comes out of; 0: not stated
	TornAbove float64 // times the still thread's own flicker
}

// loadDye reads what is known of the thread.
func (l *loader) loadDye() {
	const byDefault, least, most = 5, 1.5, 100
	s := l.optional("dye")
	d := &l.config.Dye
	d.TornAbove = byDefault
	v, n := s.number("torn_above")
	switch {
	case n == nil:
	case v < least || v > most:
		s.bad("torn_above", n, n.text+" is out of range", fmt.Sprintf("write how many times a still thread's own flicker, from %g to %g", least, float64(most)))
	default:
		d.TornAbove = v
	}
	bore := l.config.Tube.Bore.X
	d.Needle = s.positive("needle", Length)
	if bore > 0 && d.Needle >= bore {
		s.bad("needle", s.node.child("needle"), fmt.Sprintf("%s is not less than the bore of the tube, %s", Format(d.Needle, Length), Format(bore, Length)), `write the bore of the needle, such as "0.8 mm"`)
	}
	s.done()
}

// slowestDye is how far apart two readings of the light may be: a torn stretch of a
// fast flow is past in a second.
const slowestDye = 200 * time.Millisecond

// adviseDye warns of a light that is read too rarely to see how long a stretch is.
func (l *loader) adviseDye() {
	in := l.config.Instrument(quantity.DyeLight)
	if in == nil || in.Every <= slowestDye {
		return
	}
	l.report.warn(l.at("instruments", in.Name, "every"), fmt.Sprintf("instruments.dye_light.every: with a reading every %s short stretches of torn thread are missed, and disturbed_fraction is too coarse", Format(in.Every.Seconds(), Time)), `read it at least every 200 ms`)
}
