package rigsim

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
)

// tableRig is the tube of the table in tube_heat: 13 mm, 16 mm, 900 mm, in a room
// of 20 °C, without what a real rig adds to the correlations.
func tableRig(celsius, re float64) *plant {
	p := newPlant(1, setting{celsius, re, 3}, true)
	p.geometry = geometry{bore: 0.013, outer: 0.016, length: 0.9, watchedAt: 0.45, roughness: 1.5e-6, lip: p.lip, drop: p.drop}
	p.air, p.cooling = wander{mean: 20}, cooling{factor: 1, surface: celsius}
	p.surroundings.step(0)
	p.tube.velocity = re * viscosityAt(celsius) / p.bore
	p.stretches.n = 0
	for range 20 {
		p.cooling.look(celsius, p.room, re, 0, p.geometry)
	}
	p.way.fill(p.tube.velocity, p.cooling.rate, celsius, p.length)
	return p
}

// The check values of tube_heat ("Check values", vertical: the fall, the outside
// coefficient on the bore and bulk − wall), computed there with code of its own.
// Gr/Re is by hand from that bulk − wall and the water's expansion (3.85e-4, 5.6e-4
// 1/K); the marched profiles of the same page have 10, 26 and 78, with a film of
// their own, which agrees within a fifth.
func TestFallByTheTable(t *testing.T) {
	for _, c := range []struct{ celsius, litres, outside, fall, wall, grashof, marched float64 }{
		{40, 0.605, 11.9, 0.20, 0.66, 8.4, 10},
		{50, 0, 0, 0, 0, 0, 26},
		{65, 0.406, 13.9, 0.78, 1.91, 78, 78},
	} {
		t.Run(fmt.Sprintf("%g Cel", c.celsius), func(t *testing.T) {
			p := tableRig(c.celsius, 1500)
			near(t, "Gr/Re as marched", p.grashof(1500), c.marched, 0.2)
			if c.fall == 0 {
				return
			}
			near(t, "Gr/Re", p.grashof(1500), c.grashof, 0.03)
			outlet := p.way.at(p.length, p.room)
			near(t, "flow, L/min", p.flow()/litreAMinute, c.litres, 2e-3)
			near(t, "outside, on the bore", outside(p.cooling.surface, p.room, p.geometry)*p.outer/p.bore, c.outside, 0.02)
			near(t, "fall", c.celsius-outlet, c.fall, 0.05)
			near(t, "bulk − wall", p.cooling.wall*(outlet-p.room), c.wall, 0.05)
		})
	}
}

// What the inner film does: turbulent water gives its heat off so well that the
// glass is nearly as warm as it, and loses a little more.
func TestTurbulentFilm(t *testing.T) {
	p := tableRig(65, 6000)
	laminar := p.cooling
	for range 20 {
		p.cooling.look(65, p.room, 6000, 1, p.geometry)
	}
	// Dittus and Boelter by hand, water at 65 °C: Pr 2.72, k 0.654 W/(m K),
	// 0.023·6000^0.8·2.72^0.3·0.654/0.013 = 1644 W/(m² K); Hausen at Gz 236:
	// 3.66 + 15.76/2.53 = 9.9, 498 W/(m² K).
	w := waterAt(65)
	pr := w.DynamicViscosity * w.HeatCapacity / w.Conductivity()
	near(t, "turbulent film", inside(6000, pr, w.Conductivity(), 1, p.geometry), 1644, 0.01)
	near(t, "laminar film", inside(6000, pr, w.Conductivity(), 0, p.geometry), 498, 0.01)
	near(t, "half of each", inside(6000, pr, w.Conductivity(), 0.5, p.geometry), 1071, 0.01)
	if p.cooling.wall > 0.4*laminar.wall || p.cooling.rate < laminar.rate {
		t.Errorf("turbulent: bulk − wall %.3g of the difference, rate %.3g /s; laminar %.3g and %.3g", p.cooling.wall, p.cooling.rate, laminar.wall, laminar.rate)
	}
}

// Over many rigs the factor of the loss has the spread and the draught that the
// bench states.
func TestLossFactors(t *testing.T) {
	const n = 100_000
	factors, r, still := make([]float64, n), randomStream(1, streamLoss), 0
	for i := range factors {
		factors[i] = drawLoss(r)
		if factors[i] < 1.3 {
			still++
		}
	}
	slices.Sort(factors)
	// A mean of 1.15, a deviation of √(0.12²·1.17 + 0.15²) = 0.2; 2.6 is 1.3 times 2.
	if low, median, high := factors[0], factors[n/2], factors[n-1]; low < 0.7 || low > 0.75 || median < 1.07 || median > 1.17 || high < 2.3 || high > 2.6 {
		t.Errorf("factors %.2f, %.2f, %.2f", low, median, high)
	}
	if share := float64(still) / n; share < 0.7 || share > 0.9 {
		t.Errorf("%.2f of the rigs lose less than 1.3 times what the correlations say", share)
	}
}

