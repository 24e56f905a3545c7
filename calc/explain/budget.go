package explain

import (
	"fmt"
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// units of the rows of a budget: of the estimate, and of its uncertainty.
var units = map[string][2]string{
	"flow":               {"m³/s", "m³/s"},
	"vessel":             {"m³", "m³"},
	"timer":              {"s", "s"},
	"reaction at start":  {"", "s"},
	"reaction at stop":   {"", "s"},
	"bore":               {"m", "m"},
	"temperature":        {"°C", "K"},
	"viscosity formula":  {"m²/s", "m²/s"},
	"vessel temperature": {"°C", "K"},
	"vessel expansion":   {"1/K", "1/K"},
	"heat lost":          {"K", "K"},

	"density in the vessel": {"kg/m³", "kg/m³"},
	"density at the meter":  {"kg/m³", "kg/m³"},
}

// writeBudget is the table of contributions and their sum.
func (a *Answer) writeBudget(p *paper) {
	p.heading("How sure: the uncertainty budget")
	p.line("(u(Re)/Re)² = (u(Q)/Q)² + (u(D)/D)² + (u(ν)/ν)² + (dlnν/dT · u(T))²")
	p.line("Each row: its standard uncertainty u, times the sensitivity c = ∂Re/∂x, is its part in u(Re).")
	p.line("")
	p.line("%-18s %-19s %-20s %-14s %-10s %s", "from", "estimate x", "u(x)", "c", "|c|·u(x)", "share of u²")
	for _, row := range a.budget {
		p.line("%s", a.row(row))
	}
	p.line("")
	if unstated := a.unstated(); len(unstated) > 0 {
		p.prose("No ± was given for %s, so the uncertainty of Re is unknown, and with it the chances of the "+
			"bands. Unknown is not zero. Give each a ±, such as --bore \"13 mm ± 0.05 mm\".", list(unstated))
		return
	}
	re, expanded := a.value(quantity.Reynolds), a.expanded()
	p.line("u(Re) = √(sum of squares) = %s", num(expanded/2, 4))
	p.line("U(Re) = 2·u(Re) = %s, that is %s %% of Re", num(expanded, 4), num(100*expanded/re, 3))
	p.line("Re    = %s (k = 2)", WithUncertainty(re, expanded))
	p.prose("k = 2 stands for a coverage of about 95 %%; where limits of error dominate the table it covers more, and that is right.")
}

func (a *Answer) row(row uncertainty.Contribution) string {
	unit := units[row.Name]
	estimate := num(row.X, 5) + " " + unit[0]
	if unit[0] == "" {
		estimate = ""
	}
	if math.IsNaN(row.U) {
		return fmt.Sprintf("%-18s %-19s %-20s %-14s %s", row.Name, estimate, "not stated", num(row.Sensitivity, 4), "unknown")
	}
	text := fmt.Sprintf("%-18s %-19s %-20s %-14s %-10s", row.Name, estimate, num(row.U, 4)+" "+unit[1], num(row.Sensitivity, 4), num(row.Share(), 3))
	if u := a.expanded() / 2; !math.IsNaN(u) {
		text += fmt.Sprintf(" %5.1f %%", 100*row.Share()*row.Share()/(u*u))
	}
	return text
}
