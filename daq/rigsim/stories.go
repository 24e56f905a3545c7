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
	return slices.Concat(watching(), heating(), wiring())
}

// watching are the scenarios in which nothing is broken.
func watching() []scenario {
	return []scenario{
		{name: "steady", about: "Nothing happens: 42 °C, turbulent, all instruments good.", start: point()},
		{name: "sweep", about: "Three temperatures, three regimes each, with valve moves and dye observations.",
			start: setting{40, 1500, 3.5}, extra: full(), moves: sweep(), again: 3 * sweepStage},
	}
}

// heating are the scenarios in which the bench itself fails.
func heating() []scenario {
	guarded := []quantity.ID{quantity.SupplyFlow, quantity.HeaterOn}
	return []scenario{
		{name: "overheat", about: "The thermostat sticks and the water climbs past 75 °C.",
			start: setting{68, 6000, 1.8}, moves: []move{{5 * time.Second, stick}}},
		{name: "head-loss", about: "The supply fails and the head tank empties through the tube.",
			start: point(), moves: []move{{10 * time.Second, tap(0)}}},
		{name: "dry-heating", about: "The supply fails with the valve shut and the thermostat stuck: the heater boils its own water.",
			start: setting{42, 300, 3.5}, extra: guarded,
			moves: []move{{5 * time.Second, valve(0)}, {30 * time.Second, tap(0)}, {30 * time.Second, stick}}},
		{name: "blocked-tube", about: "Something lodges in the tube's mouth and chokes the flow.",
			start: point(), moves: []move{{20 * time.Second, block(600)}}},
		{name: "relay-welded", about: "The permit relay's contact has welded and the thermostat sticks: dropping the permit does not stop the heat.",
			start: setting{68, 6000, 1.8}, extra: guarded, moves: []move{{0, weld}, {5 * time.Second, stick}}},
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

// sweepStage is the time for one temperature: three regimes, then the change.
const sweepStage = 8 * time.Minute

// sweep is the plan of three temperatures. Tap and temperature go together:
// 9 kW heat 2.5 L/min to 60 °C and no more.
func sweep() []move {
	stages := []setting{{40, 0, 3.5}, {50, 0, 3.0}, {60, 0, 2.6}}
	var plan []move
	for i := range stages {
		from := time.Duration(i) * sweepStage
		next := stages[(i+1)%len(stages)]
		for j, re := range []float64{1500, 3000, 6000} {
			at := from + time.Duration(j)*40*time.Second
			plan = append(plan, move{at, valve(re)}, move{at + 35*time.Second, look})
		}
		plan = append(plan,
			move{from + 2*time.Minute, heat(next.celsius, next.supply)},
			move{from + 2*time.Minute, valve(1500)},
			move{from + sweepStage - 10*time.Second, valve(1500)})
	}
	return plan
}
