package rigsim

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
)

// Room and mains wander as far and as slowly as the bench states, every rig about
// a mean of its own, and a calm one not at all.
func TestSurroundingsDrift(t *testing.T) {
	low, high := math.Inf(1), math.Inf(-1)
	for seed := range uint64(50) {
		s := newSurroundings(randomStream(seed, streamSurroundings), false)
		low, high = math.Min(low, s.air.mean), math.Max(high, s.air.mean)
		if s.cellar.mean < mainsLow || s.cellar.mean > mainsHigh {
			t.Errorf("seed %d: mains of %.1f °C", seed, s.cellar.mean)
		}
		var room, mains, hour, fast float64
		before := s.room
		for range 4 * 3600 {
			last := s.mains
			s.step(1)
			room = math.Max(room, math.Abs(s.room-s.air.mean))
			mains = math.Max(mains, math.Abs(s.mains-s.cellar.mean))
			hour = math.Max(hour, math.Abs(s.room-before))
			fast = math.Max(fast, math.Abs(s.mains-last))
		}
		if room > 1.5 || room < 0.8 || mains > 1 || mains < 0.5 || hour < 0.5 {
			t.Errorf("seed %d: in four hours the room goes %.2f K from its mean and %.2f K from the start, the mains %.2f K", seed, room, hour, mains)
		}
		// 2π·1 K·(0.5 + 2·0.3 + 4·0.2)/(0.8·40 min) is the steepest there can be.
		if fast > 0.0063 || fast < 0.0005 {
			t.Errorf("seed %d: the mains move by %.4f K in a second at most", seed, fast)
		}
	}
	if low > 18 || low < roomLow || high < 24 || high > roomHigh {
		t.Errorf("rooms from %.1f to %.1f °C", low, high)
	}
	calm := newSurroundings(randomStream(1, streamSurroundings), true)
	first := calm
	calm.step(3600)
	if calm.room != first.room || calm.mains != first.mains {
		t.Error("a calm rig's surroundings drift")
	}
}

// The thermometer of the room shows the room, which has moved within an hour, and
// the mains reach the heater.
func TestAmbientShowsTheDrift(t *testing.T) {
	s := newSim(t, Options{Scenario: "sweep", Seed: 2})
	s.playing.moves = nil
	first, power := s.plant.room, s.plant.heater.power
	s.Advance(40 * time.Minute)
	if moved := math.Abs(s.plant.room - first); moved < 0.1 {
		t.Fatalf("the room moved by %.2f K: the test says nothing", moved)
	}
	near(t, "what the thermometer feels", s.sensor(quantity.Ambient).state, s.plant.room, 1e-3)
	if late := s.at.Seconds() - s.plant.surroundings.at; late < -1e-6 || late > 1.03 {
		t.Errorf("room and mains are of %.2f s ago", late)
	}
	truth := s.plantTruth()
	if room, _ := truth.Get(quantity.Ambient); room != s.plant.room {
		t.Errorf("the truth has %v, the room %v", room, s.plant.room)
	}
	p := s.plant
	need := heatPerVolume*p.supply*(p.heater.outlet-p.mains) + heaterLoss*(p.heater.outlet-p.room)
	near(t, "the heater's power", p.heater.power, need, 1e-3)
	if power == p.heater.power {
		t.Error("the mains' drift did not reach the heater")
	}
}

// The tank is warmer above than below, and its lower water lags the heater.
func TestTheTankHasTwoLayers(t *testing.T) {
	p := newPlant(3, setting{45, 800, 2.5}, true)
	p.step(10 * time.Minute)
	// By hand: 0.7 W/K of the lower part's wall, on what the tube draws and what
	// is exchanged, 0.15 of the supply.
	want := 0.35 * 2 * (p.tank.celsius - p.room) / 4.146e6 / (p.flow() + (0.02+0.15*2.5)*litreAMinute)
	near(t, "above − below", p.tank.above-p.tank.celsius, want, 0.01)
	if want < 0.2 {
		t.Errorf("%.2f K: the test says nothing", want)
	}
	s := p.truth()
	tank, _ := s.Get(quantity.Tank)
	inlet, _ := s.Get(quantity.Temperature)
	if tank != p.tank.above || inlet != p.tank.celsius || p.sense(quantity.Tank) != p.tank.above || p.sense(quantity.Temperature) != p.tank.celsius {
		t.Error("the probes do not hang where they are said to")
	}
	before := *p
	p.dial(50)
	p.step(time.Minute)
	upper, lower := p.tank.above-before.tank.above, p.tank.celsius-before.tank.celsius
	if upper < 1.5 || lower > 0.6*upper || lower <= 0 {
		t.Errorf("a minute after the thermostat was turned up: %.2f K above, %.2f K below", upper, lower)
	}
}

// Colder water above sinks: the layers are one within a minute.
func TestColdWaterTurnsOver(t *testing.T) {
	k := tank{level: 0.25, celsius: 50, above: 45}
	for range 3000 {
		k.step(0.02, 0.25, 20, 0, 20, 0)
	}
	if d := math.Abs(k.above - k.celsius); d > 0.5 {
		t.Errorf("after a minute %.2f K between the layers", d)
	}
	k = tank{level: 0.25, celsius: 45, above: 50}
	for range 3000 {
		k.step(0.02, 0.25, 20, 0, 20, 0)
	}
	if d := k.above - k.celsius; d < 4.5 {
		t.Errorf("warm water above has mixed to %.2f K within a minute without a supply", d)
	}
}

// Heat is conserved while the tank drains and the layers' boundary sinks: what has
// left through the tube, what is in and what the walls took are what was in.
func TestADrainingTankKeepsItsHeat(t *testing.T) {
	k := tank{level: 0.25, celsius: 40, above: 60}
	held := func() float64 {
		return (tankArea*k.level + tankDead) * (lowerShare*k.celsius + (1-lowerShare)*k.above)
	}
	before, left, lost := held(), 0.0, 0.0
	const dt, out = 0.02, 3e-5
	for k.level > 0.01 {
		left += dt * out * k.celsius
		lost += dt * tankLoss / heatPerVolume * (lowerShare*(k.celsius-20) + (1-lowerShare)*(k.above-20))
		k.step(dt, 0.25, 20, 0, 20, out)
	}
	near(t, "heat, in m³ K", held()+left+lost, before, 1e-3)
}
