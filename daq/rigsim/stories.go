package rigsim

import (
	"slices"
	"time"

	"flowrigd/calc/quantity"
)

// point is the usual point of work: 42 °C, turbulent, the overflow running.
func point() setting { return setting{celsius: 42, reynolds: 6000, supply: 3.5} }

// full are the instruments of a rig with everything.
func full() []quantity.ID {
	return []quantity.ID{quantity.HeaterOutlet, quantity.Ambient, quantity.SupplyFlow, quantity.HeaterOn}
}

// stories lists the scenarios.
func stories() []scenario {
	all := watching()
	for _, mishap := range slices.Concat(heating(), wiring()) {
		mishap.mishap = true
		all = append(all, mishap)
	}
	return append(all, measuring()...)
}

// watching are the scenarios in which nothing is broken.
func watching() []scenario {
	return []scenario{
		{name: "steady", about: "Nothing happens: 42 °C, turbulent, all instruments good.", start: point()},
		{name: "sweep", about: "Four temperatures from 20 to 65 °C, three states of the dye each, with valve moves and observations.",
			start: setting{40, 1500, 3.5}, extra: append(full(), quantity.DyeLight), moves: sweep(), again: 4 * sweepStage, plan: sweepPlan},
		{name: "night", about: "Nobody touches the valve: the thermostat brings the water from 20 to 65 °C, through the transition.",
			start: setting{nightCold, 1500, 2.1}, extra: append(full(), quantity.DyeLight), moves: warming()},
	}
}

// Half a kelvin a minute, which the tank follows, brings the water of the night from the
// first to the second, °C. It begins at once: water that a heater warms for five minutes and
// that stays as cold as the room is an alarm. The still thread is taken meanwhile.
const (
	nightStep           = 0.25
	nightEvery          = 30 * time.Second
	nightCold, nightHot = 20.0, 65.0
)

// warming is the thermostat's way through the night.
func warming() (moves []move) {
	for i := range int((nightHot - nightCold) / nightStep) {
		moves = append(moves, move{time.Duration(i+1) * nightEvery, heat(nightCold+float64(i+1)*nightStep, 2.1)})
	}
	return moves
}

// heating are the scenarios in which the bench itself fails.
func heating() []scenario {
	guarded := []quantity.ID{quantity.SupplyFlow, quantity.HeaterOn}
	return []scenario{
		{name: "overheat", about: "The thermostat sticks and the water climbs past 75 °C.",
			start: setting{68, 6000, 1.78}, moves: []move{{5 * time.Second, stick}}},
		{name: "head-loss", about: "The supply fails and the head tank empties through the tube.",
			start: point(), moves: []move{{10 * time.Second, tap(0)}}},
		{name: "dry-heating", about: "The supply fails with the valve shut and the thermostat stuck: the heater boils its own water.",
			start: setting{42, 300, 3.5}, extra: guarded,
			moves: []move{{5 * time.Second, valve(0)}, {30 * time.Second, tap(0)}, {30 * time.Second, stick}}},
		{name: "blocked-tube", about: "Something lodges in the tube's mouth and chokes the flow, which stays turbulent: between the limits no loss is known.",
			start: setting{42, 8000, 3.5}, rest: 3 * time.Minute, moves: []move{{5 * time.Minute, block(250)}}},
		{name: "relay-welded", about: "The permit relay's contact has welded and the thermostat sticks: dropping the permit does not stop the heat.",
			start: setting{68, 6000, 1.78}, extra: guarded, moves: []move{{0, weld}, {5 * time.Second, stick}}},
	}
}

