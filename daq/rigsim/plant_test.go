package rigsim

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq/daqtest"
)

var must = daqtest.Must

// near fails unless got is within a relative tolerance of want.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.8g, want %.8g within %.1g", what, got, want, relative)
	}
}

func settled(at setting) *plant {
	p := newPlant(1, at, true)
	p.step(10 * time.Minute)
	return p
}

// A rig that starts at its setting must stay there while room and mains rest: ten
// minutes later nothing has moved by more than the slugs stir.
func TestStartsAtEquilibrium(t *testing.T) {
	for _, at := range []setting{{42, 6000, 3.5}, {20, 1500, 4}, {60, 3000, 2.5}, {68, 6000, 2}} {
		p := newPlant(7, at, true)
		level := p.tank.level
		p.step(10 * time.Minute)
		near(t, "temperature", p.tank.celsius, at.celsius, 2e-3)
		near(t, "level", p.tank.level, level, 1e-3)
		near(t, "Reynolds number", p.reynolds(), at.reynolds, 5e-3)
	}
}

// Steady flow of energy (first law for a stream, any textbook): the power in
// equals the heat that overflow and outlet carry off and the three losses to the
// room; what the tube loses is counted on its surface.
func TestEnergyBalance(t *testing.T) {
	p := settled(setting{42, 6000, 3.5})
	outlet := p.way.at(p.length, p.room)
	carried := heatPerVolume * (overflow(p.tank.level-p.lip)*(p.tank.above-p.mains) + p.flow()*(outlet-p.mains))
	tank := tankLoss * ((1-lowerShare)*(p.tank.above-p.room) + lowerShare*(p.tank.celsius-p.room))
	surface := math.Pi * p.outer * p.length
	tube := p.cooling.factor * outside(p.cooling.surface, p.room, p.geometry) * surface * (p.cooling.surface - p.room)
	near(t, "heater power", p.heater.power, carried+heaterLoss*(p.heater.outlet-p.room)+tank+tube, 2e-4)
	if tube < 5 || tube > 20 {
		t.Errorf("the tube loses %.1f W: the test says nothing", tube)
	}
	// By hand: 3.5 L/min × 4.146 kJ/(L K) over what the mains lack, and some 0.1 kW
	// lost by heater and tank.
	near(t, "heater power", p.heater.power, 3.5/60*4146*(42-p.mains)+100, 8e-3)
}

// Volume is conserved: what the supply brings leaves over the lip and through
// the tube.
func TestVolumeBalance(t *testing.T) {
	p := settled(setting{42, 6000, 3.5})
	near(t, "supply", p.supply, overflow(p.tank.level-p.lip)+p.flow(), 1e-6)
}

// A sharp-crested weir by hand (White, Fluid Mechanics, 7th ed., section 10.7;
// from memory): H 4 mm, b 100 mm, C 0.62 gives
// 2/3·0.62·0.1·√(2·9.80665)·0.004^1.5 = 4.631e-5 m³/s, 2.78 L/min.
func TestOverflowByHand(t *testing.T) {
	near(t, "overflow", overflow(0.004), 4.6308e-5, 1e-4)
	near(t, "crest", crest(overflow(0.004)), 0.004, 1e-12)
	if overflow(-0.01) != 0 {
		t.Error("water below the lip flows over it")
	}
}

// With the supply shut and the valve's loss far above all others, the tank
// drains as Torricelli says: t = A·√(2Σ)/(a·√g)·(√H₁ − √H₂) (any textbook),
// with Σ the sum of loss coefficients, a the bore's area and H the head.
func TestDrainTime(t *testing.T) {
	p := newPlant(3, setting{42, 1500, 3.5}, true)
	p.tap, p.supply = 0, 0
	p.tank.level = p.lip
	from := p.tank.level + p.drop
	took := 0.0
	for p.tank.level > 0.200 {
		p.small(0.01)
		took += 0.01
	}
	sum := kinetic(false) + p.tube.loss() + friction(p.reynolds(), 0, false)*p.length/p.bore
	to := p.tank.level + p.drop
	want := tankArea * math.Sqrt(2*sum) / (p.area() * math.Sqrt(gravity)) * (math.Sqrt(from) - math.Sqrt(to))
	// The friction part, 0.5 % of the sum, moves with the flow; the water cools.
	near(t, "drain time", took, want, 2e-3)
}

