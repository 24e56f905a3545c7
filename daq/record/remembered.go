package record

import (
	"context"
	"encoding/json"
	"fmt"

	"flowrigd/daq"
)

// remembered is what a restart takes up of the experiment that runs; nil where the
// newest one has ended, or there is none.
func (r *Reader) remembered(ctx context.Context) (*daq.Remembered, error) {
	var out *daq.Remembered
	for w, err := range r.events(ctx, r.db, kindOf("experiments"), "restore: experiment", ` ORDER BY sequence DESC LIMIT 1`) {
		if err != nil {
			return nil, err
		}
		if x := w.Experiment; x.Action == "started" {
			out = &daq.Remembered{ID: x.ID}
			if err := json.Unmarshal(x.Plan, &out.Plan); err != nil {
				return nil, fmt.Errorf("restore: experiment %s: plan: %w", x.ID, err)
			}
		}
	}
	if out == nil {
		return nil, nil
	}
	struck := map[int64]bool{}
	for w, err := range r.events(ctx, r.db, kindOf("strikes"), "restore: strikes", ` WHERE "of" = ?`, daq.KindTestPoint) {
		if err != nil {
			return nil, err
		}
		struck[w.Strike.Struck] = true
	}
	const its = ` WHERE experiment = ? ORDER BY sequence`
	for w, err := range r.events(ctx, r.db, kindOf("test-points"), "restore: test points", its, out.ID) {
		if err != nil {
			return nil, err
		}
		p := daq.RememberedPoint{Point: w.TestPoint.Point, Spoilt: w.TestPoint.Spoilt}
		if struck[w.sequence] {
			p.Spoilt = "struck"
		}
		out.Points = append(out.Points, p)
	}
	for w, err := range r.events(ctx, r.db, kindOf("observations"), "restore: observations", its, out.ID) {
		if err != nil {
			return nil, err
		}
		if o := w.Observation; o.Reynolds != nil && o.Water() != nil {
			s := daq.RememberedSight{Time: o.Time, Seen: o.Seen, Approach: o.Approach, Reynolds: *o.Reynolds, Celsius: *o.Water()}
			if o.ReynoldsUncertainty != nil {
				s.U = *o.ReynoldsUncertainty
			}
			out.Observations = append(out.Observations, s)
		}
	}
	return out, nil
}
