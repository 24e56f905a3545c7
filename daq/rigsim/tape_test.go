package rigsim

import (
	"context"
	"errors"
	"iter"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A tape is what a rig's daemon would have recorded, as a Source of the report.
type tape struct {
	text         string // of the configuration
	rows         []daq.Row
	observations []daq.Event
}

// take keeps what the engine gave in a step.
func (r *tape) take(s *daq.State, events []daq.Event) {
	if s.Sample {
		r.rows = append(r.rows, daq.Row{Time: s.Time, Values: s.Values})
	}
	for _, e := range events {
		if e.Observation != nil {
			r.observations = append(r.observations, e)
		}
	}
}

func (r *tape) Recording() string { return "tape" }

func (r *tape) Span(context.Context) (first, last time.Time, err error) {
	return r.rows[0].Time, r.rows[len(r.rows)-1].Time, nil
}

func (r *tape) Rows(context.Context, time.Time, time.Time) iter.Seq2[daq.Row, error] {
	return func(yield func(daq.Row, error) bool) {
		for _, row := range r.rows {
			if !yield(row, nil) {
				return
			}
		}
	}
}

func (r *tape) Trend(context.Context, quantity.ID, time.Time, time.Time, int) ([]daq.Bucket, error) {
	return nil, errors.New("no pictures are wanted")
}

func (r *tape) Events(_ context.Context, what string, _, _ time.Time, each func(int64, daq.Event) error) error {
	if what != "observations" {
		return nil
	}
	for i, e := range r.observations {
		if err := each(int64(i+1), e); err != nil {
			return err
		}
	}
	return nil
}

func (r *tape) Configurations(context.Context, time.Time, time.Time) ([]string, error) {
	return []string{"rig"}, nil
}

func (r *tape) Configuration(context.Context, string) (string, error) { return r.text, nil }
