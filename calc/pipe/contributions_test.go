package pipe_test

import (
	"math"
	"strings"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/uncertainty"
)

// Densities 998.207 and 983.196 kg/m³ at 20 and 60 °C (SR6-08 by python3-iapws).
func TestOtherWater(t *testing.T) {
	row, err := pipe.OtherWater(1e-4, 20, 60)
	if err != nil {
		t.Fatal(err)
	}
	relative(t, "other water", row.U, 1e-4*(998.2065/983.1953-1)/math.Sqrt(3), 1e-4)
	if _, err := pipe.OtherWater(1e-4, -1, 60); err == nil || !strings.Contains(err.Error(), "water in the meter") {
		t.Errorf("ice in the meter: %v", err)
	}
	if _, err := pipe.OtherWater(1e-4, 20, 130); err == nil || !strings.Contains(err.Error(), "water in the tube") {
		t.Errorf("steam in the tube: %v", err)
	}
}

// Rectangular over the fall: limits of error divided by √3 (JCGM 100, 4.3.7).
func TestHeatLost(t *testing.T) {
	relative(t, "heat lost", pipe.HeatLost(-0.6).U, 0.6/math.Sqrt(3), 1e-12)
}

// A budget lists what somebody gave, whatever its size, and no row of nothing.
func TestABudgetListsWhatIsGiven(t *testing.T) {
	rows := func(change func(*pipe.Inputs)) string {
		in := pipe.Inputs{Flow: litres(2), Temperature: known(uncertainty.Value{X: 42, U: 1}), Level: known(uncertainty.Value{X: 0.255})}
		change(&in)
		var names []string
		for _, row := range mustNew(t, bench()).Budget(in) {
			names = append(names, row.Name)
		}
		return strings.Join(names, ", ")
	}
	for want, change := range map[string]func(*pipe.Inputs){
		"flow, bore, temperature, viscosity formula":                                      func(*pipe.Inputs) {},
		"flow, bore, viscosity formula":                                                   func(in *pipe.Inputs) { in.Temperature.U = 0 },
		"flow, flow, further, bore, temperature, temperature, further, viscosity formula": func(in *pipe.Inputs) { in.Flow.OtherU, in.Temperature.OtherU = 1e-7, 1 },
	} {
		if got := rows(change); got != want {
			t.Errorf("the rows are %s; want %s", got, want)
		}
	}
}
