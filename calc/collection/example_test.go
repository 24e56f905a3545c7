package collection_test

import (
	"fmt"

	"flowrigd/calc/collection"
	"flowrigd/calc/uncertainty"
)

// A jug of 200 mL filled in 30.0 s by hand, while the meter said 0.405 L/min.
func ExampleResult_Against() {
	collected, err := collection.ByVolume{
		Volume:      uncertainty.Limits(200e-6, 1e-6),
		Temperature: uncertainty.Value{X: 20, U: 0.5},
		Timing:      collection.ByHand(30),
	}.Flow()
	if err != nil {
		fmt.Println(err)
		return
	}
	const litrePerMinute = 1e-3 / 60
	c, err := collected.Against(collection.Metered{
		Flow:  uncertainty.Value{X: 0.405 * litrePerMinute, U: 0.001 * litrePerMinute},
		Limit: 0.007 * litrePerMinute,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f L/min ± %.3f L/min\n", collected.Flow.X/litrePerMinute, 2*collected.Flow.U/litrePerMinute)
	fmt.Printf("factor %.4f ± %.4f: %v\n", c.Factor.X, 2*c.Factor.U, c.Verdict)
	// Output:
	// 0.400 L/min ± 0.004 L/min
	// factor 0.9877 ± 0.0120: inconclusive
}
