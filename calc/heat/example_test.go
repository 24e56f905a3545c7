package heat_test

import (
	"fmt"

	"flowrigd/calc/heat"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// Water of 65 °C runs down a tube of 13 mm × 900 mm in a hall of 20 °C, 0.406 L/min.
func ExampleWall_Exchange() {
	wall, err := heat.New(heat.Tube{
		Bore: uncertainty.Value{X: 0.013}, Outer: uncertainty.Value{X: 0.016}, Length: uncertainty.Value{X: 0.9}, Vertical: true,
	})
	if err != nil {
		panic(err)
	}
	w, err := water.At(65)
	if err != nil {
		panic(err)
	}
	e := wall.Exchange(heat.Stream{Water: &w, Celsius: 65, Room: 20, Flow: 0.406 / 60000})
	f := e.Fall(0.9)
	fmt.Printf("fall %.2f K ± %.2f K (k = 2)\n", f.Kelvin, 2*wall.OwnU(&f, 2.5, 0))
	fmt.Printf("the wall is %.1f K cooler than the water\n", e.BulkOverWall(0.9))
	// Output:
	// fall 0.77 K ± 0.36 K (k = 2)
	// the wall is 1.9 K cooler than the water
}
