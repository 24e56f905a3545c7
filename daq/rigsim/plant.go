package rigsim

import (
	"math"
	"math/rand/v2"
	"time"

	"flowrigd/calc/water"
)

// plant is the rig without its instruments. It knows no clock: somebody steps
// it.
type plant struct {
	geometry
	surroundings
	heater    heater
	tank      tank
	tube      tube
	way       way
	cooling   cooling
	stretches stretches
	dye       dye
	slugs     *rand.Rand

	supply float64 // m³/s through the heater now
	tap    float64 // m³/s the tap is set to
	relay  relay
	speed  float64 // seconds of the plant in a second of the clock
	rate   float64 // K/s of the water at the tube's mouth in the last step
	looked float64 // s since room, mains and the tube's loss were looked at

	middle, watched warm // of the water in the middle of the tube and at the dye
	legs            warm // of the pressure transmitter
}

// setting is a point of work that a person would dial in.
type setting struct {
	celsius  float64 // at the tube's inlet
	reynolds float64 // where the dye is watched
	supply   float64 // L/min
}

const litreAMinute = 1e-3 / 60 // m³/s

// newPlant builds a rig that has run at a setting for a long time. Calm, its room
// and mains do not drift.
func newPlant(seed uint64, at setting, calm bool) *plant {
	p := &plant{geometry: draw(randomStream(seed, streamGeometry)), slugs: randomStream(seed, streamSlugs), speed: 1}
	p.surroundings = newSurroundings(randomStream(seed, streamSurroundings), calm)
	p.cooling = cooling{factor: drawLoss(randomStream(seed, streamLoss)), surface: at.celsius}
	p.stretches = newStretches(randomStream(seed, streamThreshold))
	p.dye.draws = randomStream(seed, streamLight)
	p.relay.bridged = true
	p.tap = at.supply * litreAMinute
	p.supply = p.tap
	p.tank.celsius = at.celsius
	v, _ := p.aim(at.celsius, at.reynolds)
	p.tube.velocity = v
	p.tank.level = p.lip + crest(p.supply-p.flow())
	p.tank.above, _ = p.tank.rest(at.celsius, p.room, p.supply, p.flow())
	p.dial(at.celsius)
	p.heater.outlet = p.heater.setpoint
	p.run(v, at.reynolds)
	p.turnTo(at.reynolds)
	p.tube.opening = p.tube.wanted
	return p
}

// run fills the tube with the past of a steady flow: its heat, its stretches and
// what the thread has shown.
func (p *plant) run(v, reynolds float64) {
	passage := p.length / v
	for range 100 * (memoryPassages + 3) {
		p.stretches.step(passage/100, v, reynolds, p.geometry, p.slugs)
	}
	p.tube.torn = p.stretches.content(p.length)
	p.dye.fill(p.stretches.share())
	p.cooling.look(p.tank.celsius, p.room, reynolds, p.tube.torn, p.geometry)
	p.way.fill(v, p.cooling.rate, p.tank.celsius, p.length)
	p.look(0)
}

// dial sets the thermostat so that the water at the tube's mouth comes to a
// temperature: the outlet must make up for what the tank loses.
func (p *plant) dial(celsius float64) {
	_, p.heater.setpoint = p.tank.rest(celsius, p.room, p.tap, p.flow())
}

// aim is the velocity of a Reynolds number at the dye with water that comes in at a
// temperature, and the tube as it will be then.
func (p *plant) aim(celsius, reynolds float64) (v float64, then tube) {
	then.torn = wanted(reynolds, p.stretches.critical())
	c, g, at := p.cooling, p.geometry, celsius
	for range 4 {
		v = reynolds * viscosityAt(at) / p.bore
		c.look(at, p.room, reynolds, then.torn, g)
		at = p.room + (celsius-p.room)*math.Exp(-c.rate*p.watchedAt/v)
	}
	outlet := p.room + (celsius-p.room)*math.Exp(-c.rate*p.length/v)
	then.bend = c.grashof(celsius, outlet, p.room, reynolds, g)
	return v, then
}

// turnTo sets the hand on the valve for a Reynolds number at the dye, at the
// present temperature and head; 0 shuts it.
func (p *plant) turnTo(reynolds float64) { p.turnFor(p.tank.celsius, reynolds) }

