package report

import (
	"context"
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// mostStretches of a picture over time: about as many as paper shows.
const mostStretches = 300

// stretches are so many that a few rows fall into each, for one without rows is drawn
// as a gap.
func (r *Report) stretches() int {
	every := time.Second
	if r.Config != nil {
		every = max(every, r.Config.Record.Every)
	}
	return int(max(1, min(mostStretches, r.To.Sub(r.From)/(3*every))))
}

// draw reads the trends and draws the pictures that the data allow.
func (r *Report) draw(ctx context.Context, from Source) error {
	lower, upper := 2000.0, 4000.0
	if r.Config != nil {
		lower, upper = r.Config.Regime.LaminarBelow, r.Config.Regime.TurbulentAbove
	}
	if r.Rows {
		end := r.To.Add(time.Second)
		trend, err := from.Trend(ctx, quantity.Reynolds, r.From, end, r.stretches())
		if err != nil {
			return err
		}
		if err := r.add(OverTime(trend, r.points(quantity.Reynolds), lower, upper, r.Zone)); err != nil {
			return err
		}
		if err := r.summary(ctx, from, end); err != nil {
			return err
		}
	}
	if err := r.add(CriticalOverTemperature(r.Critical)); err != nil {
		return err
	}
	if err := r.add(Disturbed(r.points(quantity.DisturbedFraction), r.shares())); err != nil {
		return err
	}
	if err := r.add(Friction(r.points(quantity.MeasuredFriction))); err != nil {
		return err
	}
	return r.add(MeterFactor(r.Collections, r.Zone))
}

func (r *Report) add(p Picture, ok bool, err error) error {
	if ok {
		r.Pictures = append(r.Pictures, p)
	}
	return err
}

// summed are the quantities of which the report gives least, mean and greatest.
var summed = [...]quantity.ID{
	quantity.Flow, quantity.Temperature, quantity.TubeTemperature, quantity.Level, quantity.Ambient, quantity.Reynolds,
	quantity.KinematicViscosity, quantity.Velocity,
}

func (r *Report) summary(ctx context.Context, from Source, end time.Time) error {
	for _, id := range summed {
		whole, err := from.Trend(ctx, id, r.From, end, 1)
		if err != nil {
			return err
		}
		if len(whole) == 1 && whole[0].Count > 0 {
			r.Trends[id] = whole[0]
		}
	}
	return nil
}

// points are the test points that stand, with a quantity of theirs over Re.
func (r *Report) points(id quantity.ID) (list []Point) {
	for _, p := range r.Points {
		re, y := meanOf(p.Of, quantity.Reynolds), meanOf(p.Of, id)
		if p.Struck == "" && re.Value != nil && y.Value != nil {
			list = append(list, Point{Time: p.Of.Time, Reynolds: *re.Value, Y: *y.Value, Seen: p.Of.Observed})
		}
	}
	return list
}

// meanOf is a quantity of a test point; with nothing known where it has none.
func meanOf(p *daq.TestPoint, id quantity.ID) daq.Mean {
	for i, has := range daq.PointQuantities {
		if has == id {
			return p.Means[i]
		}
	}
	return daq.Mean{}
}

// shares are the minutes of the rows with their torn share over Re.
func (r *Report) shares() (list []Point) {
	for i := range r.Minutes {
		if m := &r.Minutes[i]; !math.IsNaN(m.torn) {
			list = append(list, Point{Time: m.end, Reynolds: m.of(quantity.Reynolds), Y: m.torn})
		}
	}
	return list
}
