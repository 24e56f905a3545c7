package rigsim

import (
	"time"

	"flowrigd/calc/quantity"
)

// Truth is the true state of the rig at a time: what no instrument knows.
type Truth struct {
	Time   time.Time
	Values quantity.Set
	Torn   bool // a turbulent stretch passes the place where the dye is watched
}

// truth fills in every quantity that has a true value. Uncertainties,
// probabilities and the judgement "steady" belong to an observer and stay
// unknown.
func (p *plant) truth() quantity.Set {
	var s quantity.Set
	s.Put(quantity.Flow, p.flow())
	s.Put(quantity.Temperature, p.tank.celsius)
	s.Put(quantity.Level, p.tank.level)
	s.Put(quantity.HeaterOutlet, p.heater.outlet)
	s.Put(quantity.Tank, p.tank.above)
	s.Put(quantity.Ambient, p.room)
	s.Put(quantity.SupplyFlow, p.supply)
	s.PutBool(quantity.SupplyOn, p.supply > minimumSupply)
	s.PutBool(quantity.HeaterOn, p.heater.power > 0)
	s.Put(quantity.Head, p.tank.level+p.drop)
	s.Put(quantity.TemperatureRate, p.rate*p.speed)
	s.Put(quantity.TubeTemperature, p.dyeCelsius())
	s.Put(quantity.TubeTemperatureFall, p.tank.celsius-p.way.at(p.length, p.room))
	s.Put(quantity.Meter, p.way.at(p.length, p.room))
	s.Put(quantity.DyeLight, p.dye.light)
	if !p.relay.bridged {
		s.PutBool(quantity.HeatingPermitted, p.relay.energised)
	}
	p.putWater(&s)
	p.putFlow(&s)
	return s
}

// putWater gives the water where the dye is watched, and the flows of that place.
func (p *plant) putWater(s *quantity.Set) {
	w := waterAt(p.dyeCelsius())
	s.Put(quantity.Density, w.Density)
	s.Put(quantity.DynamicViscosity, w.DynamicViscosity)
	s.Put(quantity.KinematicViscosity, w.KinematicViscosity)
	perReynolds := w.KinematicViscosity / p.bore * p.area()
	s.Put(quantity.LaminarLimitFlow, laminarBelow*perReynolds)
	s.Put(quantity.TurbulentLimitFlow, turbulentAbove*perReynolds)
}

// putFlow gives what depends on the regime; between the limits there is no
// friction factor, as everywhere in the program.
func (p *plant) putFlow(s *quantity.Set) {
	re := p.reynolds()
	band := bandOf(re)
	s.Put(quantity.Velocity, p.tube.velocity)
	s.Put(quantity.Regime, float64(band))
	if band == quantity.NoFlow {
		return
	}
	s.Put(quantity.Reynolds, re)
	s.Put(quantity.GrashofReynoldsRatio, p.grashof(re))
	s.Put(quantity.DisturbedFraction, p.dye.share(watchSeconds))
	f, _ := p.tube.resistance(re, p.roughness/p.bore)
	s.Put(quantity.PressureDrop, p.pressureDrop())
	if band == quantity.Transitional {
		return
	}
	entrance := entranceLength(re, p.bore, band == quantity.Turbulent)
	s.Put(quantity.FrictionFactor, f)
	s.Put(quantity.EntranceLength, entrance)
	s.PutBool(quantity.Developed, p.length > entrance)
	s.Put(quantity.LossCoefficient, p.tube.loss())
}

// pressureDrop is what a transmitter between the ends of the tube feels, Pa: friction, and
// that the water in its two legs, at the room's temperature, is heavier than the tube's.
func (p *plant) pressureDrop() float64 { return p.dropAt(p.way.at(p.length/2, p.room)) }

// dropAt is that with water of a temperature in the middle of the tube.
func (p *plant) dropAt(celsius float64) float64 {
	nu, rho := p.middle.viscosity(celsius), p.middle.density(celsius)
	weight := (p.legs.density(p.room) - rho) * gravity * p.length
	v := p.tube.velocity
	re := v * p.bore / nu
	if re < 1 {
		return weight
	}
	f, _ := p.tube.resistance(re, p.roughness/p.bore)
	return f*p.length/p.bore*rho*v*v/2 + weight
}
