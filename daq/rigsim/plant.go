package rigsim

import (
	"math"
	"math/rand/v2"
	"time"
)

// plant is the rig without its instruments. It knows no clock: somebody steps
// it.
type plant struct {
	geometry
	heater heater
	tank   tank
	tube   tube
	slugs  *rand.Rand

	supply float64 // m³/s through the heater now
	tap    float64 // m³/s the tap is set to
	relay  relay
	speed  float64 // seconds of the plant in a second of the clock
	rate   float64 // K/s of the tank in the last step
}

// setting is a point of work that a person would dial in.
type setting struct {
	celsius  float64 // of the tank
	reynolds float64 // in the tube
	supply   float64 // L/min
}

const litreAMinute = 1e-3 / 60 // m³/s

// newPlant builds a rig that has run at a setting for a long time.
func newPlant(seed uint64, at setting) *plant {
	p := &plant{geometry: draw(randomStream(seed, streamGeometry)), slugs: randomStream(seed, streamSlugs), speed: 1}
	p.relay.bridged = true
	p.tap = at.supply * litreAMinute
	p.supply = p.tap
	p.tank.celsius = at.celsius
	p.dial(at.celsius)
	p.heater.outlet = p.heater.setpoint
	flow := p.flowFor(at.reynolds)
	p.tank.level = p.lip + crest(p.supply-flow)
	p.turnTo(at.reynolds)
	p.tube.opening = p.tube.wanted
	p.tube.slug = at.reynolds > turbulentAbove
	p.tube.velocity = flow / p.area()
	return p
}

// dial sets the thermostat so that the tank comes to a temperature: the outlet
// must make up for what the tank loses.
func (p *plant) dial(celsius float64) {
	p.heater.setpoint = celsius
	if p.tap > 0 {
		p.heater.setpoint += tankLoss * (celsius - roomCelsius) / (heatPerVolume * p.tap)
	}
}

// flowFor is the flow of a Reynolds number at the tank's temperature, m³/s.
func (p *plant) flowFor(reynolds float64) float64 {
	return reynolds * viscosityAt(p.tank.celsius) / p.bore * p.area()
}

// turnTo sets the hand on the valve for a Reynolds number at the present
// temperature and head; 0 shuts it.
func (p *plant) turnTo(reynolds float64) {
	if reynolds <= 0 {
		p.tube.wanted = 0
		return
	}
	v := p.flowFor(reynolds) / p.area()
	turbulent := reynolds > (laminarBelow+turbulentAbove)/2
	f := friction(reynolds, p.roughness/p.bore, turbulent)
	sum := 2 * gravity * (p.tank.level + p.drop) / (v * v)
	p.tube.wanted = openingFor(sum - kinetic(turbulent) - f*p.length/p.bore - entranceLoss)
}

// step advances the rig by d, in parts of at most maxStep.
func (p *plant) step(d time.Duration) {
	for ; d > 0; d -= maxStep {
		p.small(min(d, maxStep).Seconds())
	}
}

func (p *plant) small(dt float64) {
	p.relay.step(dt / p.speed) // its watchdog is an electronic timer, not part of the physics
	p.supply += (p.tap - p.supply) * (1 - math.Exp(-dt/supplyLag))
	p.heater.step(dt, p.supply, p.relay.closed())
	p.tube.step(dt, p.geometry, p.tank, p.slugs)
	before := p.tank.celsius
	p.tank.step(dt, p.lip, p.supply, p.heater.outlet, p.flow())
	p.rate = (p.tank.celsius - before) / dt
}

// flow through the tube, m³/s.
func (p *plant) flow() float64 { return p.tube.velocity * p.area() }

// reynolds is the true Reynolds number, on the true bore and at the inlet.
func (p *plant) reynolds() float64 {
	return p.tube.velocity * p.bore / viscosityAt(p.tank.celsius)
}
