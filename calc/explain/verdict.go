package explain

import (
	"fmt"
	"math"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
)

// writeVerdict compares with the limits and says what that is worth.
func (a *Answer) writeVerdict(p *paper) {
	r := a.reading
	re := num(a.value(quantity.Reynolds), 5)
	low, high := num(r.LaminarBelow, 6), num(r.TurbulentAbove, 6)
	p.heading("The verdict")
	switch a.Set.Band() {
	case quantity.Laminar:
		p.line("Re = %s is below %s: laminar by the limits.", re, low)
	case quantity.Turbulent:
		p.line("Re = %s is above %s: turbulent by the limits.", re, high)
	default:
		p.line("Re = %s lies between %s and %s: transitional by the limits.", re, low, high)
	}
	a.writeChances(p)
	p.prose(caveat + " The limits are agreed figures, not constants of nature: below about 2000 a disturbed flow " +
		"calms down again, and above it a quiet entry can stay laminar to 10⁴ and more. Write down what the dye " +
		"shows beside the number.")
}

// writeChances says how far the reading alone decides.
func (a *Answer) writeChances(p *paper) {
	if math.IsNaN(a.expanded()) {
		p.prose("How likely the true Re lies in that band cannot be said without the uncertainty.")
		return
	}
	relative := a.expanded() / a.value(quantity.Reynolds)
	p.prose("P%s. (ln Re is taken as a sum of the inputs' logarithms, each with its own "+
		"distribution, rectangular for limits of error and normal for the rest. At a U(Re) of %s %% of Re "+
		"a probability so found may be off by up to %s %% absolute: simulations with one wide input found no more.)", a.chances()[1:],
		num(100*relative, 3), num(100*pipe.ProbabilityDoubt(relative), 3))
	for _, limit := range []float64{a.reading.LaminarBelow, a.reading.TurbulentAbove} {
		if math.Abs(a.value(quantity.Reynolds)-limit) <= a.expanded() {
			p.prose("Re ± U reaches across %s: this reading alone does not decide on which side the flow lies.", num(limit, 6))
		}
	}
}

func (a *Answer) writeBeside(p *paper) {
	p.heading("Beside it: limits in the literature [source; how the figure came here]")
	for _, ref := range transition.References() {
		p.hang(fmt.Sprintf("%-8s", num(ref.Reynolds, 6)), "%s [%s; %s]", ref.Meaning, ref.Source, ref.How)
	}
	c, err := transition.Reynolds1883(a.reading.Bore.X, a.reading.Temperature.X)
	if err != nil {
		return // his formula is not used for such a tube
	}
	p.prose("Reynolds's own critical velocities (1883, formulas from memory) in this tube at this temperature: "+
		"lower %s m/s, upper %s m/s. Yours was %s m/s.", num(c.Lower, 3), num(c.Upper, 3), num(a.value(quantity.Velocity), 3))
}