// turnFor is turnTo for water that will have another temperature.
func (p *plant) turnFor(celsius, reynolds float64) {
	if reynolds <= 0 {
		p.tube.wanted = 0
		return
	}
	v, then := p.aim(celsius, reynolds)
	f, alpha := then.resistance(reynolds, p.roughness/p.bore)
	sum := 2 * gravity * (p.tank.level + p.drop) / (v * v)
	p.tube.wanted = openingFor(sum - alpha - f*p.length/p.bore - entranceLoss)
}

// step advances the rig by d, in parts of at most maxStep.
func (p *plant) step(d time.Duration) {
	for ; d > 0; d -= maxStep {
		p.small(min(d, maxStep).Seconds())
	}
}

func (p *plant) small(dt float64) {
	p.relay.step(dt / p.speed) // its watchdog is an electronic timer, not part of the physics
	if p.looked += dt; p.looked >= surroundingsEvery {
		p.look(p.looked)
	}
	p.supply += (p.tap - p.supply) * (1 - math.Exp(-dt/supplyLag))
	p.heater.step(dt, p.supply, p.surroundings, p.relay.closed())
	p.through(dt)
	before := p.tank.celsius
	p.tank.step(dt, p.lip, p.room, p.supply, p.heater.outlet, p.flow())
	p.rate = (p.tank.celsius - before) / dt
}

// through moves the water in the tube on.
func (p *plant) through(dt float64) {
	v := p.tube.velocity
	p.way.step(dt, v, p.cooling.rate, p.tank.celsius)
	re := v * p.bore / p.watched.viscosity(p.dyeCelsius())
	p.stretches.step(dt, v, re, p.geometry, p.slugs)
	p.dye.step(dt, v > 0 && p.stretches.covers(p.watchedAt))
	p.tube.torn = p.stretches.content(p.length)
	p.tube.step(dt, p.geometry, p.tank.level, p.middle.viscosity(p.way.at(p.length/2, p.room)))
}

// look takes in room and mains after dt, and finds what the tube loses to them.
func (p *plant) look(dt float64) {
	p.looked = 0
	p.surroundings.step(dt)
	re := p.reynolds()
	p.cooling.look(p.way.at(p.length/2, p.room), p.room, re, p.tube.torn, p.geometry)
	p.tube.bend = p.grashof(re)
}

// grashof is Gr/Re of the tube; 0 where nothing flows.
func (p *plant) grashof(re float64) float64 {
	if re < 1 {
		return 0
	}
	return p.cooling.grashof(p.tank.celsius, p.way.at(p.length, p.room), p.room, re, p.geometry)
}

// flow through the tube, m³/s.
func (p *plant) flow() float64 { return p.tube.velocity * p.area() }

// dyeCelsius is the water's temperature where the dye is watched.
func (p *plant) dyeCelsius() float64 { return p.way.at(p.watchedAt, p.room) }

// reynolds is the true Reynolds number, on the true bore and at the dye.
func (p *plant) reynolds() float64 {
	return p.tube.velocity * p.bore / viscosityAt(p.dyeCelsius())
}

// warm remembers the water of a place, whose temperature moves little between
// two steps.
type warm struct {
	celsius float64
	water   water.Properties
}

// viscosity is the kinematic viscosity, m²/s; from a temperature not more than
// 0.05 K away its series to the second order errs by less than 1e-8.
func (w *warm) viscosity(celsius float64) float64 {
	d := celsius - w.celsius
	if !(math.Abs(d) < 0.05) || w.water.Density == 0 {
		w.celsius, w.water = celsius, waterAt(celsius)
		return w.water.KinematicViscosity
	}
	slope := w.water.DLnNuDT
	return w.water.KinematicViscosity * (1 + d*slope + d*d/2*(slope*slope+w.water.D2LnNuDT2))
}

// density is the water's, kg/m³; from a temperature not more than 0.05 K away its series
// to the first order errs by less than 1e-8.
func (w *warm) density(celsius float64) float64 {
	w.viscosity(celsius)
	return w.water.Density * (1 - w.water.Expansion*(celsius-w.celsius))
}
