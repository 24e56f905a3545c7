package rigsim

import (
	"time"

	"flowrigd/calc/quantity"
)

// Truth is the true state of the rig at a time: what no instrument knows.
type Truth struct {
	Time   time.Time
	Values quantity.Set
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
	s.Put(quantity.Tank, p.tank.celsius)
	s.Put(quantity.Ambient, roomCelsius)
	s.Put(quantity.SupplyFlow, p.supply)
	s.PutBool(quantity.SupplyOn, p.supply > minimumSupply)
	s.PutBool(quantity.HeaterOn, p.heater.power > 0)
	s.Put(quantity.Head, p.tank.level+p.drop)
	s.Put(quantity.TemperatureRate, p.rate*p.speed)
	if !p.relay.bridged {
		s.PutBool(quantity.HeatingPermitted, p.relay.energised)
	}
	p.putWater(&s)
	p.putFlow(&s)
	return s
}

func (p *plant) putWater(s *quantity.Set) {
	w := waterAt(p.tank.celsius)
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
	if band == quantity.Transitional {
		return
	}
	f := friction(re, p.roughness/p.bore, band == quantity.Turbulent)
	entrance := entranceLength(re, p.bore, band == quantity.Turbulent)
	s.Put(quantity.FrictionFactor, f)
	s.Put(quantity.EntranceLength, entrance)
	s.PutBool(quantity.Developed, p.length > entrance)
	s.Put(quantity.LossCoefficient, p.tube.loss())
	v, rho := p.tube.velocity, waterAt(p.tank.celsius).Density
	s.Put(quantity.PressureDrop, f*p.length/p.bore*rho*v*v/2)
}
