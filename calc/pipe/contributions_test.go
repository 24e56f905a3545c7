package pipe_test

import (
	"strings"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/uncertainty"
)

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
