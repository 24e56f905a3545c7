package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/daq"
)

// sideRow is a condition at each temperature.
type sideRow struct {
	Name  string
	Cells []string
}

// sideBySide are the conditions of the test points that stand, a column for each
// temperature at which some were taken.
func (r *Report) sideBySide() (rows []sideRow) {
	groups := r.byTemperature()
	if len(groups) < 2 {
		return nil
	}
	add := func(name string, cell func([]*daq.TestPoint) string) {
		row := sideRow{Name: name}
		for _, g := range groups {
			row.Cells = append(row.Cells, cell(g))
		}
		rows = append(rows, row)
	}
	add("test points", func(g []*daq.TestPoint) string { return fmt.Sprint(len(g)) })
	for _, id := range [...]quantity.ID{
		quantity.TubeTemperature, quantity.Temperature, quantity.Ambient, quantity.KinematicViscosity, quantity.Level,
		quantity.Flow, quantity.Velocity, quantity.Reynolds,
	} {
		name, factor := benchName(id)
		add(name, func(g []*daq.TestPoint) string { return spanOf(g, id, factor) })
	}
	return rows
}

// byTemperature are the test points that stand and know their water's temperature, cut
// where it differs by more than one temperature's points may.
func (r *Report) byTemperature() (groups [][]*daq.TestPoint) {
	var list []*daq.TestPoint
	for _, p := range r.Points {
		if p.Struck == "" && meanOf(p.Of, quantity.TubeTemperature).Value != nil {
			list = append(list, p.Of)
		}
	}
	celsius := func(p *daq.TestPoint) float64 { return *meanOf(p, quantity.TubeTemperature).Value }
	slices.SortStableFunc(list, func(a, b *daq.TestPoint) int { return cmp.Compare(celsius(a), celsius(b)) })
	for _, p := range list {
		if n := len(groups); n == 0 || celsius(p)-celsius(groups[n-1][0]) > transition.DefaultWidth {
			groups = append(groups, nil)
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], p)
	}
	return groups
}

// spanOf is from the least to the greatest mean of a quantity.
func spanOf(group []*daq.TestPoint, id quantity.ID, factor float64) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range group {
		if m := meanOf(p, id); m.Value != nil {
			low, high = min(low, *m.Value*factor), max(high, *m.Value*factor)
		}
	}
	if low > high {
		return unknown
	}
	texts := alike(low, high)
	if texts[0] == texts[1] {
		return texts[0]
	}
	return texts[0] + " to " + texts[1]
}
