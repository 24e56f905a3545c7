package heat_test

import (
	"testing"

	"flowrigd/calc/heat"
	"flowrigd/calc/water"
)

var sink float64

// BenchmarkFall is the whole of a tube's heat for one state: the wall's balance and two
// falls with their slopes.
func BenchmarkFall(b *testing.B) {
	for name, vertical := range map[string]bool{"horizontal": false, "vertical": true} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			wall := mustNew(b, tube(vertical))
			w, _ := water.At(65)
			for b.Loop() {
				e := wall.Exchange(heat.Stream{Water: &w, Celsius: 65, Room: 20, Flow: 6.8e-6})
				dye, outlet := e.Fall(0.45), e.Fall(0.9)
				sink = wall.OwnU(&dye, 1, 0) + wall.OwnU(&outlet, 1, 0)
			}
		})
	}
}