// The water at x left the inlet x/v ago (tube_heat): while the inlet warms evenly,
// x shows the inlet of that time, to the last digits.
func TestDelayIsTheWay(t *testing.T) {
	var w way
	const v, rate, dt = 0.051, 0.03, 0.02
	w.fill(v, 0, 40, 0.9)
	inlet := func(at float64) float64 { return 40 + rate*at }
	for i := 1; i <= 5000; i++ {
		at := float64(i) * dt
		w.step(dt, v, 0, inlet(at))
		for _, x := range []float64{0, 0.002, 0.1, 0.45, 0.9} {
			if want := inlet(math.Max(0, at-x/v)); i > 20 && math.Abs(w.at(x, 20)-want) > 1e-9 && math.Abs(at-x/v) > entryEvery {
				t.Fatalf("after %.2f s at %.2f m: %.9f °C, want %.9f", at, x, w.at(x, 20), want)
			}
		}
	}
}

// A parcel is kept each 0.2 s, and of slow water each 2.5 mm: a tube full of it
// fits, from the first to the last of its 900 s.
func TestTheHistoryHoldsATube(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want int
	}{{0.3, 2 + 50*10/10}, {0.001, 2 + 3}} {
		var w way
		w.fill(c.v, 0, 40, 0.9)
		for range 500 {
			w.step(0.02, c.v, 0, 40)
		}
		if w.count < c.want-1 || w.count > c.want+1 {
			t.Errorf("at %g m/s %d parcels are kept after 10 s, want about %d", c.v, w.count, c.want)
		}
	}
	var w way
	w.fill(0.001, 0, 40, 0.9)
	for i := range 2000 * 50 { // 2 m of way
		w.step(0.02, 0.001, 0, 40+float64(i)/50*0.01)
	}
	near(t, "the outlet shows the inlet of 900 s ago", w.at(0.9, 20), 40+1100*0.01, 1e-4)
}

// A step at the inlet comes to x after x/v, however often the flow has changed on
// the way and while it stood: what counts is the distance run.
func TestAStepArrivesWithTheWater(t *testing.T) {
	var w way
	w.fill(0.1, 0, 40, 0.9)
	ran, reached := 0.0, 0.0
	for i := range 10000 {
		v := []float64{0.3, 0.02, 0, 0.0004, 0.1}[i/200%5]
		w.step(0.02, v, 0, 50)
		ran += v * 0.02
		if w.at(0.45, 20) > 45 && reached == 0 {
			reached = ran
		}
	}
	// Within one entry's way at the velocity of the moment, 0.2 s × 0.3 m/s.
	near(t, "distance run when the step has come to 0.45 m", reached, 0.45, 0.06/0.45)
}

// Water that stands cools by the rate alone: T − room falls as exp(−∫k dt), also
// where it has moved before and the room is warmer.
func TestStandingWaterCools(t *testing.T) {
	var w way
	w.fill(0.1, 0, 60, 0.9)
	for range 50 * 600 {
		w.step(0.02, 0, 0.001, 60)
	}
	near(t, "after 600 s at k 0.001/s", w.at(0.45, 20), 20+40*math.Exp(-0.6), 1e-9)
	near(t, "at the inlet", w.at(0, 20), 60, 1e-9)
	near(t, "towards a warmer room", w.at(0.45, 70), 70-10*math.Exp(-0.6), 1e-9)
}

