package rigsim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"flowrigd/calc/quantity"
	"flowrigd/calc/thermocouple"
)

// sensor is one instrument of this rig: a model with its own errors.
type sensor struct {
	model
	lag   float64 // s, its time constant, below what the maker states
	share float64 // of the limits of error, -1 to 1: its error
	drift float64 // of the limits of error, in an hour
	noise float64 // standard deviation, of the limits of error
	draws *rand.Rand

	state float64 // what its element feels
	count float64 // pulses so far

	frozen   bool
	held     float64 // the number it is frozen at
	failed   bool    // it reports its own failure
	withdraw bool    // the probe is out of the water
}

// The errors of a sensor beside its limits.
const (
	noiseShare = 0.03 // standard deviation of the noise unless Options say another
	driftShare = 0.02 // largest drift in an hour, of the limits of error
	airLag     = 8.0  // s, of a probe that hangs in air
)

// newSensor draws an instrument that fits its papers: its error anywhere
// within the maker's limits, its response between 0.3 and 0.5 of what he
// states as the longest.
func newSensor(m model, p *plant, seed uint64, noise float64) *sensor {
	r := randomStream(seed, streamSensors+uint64(m.id))
	return &sensor{
		model: m, noise: noise, draws: r,
		share: 2*r.Float64() - 1,
		drift: driftShare * (2*r.Float64() - 1),
		lag:   m.response * (0.3 + 0.2*r.Float64()),
		state: p.sense(m.id),
		count: 1<<16 - pulsesPerLitre, // the counter is no newer than the rig: it wraps after a litre
	}
}

// sense is the true value at the place of an instrument, SI or °C.
func (p *plant) sense(id quantity.ID) float64 {
	switch id {
	case quantity.Flow:
		return p.flow()
	case quantity.Temperature:
		return p.tank.celsius
	case quantity.Tank:
		return p.tank.above
	case quantity.Level:
		return p.tank.level
	case quantity.HeaterOutlet:
		return p.heater.outlet
	case quantity.Ambient:
		return p.room
	case quantity.DyeLight:
		return p.dye.light
	case quantity.PressureDrop:
		return p.pressureDrop()
	case quantity.SupplyFlow:
		return p.supply
	case quantity.HeaterOn:
		if p.heater.power > 0 {
			return 1
		}
	}
	return 0
}

// step lets the element follow its surroundings for dt seconds.
func (s *sensor) step(dt float64, p *plant) {
	around, lag := p.sense(s.id), s.lag
	if s.withdraw {
		around, lag = p.room, airLag
	}
	if lag > 0 {
		around = s.state + (around-s.state)*(1-math.Exp(-dt/lag))
	}
	s.state = around
	s.share = math.Max(-1, math.Min(1, s.share+s.drift*dt/3600))
	if s.id == quantity.SupplyFlow {
		// Counters count by the clock, so that a rig that runs fast shows its
		// flow and not a multiple of it.
		s.count += s.value() / 1e-3 * pulsesPerLitre * dt / p.speed
	}
}

// value is what the instrument makes of what its element feels, without noise.
func (s *sensor) value() float64 { return s.state + s.share*s.limit() }

// limit is the half-width of the maker's limits of error here, SI.
func (s *sensor) limit() float64 { return s.ofReading*math.Abs(s.state) + s.fixed }

// read is the number that stands on the wire now.
func (s *sensor) read() float64 {
	if s.failed && s.id == quantity.Level {
		return levelFailed
	}
	if !s.frozen {
		s.held = s.fresh()
	}
	return s.held
}

func (s *sensor) fresh() float64 {
	if s.id == quantity.SupplyFlow {
		return math.Mod(math.Floor(s.count), 1<<16)
	}
	return s.number(s.value() + s.draws.NormFloat64()*s.noise*s.limit())
}

// thermocoupleNumber is what a millivolt input shows for a type K couple: the
// element's voltage less that of the true cold junction, to a microvolt.
func thermocoupleNumber(junction float64) (func(celsius float64) float64, error) {
	k, err := thermocouple.Parse("K")
	if err != nil {
		return nil, fmt.Errorf("simulated thermocouple: %w", err)
	}
	cold, err := k.EMF(junction)
	if err != nil {
		return nil, fmt.Errorf("simulated cold junction: %w", err)
	}
	return func(celsius float64) float64 {
		hot, err := k.EMF(celsius)
		if err != nil {
			return math.NaN()
		}
		return round(hot-cold, 0.001)
	}, nil
}

// The cold junction as rig.toml states it: value and expanded uncertainty.
const coldJunction, coldJunctionU = 23.0, 0.5

// newSensors draws the instruments that a scenario has.
func newSensors(p *plant, seed uint64, noise float64, extra []quantity.ID) ([]*sensor, error) {
	junction := coldJunction + randomStream(seed, streamJunction).NormFloat64()*coldJunctionU/2
	millivolts, err := thermocoupleNumber(junction)
	if err != nil {
		return nil, err
	}
	var list []*sensor
	for _, m := range catalogue() {
		if !quantity.Table[m.id].Required && !slices.Contains(extra, m.id) {
			continue
		}
		if m.id == quantity.Temperature {
			m.number = millivolts
		}
		list = append(list, newSensor(m, p, seed, noise))
	}
	return list, nil
}
