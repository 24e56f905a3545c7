package series_test

import (
	"fmt"
	"time"

	"flowrigd/calc/series"
	"flowrigd/calc/uncertainty"
)

// Water that warms by 0.05 K/s and is at 60 °C now, 75 °C being too hot.
func ExampleSecondsTo() {
	w := series.NewWindow(time.Minute, 120)
	for i := range 301 {
		at := time.Duration(i) * 200 * time.Millisecond
		w.Add(at, 57+0.05*at.Seconds())
	}
	slope, u, _ := w.Slope()
	left, ok := series.SecondsTo(75, uncertainty.Value{X: 60, U: 0.5}, uncertainty.Value{X: slope, U: u})
	fmt.Printf("%.3f K/s, %.0f s ± %.0f s, %v\n", slope, left.X, 2*left.U, ok)
	// Output: 0.050 K/s, 300 s ± 20 s, true
}

// Level to a tenth of a millimetre, of which one more or less does not matter.
func ExampleSteady() {
	s := series.NewSteady(series.SteadyConfig{Within: 0.0002})
	for i := range 301 {
		s.Add(time.Duration(i)*200*time.Millisecond, 0.2512+0.0001*float64(i%2))
	}
	fmt.Println(s.Condition())
	// Output: steady
}
