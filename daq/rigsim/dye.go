package rigsim

import (
	"math"
	"math/rand/v2"

	"flowrigd/calc/quantity"
)

// dye is the thread at the place where it is watched.
type dye struct {
	torn    bool    // now
	off     bool    // no dye is let in
	light   float64 // ratio that reaches the photodiode, 0 to 1
	swing   float64 // of the light about the still thread's, ÷ it
	seconds [watchSeconds + 1]float64
	second  int     // of the ring, under way
	part    float64 // s of it
	draws   *rand.Rand
}

// fill is a thread that has been torn for a share of the past.
func (d *dye) fill(share float64) {
	for i := range d.seconds {
		d.seconds[i] = share
	}
	d.light = stillLight
}

func (d *dye) step(dt float64, torn bool) {
	d.torn = torn
	if d.part += dt; d.part >= 1 {
		d.part -= 1
		d.second = (d.second + 1) % len(d.seconds)
		d.seconds[d.second] = 0
	}
	if torn {
		d.seconds[d.second] += dt
	}
	d.flicker(dt)
}

// flicker lets the light wander about the still thread's with the standard
// deviation of its state: an Ornstein-Uhlenbeck process, to first order in dt.
func (d *dye) flicker(dt float64) {
	deviation := stillFlicker
	if d.torn {
		deviation = tornFlicker
	}
	d.swing += -d.swing*dt/flickerTime + deviation*math.Sqrt(2*dt/flickerTime)*d.draws.NormFloat64()
	d.light = stillLight * math.Max(0, math.Min(1/stillLight, 1+d.swing))
	if d.off {
		d.light = clearLight
	}
}

// share is the part of the last whole seconds, up to watchSeconds, in which
// the thread was torn.
func (d *dye) share(seconds int) float64 {
	sum := 0.0
	for i := 1; i <= seconds; i++ {
		sum += d.seconds[(d.second-i+len(d.seconds))%len(d.seconds)]
	}
	return math.Min(1, sum/float64(seconds))
}

// seen is what a person makes of the thread in a look.
func (d *dye) seen() quantity.Band {
	switch share := d.share(lookSeconds); {
	case share > mostlyOne:
		return quantity.Turbulent
	case share < 1-mostlyOne:
		return quantity.Laminar
	}
	return quantity.Transitional
}
