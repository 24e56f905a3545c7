package explain

import (
	"flowrigd/calc/collection"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// takeFlow makes the flow of what was given: itself, or volume over time.
func (a *Answer) takeFlow() error {
	r := a.reading
	if r.Flow.IsGiven() {
		a.flow = pipe.Input{Value: r.Flow.Value, Known: true}
		return nil
	}
	vessel := r.Volume.Value
	if !r.Volume.stated() {
		vessel.U = 0 // asked for again below
	}
	caught := collection.ByVolume{Volume: vessel, Temperature: uncertainty.Value{X: r.Temperature.X}, Timing: a.timing()}
	a.intoVessel(&caught)
	result, err := caught.Flow()
	if err != nil {
		return err
	}
	a.collected = &result
	result.Budget[0].U = r.Volume.U
	// The vessel's part, whose distribution is known, stays apart from the rest, taken as normal.
	a.flow = pipe.Input{
		Value:  uncertainty.Value{X: result.Flow.X, U: result.Budget[0].Share(), Shape: r.Volume.Shape},
		OtherU: uncertainty.Combine(result.Budget[1:]...).U,
		Known:  true,
	}
	return nil
}

// timing is the time with what was said of it. A bare time was taken by hand:
// a stopwatch's resolution and reaction are known well enough to stand in for
// a ±. A ± that was written holds the reaction too.
func (a *Answer) timing() collection.Timing {
	t := a.reading.Time
	if t.stated() {
		return collection.Timing{Elapsed: t.Value}
	}
	a.byHand = true
	return collection.ByHand(t.X)
}

// withCollection puts the rows of the collection in place of the flow's.
func (a *Answer) withCollection(rows []uncertainty.Contribution) []uncertainty.Contribution {
	if a.collected == nil {
		return rows
	}
	var all []uncertainty.Contribution
	perFlow := a.value(quantity.Reynolds) / a.flow.X
	for _, row := range rows {
		if row.Name == "flow" || row.Name == "flow, further" {
			perFlow = row.Sensitivity // a faster flow loses less heat too
		}
	}
	for _, row := range a.collected.Budget {
		row.Sensitivity *= perFlow
		if row.Share() != 0 {
			all = append(all, row)
		}
	}
	for _, row := range rows {
		if row.Name != "flow" && row.Name != "flow, further" {
			all = append(all, row)
		}
	}
	return all
}

// unstated are the quantities without ± on which the uncertainty of Re rests.
func (a *Answer) unstated() []string {
	r := a.reading
	var names []string
	for _, q := range []struct {
		name  string
		given Given
	}{{"flow", r.Flow}, {"volume", r.Volume}, {"temperature", r.Temperature}, {"bore", r.Bore}} {
		if q.given.IsGiven() && !q.given.stated() {
			names = append(names, q.name)
		}
	}
	return names
}

// expanded is the expanded uncertainty of Re; NaN where it is unknown.
func (a *Answer) expanded() float64 { return a.value(quantity.ReynoldsUncertainty) }
