package pipe_test

import (
	"math"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

var sink float64

// powViscosity is the viscosity equation of SR6-08 as it is printed, four calls
// of math.Pow: the yardstick of the whole state.
func powViscosity(kelvin float64) float64 {
	t := kelvin / 300
	return 1e-6 * (280.68*math.Pow(t, -1.9) + 511.45*math.Pow(t, -7.7) + 61.131*math.Pow(t, -19.6) + 0.45903*math.Pow(t, -40))
}

// BenchmarkState prints the cost of a whole state, its ratio to the yardstick
// in the same run (to stay below 10) and the cost of each part.
func BenchmarkState(b *testing.B) {
	p := mustNew(b, bench())
	var s quantity.Set
	far, worst := inputs(5, 42), inputs(1, 20)
	// The dearest state: laminar beside the limit, with three rectangles.
	rig := bench()
	rig.Bore = uncertainty.Limits(0.013, 0.0002)
	rig.LaminarBelow, rig.TurbulentAbove = 2000, 2050
	beside := mustNew(b, rig)
	worst.Flow = litres(pipe.LimitFlow(1995, 0.013, 1.00336675626e-6) * 60000)
	// Hot water in a cool vertical tube, between the limits, with another temperature
	// in the meter: everything at once.
	rig.Bore, rig.TurbulentAbove = bench().Bore, 4000
	rig.Outer, rig.WatchedAt = uncertainty.Expanded(0.016, 0.001, 2), uncertainty.Value{X: 0.45}
	hot, all := mustNew(b, rig), inputs(0.65, 65)
	all.Meter = known(uncertainty.Limits(60, 1))
	parts := []struct {
		name string
		work func()
	}{
		{"yardstick", func() { sink = powViscosity(315.15) }},
		{"water", func() { w, _ := water.At(42); sink = w.Density }},
		{"colebrook", func() { sink = pipe.Colebrook(17000, 1e-4) }},
		{"state-beside-limits", func() { beside.Derive(worst, &s) }},
		{"state-turbulent", func() { p.Derive(far, &s) }},
		{"state-hot-in-cool", func() { hot.Derive(all, &s) }},
	}
	yardstick := 0.0
	for _, part := range parts {
		b.Run(part.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				part.work()
			}
			each := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
			if part.name == "yardstick" {
				yardstick = each
			}
			if yardstick > 0 {
				b.ReportMetric(each/yardstick, "yardsticks")
			}
		})
	}
}

func TestDeriveAllocatesNothing(t *testing.T) {
	p := mustNew(t, bench())
	var s quantity.Set
	rig := bench()
	rig.Outer = uncertainty.Value{X: 0.016}
	p = mustNew(t, rig)
	for name, in := range map[string]pipe.Inputs{"flowing": inputs(5, 42), "laminar": inputs(0.5, 65), "ice": inputs(5, -3), "nothing": {}} {
		if n := testing.AllocsPerRun(100, func() { p.Derive(in, &s) }); n != 0 {
			t.Errorf("%s: %v allocations a state", name, n)
		}
	}
}
