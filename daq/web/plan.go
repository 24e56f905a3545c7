package web

import (
	"fmt"
	"strings"

	"flowrigd/config"
	"flowrigd/daq"
)

// planView is the experiment that runs, as the page shows it.
type planView struct {
	ID, Name string
	Marks    string // one for each planned condition; "" where they are too many
	Count    string
	Left     string // the time to its end; "" where it is not known
	Points   []plannedPoint
}

// plannedPoint is a planned condition with the flow that gives it.
type plannedPoint struct {
	daq.PointOutlook
	Set string
}

// marksMost is how many conditions still are counted at a glance.
const marksMost = 40

// planOf is nil where no experiment runs.
func planOf(state *daq.State) *planView {
	e := state.Experiment
	if e == nil {
		return nil
	}
	v := &planView{ID: e.ID, Name: e.Name}
	captured, spoilt := 0, 0
	var marks strings.Builder
	for _, p := range e.Points {
		mark := "○"
		switch p.State {
		case daq.PointNow:
			mark = "◐"
		case daq.PointCaptured:
			mark = "●"
			captured++
		case daq.PointSpoilt:
			mark = "✕"
			spoilt++
		}
		marks.WriteString(mark)
		set := plannedPoint{PointOutlook: p, Set: unknown}
		if p.Flow > 0 {
			set.Set = benchUnits[config.VolumeFlow].text(p.Flow)
		}
		v.Points = append(v.Points, set)
	}
	v.Count = fmt.Sprintf("%d of %d captured", captured, len(e.Points))
	if spoilt > 0 {
		v.Count += fmt.Sprintf(", %d spoilt and to be taken again", spoilt)
	}
	if len(e.Points) <= marksMost {
		v.Marks = marks.String()
	}
	if e.Remaining != nil {
		v.Left = "about " + roughly(*e.Remaining) + " left"
	}
	return v
}