// At the truth's own place: at the dye the water is cooler than at the inlet and
// warmer than at the outlet, Re and viscosity are of the dye, and the flows of the
// limits with them.
func TestTruthIsOfTheDye(t *testing.T) {
	p := newPlant(4, setting{65, 1500, 2.1}, true)
	p.step(5 * time.Minute)
	s := p.truth()
	get := func(id quantity.ID) float64 { v, _ := s.Get(id); return v }
	inlet, dye, fall := get(quantity.Temperature), get(quantity.TubeTemperature), get(quantity.TubeTemperatureFall)
	if !(inlet-dye > 0.3*fall && inlet-dye < 0.6*fall && fall > 0.4) {
		t.Errorf("inlet %.3f, dye %.3f, fall to the outlet %.3f", inlet, dye, fall)
	}
	near(t, "fall by the loss", fall, (inlet-p.room)*(1-math.Exp(-p.cooling.rate*p.length/p.tube.velocity)), 5e-3)
	near(t, "viscosity", get(quantity.KinematicViscosity), waterAt(dye).KinematicViscosity, 1e-12)
	near(t, "Reynolds number", get(quantity.Reynolds), get(quantity.Velocity)*p.bore/waterAt(dye).KinematicViscosity, 1e-12)
	near(t, "limit flow", get(quantity.LaminarLimitFlow)*1500/2000, get(quantity.Flow), 0.01)
	near(t, "Reynolds number that was dialled", get(quantity.Reynolds), 1500, 5e-3)
	near(t, "meter", get(quantity.Meter), inlet-fall, 1e-12)
	_, then := p.aim(p.tank.celsius, 1500)
	near(t, "the profile that the hand on the valve expects", then.bend, p.tube.bend, 0.01)
	if g := get(quantity.GrashofReynoldsRatio); g < 50 || g > 150 {
		t.Errorf("Gr/Re %.0f", g)
	}
}

// Cold water in a warm room: the tube warms it, Gr/Re has the other sign and the
// profile is bent the other way.
func TestAColdTubeWarms(t *testing.T) {
	p := newPlant(4, setting{14, 1500, 4}, true)
	p.air = wander{mean: 25}
	p.step(5 * time.Minute)
	s := p.truth()
	if fall, _ := s.Get(quantity.TubeTemperatureFall); fall >= 0 || p.tube.bend >= 0 {
		t.Errorf("fall %.3f K, Gr/Re %.2f", fall, p.tube.bend)
	}
	f, _ := p.tube.resistance(1500, 0)
	if f >= 64.0/1500 {
		t.Errorf("opposed friction factor %.5f is no smaller than 64/Re", f)
	}
}

// The marched profiles of tube_heat, "What it does to a laminar profile": wall
// gradient over the isothermal one, which friction goes with, and α.
func TestBentProfile(t *testing.T) {
	for _, c := range []struct{ grashof, down, up, alpha float64 }{
		{10, 4.28, 3.78, 1.92}, {26, 4.71, 3.30, 1.83}, {78, 6.17, 1.53, 1.56},
	} {
		f, alpha := laminar(1500, c.grashof)
		near(t, fmt.Sprintf("friction at Gr/Re %g, aided", c.grashof), f*1500/64, c.down/4.06, 0.05)
		near(t, fmt.Sprintf("α at Gr/Re %g", c.grashof), alpha/2, c.alpha/1.97, 0.01)
		f, alpha = laminar(1500, -c.grashof)
		// Of the last point the table has 0.38, the straight line 0.45.
		near(t, fmt.Sprintf("friction at Gr/Re %g, opposed", c.grashof), f*1500/64, c.up/4.06, 0.21)
		if alpha <= 2 {
			t.Errorf("α %.3f of an opposed profile, which is more pointed than the parabola", alpha)
		}
	}
	for grashof, want := range map[float64]float64{-1000: 0.2, -110: 1 - 0.007*110, 1000: 1 + 0.0058*120, 0: 1} {
		f, _ := laminar(1500, grashof)
		near(t, fmt.Sprintf("friction at Gr/Re %g", grashof), f*1500/64, want, 1e-9)
	}
}

// The flow feels the bent profile: at 65 °C and Re 1500 the tube's part of the
// head is half as much again.
func TestTheFlowFeelsTheProfile(t *testing.T) {
	p := newPlant(4, setting{65, 1500, 2.1}, true)
	p.step(5 * time.Minute)
	nu := viscosityAt(p.way.at(p.length/2, p.room))
	bent := p.tube.solve(p.geometry, p.tank.level, nu)
	straight := p.tube
	straight.bend = 0
	v := straight.solve(p.geometry, p.tank.level, nu)
	// v² ∝ 1/Σ, and Σ = 2gH/v².
	sum := 2 * gravity * (p.tank.level + p.drop) / (bent * bent)
	f, alpha := p.tube.resistance(bent*p.bore/nu, 0)
	f0, alpha0 := straight.resistance(v*p.bore/nu, 0)
	want := ((f-f0)*p.length/p.bore + alpha - alpha0) / sum / 2
	if f < 1.3*f0 || math.Abs(v/bent-1-want) > 0.05*want {
		t.Errorf("friction %.4f for %.4f; the flow falls by %.3g, want %.3g", f, f0, v/bent-1, want)
	}
}
