package report

import (
	"context"
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A minute is what the rows of one minute say: the share of torn thread is taken over
// as long, so one row of a minute is a look of its own and the next one is not.
const minuteLong = time.Minute

// What makes a minute one look (common practice, no source).
const (
	leastRows   = 4                // in it
	movedShare  = 0.02             // of Re, from the first half of the minute to the second: then it is no one Re
	longGap     = 5 * time.Minute  // without a look: what the flow did meanwhile is not known
	widestApart = 30 * time.Second // of two rows of a minute
)

// minuteOf are the quantities that a minute has a mean of.
var minuteOf = [...]quantity.ID{
	quantity.Reynolds, quantity.ReynoldsUncertainty, quantity.TubeTemperature, quantity.Velocity, quantity.Density,
	quantity.DynamicViscosity, quantity.PressureDrop, quantity.Ambient, quantity.TubeTemperatureFall,
}

// minute is a mean of each; NaN where one row of the minute does not know it.
type minute struct {
	end    time.Time
	mean   [len(minuteOf)]float64
	torn   float64 // share of the minute; NaN where it is not known
	begins bool    // it is not known what the flow did before
}

func (m *minute) of(id quantity.ID) float64 {
	for i, has := range minuteOf {
		if has == id {
			return m.mean[i]
		}
	}
	return math.NaN()
}

// minutes are those in which the flow was one.
type minutes struct {
	list     []minute
	rows     []daq.Row // of the minute under way
	last     time.Time // of the last row
	lastLook time.Time
	stopped  bool // water did not flow since the last look
}

func (r *Report) minutes(ctx context.Context, from Source) ([]minute, error) {
	var all minutes
	for row, err := range from.Rows(ctx, r.From, r.To.Add(time.Second)) {
		if err != nil {
			return nil, err
		}
		all.add(row)
	}
	return all.list, nil
}

func (m *minutes) add(row daq.Row) {
	if row.Time.Sub(m.last) > widestApart || row.Time.Before(m.last) {
		m.rows = m.rows[:0]
	}
	m.last = row.Time
	if row.Values.Band() == quantity.NoFlow {
		m.rows, m.stopped = m.rows[:0], true
		return
	}
	m.rows = append(m.rows, row)
	if row.Time.Sub(m.rows[0].Time) < minuteLong {
		return
	}
	if one, ok := minuteFrom(m.rows); ok {
		one.begins = m.stopped || one.end.Sub(m.lastLook) > longGap
		m.list, m.lastLook, m.stopped = append(m.list, one), one.end, false
	}
	m.rows = append(m.rows[:0], row)
}

// minuteFrom takes the mean of rows; ok is false where Re moved, or is not known.
func minuteFrom(rows []daq.Row) (m minute, ok bool) {
	m.end, m.torn = rows[len(rows)-1].Time, math.NaN()
	if v, known := rows[len(rows)-1].Values.Get(quantity.DisturbedFraction); known {
		m.torn = v
	}
	var halves [2]float64
	for k, row := range rows {
		for i, id := range minuteOf {
			v, known := row.Values.Get(id)
			if !known {
				v = math.NaN()
			}
			m.mean[i] += v / float64(len(rows))
			if id == quantity.Reynolds {
				halves[2*k/len(rows)] += v
			}
		}
	}
	first := (len(rows) + 1) / 2
	moved := halves[1] / float64(len(rows)-first) / (halves[0] / float64(first))
	return m, len(rows) >= leastRows && math.Abs(moved-1) <= movedShare && m.mean[0] > 0
}
