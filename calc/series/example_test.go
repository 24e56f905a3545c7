package series_test

import (
	"fmt"
	"time"

	"flowrigd/calc/series"
)

// Level to a tenth of a millimetre, of which one more or less does not matter.
func ExampleSteady() {
	s := series.NewSteady(series.SteadyConfig{Within: 0.0002})
	for i := range 301 {
		s.Add(time.Duration(i)*200*time.Millisecond, 0.2512+0.0001*float64(i%2))
	}
	fmt.Println(s.Condition())
	// Output: steady
}