// The published friction factors and entrance lengths, which calc/pipe has to
// meet with code of its own; the rows of the file name their sources.
func TestPublishedFlow(t *testing.T) {
	file, err := os.Open("../../testdata/tables/pipe_flow.csv")
	must(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	must(t, err)
	checked := 0
	for _, row := range rows[1:] {
		n := func(i int) float64 { v, _ := strconv.ParseFloat(row[i], 64); return v }
		re, rough, want, by := n(1), n(2), n(6), n(7)
		checked++
		switch row[0] {
		case "laminar":
			near(t, "64/Re", friction(re, 0, false), want, by)
		case "colebrook", "colebrook_check":
			by = 1e-5
			if re < 5000 {
				by = 4e-5 // the four iterations of friction have not ended there
			}
			near(t, fmt.Sprintf("Colebrook at Re %g, ε/D %g", re, rough), friction(re, rough, true), want, by)
		case "entrance_laminar", "entrance_turbulent":
			near(t, row[0], entranceLength(re, 1, row[0] == "entrance_turbulent"), want, by)
		default:
			checked--
		}
	}
	if checked != 102 {
		t.Errorf("%d rows checked, want 102", checked)
	}
}

// The energy equation closes on the true state: H = v²/2g·(α + K + f·L/D).
func TestEnergyEquation(t *testing.T) {
	for _, re := range []float64{500, 1500, 6000, 9000} {
		p := settled(setting{42, re, 4})
		s := p.truth()
		v, _ := s.Get(quantity.Velocity)
		f, _ := s.Get(quantity.FrictionFactor)
		k, _ := s.Get(quantity.LossCoefficient)
		head, _ := s.Get(quantity.Head)
		_, alpha := p.tube.resistance(p.reynolds(), p.roughness/p.bore)
		sum := alpha + k + f*p.length/p.bore
		near(t, "head", v*v/(2*gravity)*sum, head, 1e-4)
	}
}

func TestTruthOnTheTrueBore(t *testing.T) {
	p := settled(setting{42, 6000, 3.5})
	s := p.truth()
	re, _ := s.Get(quantity.Reynolds)
	nu, _ := s.Get(quantity.KinematicViscosity)
	// Re = 4Q/(πDν), the definition.
	near(t, "Reynolds number", re, 4*p.flow()/(math.Pi*p.bore*nu), 1e-12)
	if s.Band() != quantity.Turbulent {
		t.Errorf("regime %v at Re %.0f", s.Band(), re)
	}
}

// A relay that nobody refreshes drops at its watchdog, by the clock even when
// the physics run faster.
// TestRelayBypass: the key switch ends with the first permit, for good.
func TestRelayBypass(t *testing.T) {
	r := relay{bypass: true}
	r.write(false)
	if !r.closed() {
		t.Error("the bypass ended without a permit")
	}
	r.write(true)
	r.write(false)
	if r.closed() {
		t.Error("the bypass outlived the first permit")
	}
}

func TestRelayWatchdog(t *testing.T) {
	p := newPlant(1, setting{42, 1500, 3.5}, true)
	p.relay.bridged, p.speed = false, 10
	p.relay.write(true)
	p.step(29 * time.Second)
	if !p.relay.closed() {
		t.Error("dropped after 2.9 s by the clock, before its watchdog of 3 s")
	}
	p.step(2 * time.Second)
	if p.relay.closed() || p.heater.power != 0 {
		t.Error("still heating 3.1 s after the last refresh")
	}
}

func TestDryHeatingOpensTheCutOut(t *testing.T) {
	p := newPlant(1, setting{42, 1500, 3.5}, true)
	p.tap, p.heater.stuck = 0, true
	p.step(2 * time.Minute)
	if !p.heater.cutOut || p.heater.power != 0 {
		t.Errorf("heater at %.0f °C without supply, cut-out open: %v", p.heater.outlet, p.heater.cutOut)
	}
}

func BenchmarkStep(b *testing.B) {
	p := newPlant(1, setting{42, 3000, 3.5}, true)
	for b.Loop() {
		p.small(0.02)
	}
}

// A tube that runs dry, one that is shut and one that is opened again have numbers
// all the way.
func TestNothingIsNoNumber(t *testing.T) {
	for _, at := range []setting{{42, 6000, 3.5}, {65, 1500, 2.1}} {
		p := newPlant(3, at, false)
		for i := range 30 {
			switch i {
			case 2:
				p.tap = 0
			case 14:
				p.tap, p.tube.wanted = at.supply*litreAMinute, 0
			case 22:
				p.tube.wanted = 0.5
			}
			p.step(30 * time.Second)
			s := p.truth()
			for _, id := range []quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level, quantity.TubeTemperature, quantity.TubeTemperatureFall, quantity.DyeLight} {
				if _, known := s.Get(id); !known {
					t.Fatalf("after %d half minutes %s is no number", i+1, id.Name())
				}
			}
			if d := p.dyeCelsius(); d > at.celsius+1 || d < p.room-1 {
				t.Fatalf("after %d half minutes the dye is in water of %.1f °C", i+1, d)
			}
		}
		if p.flow() <= 0 {
			t.Error("nothing flows at the end")
		}
	}
}

// The hand finds the opening of every loss that the valve has, and opens it fully
// where even that is too much; a blockage grows by 40 a second.
func TestTheValveByItsLoss(t *testing.T) {
	for _, opening := range []float64{0.1, 0.3, 0.5, 0.9, 1} {
		near(t, "opening", openingFor(valveLoss(opening)), opening, 1e-9)
	}
	// Equal percentage: half-way the flow is √50 times smaller, the loss 50 times larger.
	near(t, "loss half-way", valveLoss(0.5), 50*valveOpenLoss, 1e-9)
	if got := openingFor(valveOpenLoss / 2); got != 1 {
		t.Errorf("half the open valve's loss at an opening of %v", got)
	}
	p := newPlant(1, setting{42, 6000, 3.5}, true)
	before := p.tube.loss()
	p.tube.blockedTo = 600
	p.step(10 * time.Second)
	near(t, "loss after 10 s of a blockage", p.tube.loss()-before, 400, 1e-6)
	p.step(10 * time.Second)
	near(t, "loss of the whole blockage", p.tube.loss()-before, 600, 1e-6)
}

// The series of the viscosity between two looks at the formula, against the formula
// itself: 1e-8 as its comment says.
func TestTheWaterThatIsRemembered(t *testing.T) {
	for _, celsius := range []float64{5, 20, 42, 65, 90} {
		var w warm
		w.viscosity(celsius)
		for _, d := range []float64{-0.0499, -0.02, 0.01, 0.0499, 0.4, 1.2, -1} {
			near(t, fmt.Sprintf("viscosity at %g °C", celsius+d), w.viscosity(celsius+d), waterAt(celsius+d).KinematicViscosity, 1e-8)
			w = warm{}
			w.viscosity(celsius)
		}
	}
}
