package explain

import (
	"encoding/json"
	"fmt"
	"strings"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
)

// caveat stands beside every verdict.
const caveat = "Re gives a band; only the dye shows the flow."

// scalds is the temperature in degrees Celsius from which water burns skin
// within seconds (Moritz and Henriques, Am. J. Pathol. 23 (1947) 695, by a
// secondary source: 60 °C, 3 s to 5 s).
const scalds = 60.0

// Short is the answer in a few lines.
func (a *Answer) Short() string {
	r := a.reading
	howSure := " (k = 2)"
	if unstated := a.unstated(); len(unstated) > 0 {
		howSure = ", uncertainty unknown: no ± given for " + list(unstated)
	}
	lines := []string{
		"Re " + WithUncertainty(a.value(quantity.Reynolds), a.expanded()) + howSure,
		fmt.Sprintf("regime: %s by the limits %s and %s", a.Set.Band(), num(r.LaminarBelow, 6), num(r.TurbulentAbove, 6)),
	}
	if text := a.chances(); text != "" {
		lines = append(lines, text)
	}
	lines = append(lines,
		fmt.Sprintf("flow %s, mean velocity %s m/s", litres(a.flow.X), num(a.value(quantity.Velocity), 4)),
		fmt.Sprintf("at %s °C Re meets %s at %s and %s at %s", num(a.celsius(), 4),
			num(r.LaminarBelow, 6), litres(a.value(quantity.LaminarLimitFlow)),
			num(r.TurbulentAbove, 6), litres(a.value(quantity.TurbulentLimitFlow))))
	lines = append(lines, a.notes()...)
	return strings.Join(append(lines, caveat), "\n") + "\n"
}

// JSON is an object of every quantity under the API's names, null where it is
// unknown; with the working as a list of lines where it is wanted.
func (a *Answer) JSON(working bool) string {
	b := a.Set.AppendFields([]byte("{"))
	if working {
		lines, _ := json.Marshal(strings.Split(strings.TrimSpace(a.Working()), "\n")) // texts alone
		b = append(append(b, `,"working":`...), lines...)
	}
	return string(append(b, "}\n"...))
}

// chances are the probabilities of the bands; empty where they are unknown.
func (a *Answer) chances() string {
	below, known := a.Set.Get(quantity.ProbabilityBelow)
	if !known {
		return ""
	}
	r := a.reading
	return fmt.Sprintf("probability that the true Re lies below %s: %s, between: %s, above %s: %s",
		num(r.LaminarBelow, 6), percent(below), percent(a.value(quantity.ProbabilityBetween)),
		num(r.TurbulentAbove, 6), percent(a.value(quantity.ProbabilityAbove)))
}

// fastest is the velocity in m/s that a supply of 1 bar could give without any
// loss, √(2·10⁵ Pa / 1000 kg/m³); about 1 bar is common practice, no source.
const fastest = 14.1

// notes are what a careful person would look at again.
func (a *Answer) notes() []string {
	var notes []string
	if v := a.value(quantity.Velocity); v > fastest {
		notes = append(notes, fmt.Sprintf("look again: %s m/s is more than a supply of about 1 bar can give; check the units of flow and bore", num(v, 3)))
	}
	if a.warnings.Has(pipe.NegativeLoss) {
		notes = append(notes, "note: head is too small for this flow: check head, bore and flow")
	}
	if text := (a.warnings &^ pipe.NegativeLoss).String(); text != "" {
		notes = append(notes, "note: "+text)
	}
	if a.reading.Temperature.X >= scalds {
		notes = append(notes, "caution: water of 60 °C and more burns skin within seconds")
	}
	return notes
}

// list joins words: "flow, bore and temperature".
func list(words []string) string {
	n := len(words) - 1
	if n < 1 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n], ", ") + " and " + words[n]
}
