package transition_test

import (
	"fmt"

	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/calc/uncertainty"
)

// Two looks at the dye: still a thread at 2050, torn at 2350.
func ExampleAnalyse() {
	estimates, err := transition.Analyse([]transition.Observation{
		{Reynolds: uncertainty.Value{X: 2050, U: 20}, Celsius: 21, Seen: quantity.Laminar, Approach: transition.Rising},
		{Reynolds: uncertainty.Value{X: 2350, U: 23}, Celsius: 21, Seen: quantity.Transitional, Approach: transition.Rising},
	}, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	e := estimates[0]
	fmt.Printf("%v: %v, between %.0f and %.0f, %.0f ± %.0f\n", e.Limit, e.Outcome, e.HighestBelow.X, e.LowestAbove.X, e.Critical.X, 2*e.Critical.U)
	// Output: onset of disturbance: separated, between 2050 and 2350, 2200 ± 178
}
