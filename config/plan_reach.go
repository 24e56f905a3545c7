package config

import (
	"fmt"
	"math"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
)

// What a regime is set to, and the room that it needs from its limit (own choice: the
// uncertainty of Re on a bench is 2 to 5 %).
const (
	laminarAim, turbulentAim = 0.75, 1.5 // of the limit
	leastRoom                = 0.1       // of the limit
	aimWithin                = 0.95      // of what the head or the meter allows
)

// warmthMistake says why water of a plan cannot be so warm; nil where it can.
func (c *Config) warmthMistake(celsius float64) *Mistake {
	if celsius <= 0 {
		return &Mistake{Format(celsius, Temperature) + ": water is ice", `write a temperature of water, such as "25 Cel"`}
	}
	for i := range c.Alarms {
		a := &c.Alarms[i]
		if a.Name != "water-overheat" || a.Above == nil {
			continue
		}
		u := c.temperatureU(celsius)
		most := *a.Above - a.Deadband - u
		if celsius > most {
			return &Mistake{fmt.Sprintf("%s is above %s, where water-overheat can be raised: its limit of %s less its deadband of %s and the thermometer's uncertainty of %s",
				Format(celsius, Temperature), Format(math.Floor(most*10)/10, Temperature), Format(*a.Above, Temperature), Format(a.Deadband, TemperatureDifference), Format(math.Ceil(u*10)/10, TemperatureDifference)),
				fmt.Sprintf("write up to %s", Format(math.Floor(most*10)/10, Temperature))}
		}
	}
	return nil
}

// temperatureU is the expanded uncertainty (k = 2) of the water's temperature by what
// is stated of its thermometer, K; 0 where nothing is.
func (c *Config) temperatureU(celsius float64) float64 {
	in := c.Instrument(quantity.Temperature)
	if in == nil {
		return 0
	}
	u := 0.0
	if a := in.Accuracy; a != nil {
		half := a.OfReading*math.Abs(celsius) + a.Fixed
		if r, _ := in.reach(); r != nil {
			half += a.OfSpan * (r.High - r.Low)
		}
		u = half / math.Sqrt(3)
	}
	if k := in.Calibration; k != nil {
		u = k.Fixed + k.OfReading*math.Abs(celsius)
	}
	if t := in.Thermocouple; t != nil && t.ColdJunction != nil {
		u = math.Hypot(u, t.ColdJunction.U)
	}
	return coverage * u
}

// aim gives a point of a regime the Reynolds number to set, and says why the rig
// cannot reach a point; nil where it can.
func (c *Config) aim(p *PlannedPoint) *Mistake {
	w, err := water.At(p.Temperature)
	if err != nil {
		return &Mistake{err.Error(), `write a temperature of water, such as "25 Cel"`}
	}
	nu := w.KinematicViscosity
	low, high := p.Reynolds, p.Reynolds // what would do
	switch r := c.Regime; p.Regime {
	case quantity.Laminar:
		low, high = 0, r.LaminarBelow*(1-leastRoom)
		p.Reynolds = laminarAim * r.LaminarBelow
	case quantity.Transitional:
		low, high = r.LaminarBelow*(1+leastRoom), r.TurbulentAbove*(1-leastRoom)
		p.Reynolds = math.Sqrt(r.LaminarBelow * r.TurbulentAbove)
	case quantity.Turbulent:
		low, high = r.TurbulentAbove*(1+leastRoom), math.Inf(1)
		p.Reynolds = turbulentAim * r.TurbulentAbove
	}
	flow := func(re float64) string { return short(rounded(6e4*pipe.LimitFlow(re, c.Tube.Bore.X, nu))) + " L/min" }
	most, least := c.mostReynolds(nu), 0.0
	by := "the head of " + Format(rounded(c.headMost()), Length) + " gives through the tube with the valve open"
	if in := c.Instrument(quantity.Flow); in != nil && in.Range != nil {
		least = pipe.Reynolds(in.Range.Low, c.Tube.Bore.X, nu)
		if metered := pipe.Reynolds(in.Range.High, c.Tube.Bore.X, nu); metered < most {
			most, by = metered, "the flow meter's range allows"
		}
	}
	switch {
	case low > most:
		return &Mistake{fmt.Sprintf("%s needs %s, more than %s: at most %s, Re %.0f", p.Name(), flow(low), by, flow(most), math.Floor(most)),
			fmt.Sprintf("write a Reynolds number up to %.0f, or warmer water", math.Floor(most))}
	case high < least:
		return &Mistake{fmt.Sprintf("%s needs %s, less than the flow meter's range begins with: at least %s, Re %.0f", p.Name(), flow(high), flow(least), math.Ceil(least)),
			fmt.Sprintf("write a Reynolds number from %.0f on, or cooler water", math.Ceil(least))}
	case p.Regime != 0:
		p.Reynolds = max(min(p.Reynolds, aimWithin*most), least/aimWithin)
		p.Reynolds = max(min(p.Reynolds, high), low)
	}
	return nil
}

// rounded is a value to three digits, for people.
func rounded(v float64) float64 {
	if v == 0 {
		return 0
	}
	scale := math.Pow(10, 2-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*scale) / scale
}

// headMost is the head with the water at the lip, its uncertainty added, m.
func (c *Config) headMost() float64 {
	return c.Tank.Lip.X + c.Tank.Drop.X + coverage*math.Hypot(c.Tank.Lip.U, c.Tank.Drop.U)
}

// mostReynolds is the Reynolds number at which friction of the tube and velocity take
// all of the head: no valve, no mouth, the least friction that either profile has. What
// lies above it no setting of the valve gives.
func (c *Config) mostReynolds(nu float64) float64 {
	bore := c.Tube.Bore.X
	needs := func(re float64) float64 {
		f := pipe.LaminarFriction(re)
		if re > c.Regime.TurbulentAbove {
			f = pipe.Colebrook(re, c.Tube.Roughness.X/bore)
		}
		v := re * nu / bore
		return v * v / (2 * pipe.Gravity) * (1 + f*c.Tube.Length.X/bore)
	}
	low, high := 1.0, 1e7
	for range 60 {
		if middle := math.Sqrt(low * high); needs(middle) > c.headMost() {
			high = middle
		} else {
			low = middle
		}
	}
	return low
}