// wiring are the scenarios in which an instrument or its line fails.
func wiring() []scenario {
	return []scenario{
		{name: "probe-out", about: "The thermocouple slips out of the water and reads the room.",
			start: point(), moves: []move{{10 * time.Second, withdraw(quantity.Temperature)}}},
		{name: "cable-pull", about: "The thermocouple's cable is pulled at 10 s and put back at 20 s, again and again.",
			start: point(), again: 20 * time.Second,
			moves: []move{{0, plug(lineTC)}, {10 * time.Second, pull(lineTC)}}},
		{name: "noise", about: "One answer in ten is hit by noise, cut, late or lost, on both lines.",
			start: point(), moves: []move{
				{5 * time.Second, disturb(lineBus, 0.025, Noise, Cut, Silence, Late)},
				{5 * time.Second, disturb(lineTC, 0.025, Noise, Cut, Silence, Late)}}},
		{name: "frozen-sensor", about: "The level sensor repeats its last value, and the supply fails.",
			start: point(), frozen: map[quantity.ID]time.Duration{quantity.Level: 20 * time.Second},
			moves: []move{{10 * time.Second, freeze(quantity.Level)}, {20 * time.Second, tap(0)}}},
		{name: "level-failed", about: "The level transmitter reports its own failure with 21.8 mA.",
			start: point(), moves: []move{{10 * time.Second, fail(quantity.Level)}}},
		{name: "open-sensor", about: "The thermocouple breaks and its transmitter says so.",
			start: point(), moves: []move{{10 * time.Second, fail(quantity.Temperature)}}},
	}
}

// Times of the sweep. A point lasts until a rig can be steady: at 65 °C and Re
// 1500 three passages of the tube are 53 s and the viscous time 17 s (tube_heat),
// the sensors lag by some 6 s, and the daemon's window of steadiness is a minute.
// The change of temperature takes the lower water of the tank with it.
const (
	sweepPoint  = 4 * time.Minute
	sweepChange = 10 * time.Minute
	sweepStage  = 3*sweepPoint + sweepChange
)

// sweepStages go together with a supply that 9 kW heat, from mains of 9 °C too:
// 2.1 L/min by 56 K are 8.2 kW. They end cold, by steps that are gentle to the
// glass.
func sweepStages() []setting {
	return []setting{{40, 0, 3.5}, {52, 0, 2.7}, {65, 0, 2.1}, {20, 0, 4.5}}
}

// SweepPlan is the name of the plan of the scenario sweep.
const SweepPlan = "four temperatures"

const sweepPlan = `
[[plan]]
name = "` + SweepPlan + `"
points = [{temperature = "40 Cel", regimes = ["laminar", "transitional", "turbulent"]}, {temperature = "52 Cel", regimes = ["laminar", "transitional", "turbulent"]}, {temperature = "65 Cel", regimes = ["laminar", "transitional", "turbulent"]}, {temperature = "20 Cel", regimes = ["laminar", "transitional", "turbulent"]}]
`

// sweep is the plan of the temperatures: laminar, torn half of the time, turbulent.
func sweep() []move {
	stages := sweepStages()
	var plan []move
	for i := range stages {
		from := time.Duration(i) * sweepStage
		for j, turn := range []action{valve(1500), halfTorn, valve(6000)} {
			at := from + time.Duration(j)*sweepPoint
			plan = append(plan, move{at, turn}, move{at + sweepPoint - 5*time.Second, look})
		}
		plan = append(plan, change(from+3*sweepPoint, stages[i], stages[(i+1)%len(stages)])...)
	}
	return plan
}

// change brings the rig from one temperature of the sweep to the next: up at
// once, down by steps of at most 15 K.
func change(from time.Duration, was, next setting) []move {
	const step, wait = 15.0, 2*time.Minute + 30*time.Second
	plan := []move{{from, valve(1500)}}
	for was.celsius-next.celsius > step {
		was.celsius, was.supply = was.celsius-step, max(was.supply, 3)
		plan = append(plan, move{from, heat(was.celsius, was.supply)})
		from += wait
	}
	return append(plan, move{from, heat(next.celsius, next.supply)})
}

// measuring are the scenarios with instruments that not every rig has.
func measuring() []scenario {
	return []scenario{
		{name: "friction", about: "The sweep, with a pressure transmitter across the tube.",
			start: setting{40, 1500, 3.5}, extra: append(full(), quantity.DyeLight, quantity.PressureDrop), moves: sweep(), again: 4 * sweepStage},
	}
}
