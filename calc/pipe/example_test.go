package pipe_test

import (
	"fmt"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// A timed collection of 200 mL in 30 s at 20 °C through a bore of 13 mm.
func ExamplePipe_Derive() {
	p, err := pipe.New(pipe.Rig{
		Bore:           uncertainty.Expanded(0.013, 0.00004, 2),
		Length:         uncertainty.Value{X: 0.9},
		Drop:           uncertainty.Value{X: 1.1},
		LaminarBelow:   2000,
		TurbulentAbove: 4000,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	var s quantity.Set
	result := p.Derive(pipe.Inputs{
		Flow:        pipe.Input{Value: uncertainty.Limits(200e-6/30, 0.01*200e-6/30), Known: true},
		Temperature: pipe.Input{Value: uncertainty.Limits(20, 0.5), Known: true},
	}, &s)
	re, _ := s.Get(quantity.Reynolds)
	u, _ := s.Get(quantity.ReynoldsUncertainty)
	fmt.Printf("Re = %.1f ± %.1f (k = 2), %v\n", re, u, s.Band())
	fmt.Println("head", s.Text(quantity.Head))
	fmt.Println(result.Warnings.Has(pipe.NotDeveloped))
	// Output:
	// Re = 650.8 ± 12.1 (k = 2), laminar
	// head null
	// false
}
