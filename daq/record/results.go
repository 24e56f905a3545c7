package record

import (
	"context"
	"fmt"
	"slices"
	"time"

	"flowrigd/daq"
)

// result are the fields of a result: between the first and the last of every event,
// its own.
func (w *eventRow) result(at *time.Time, own ...field) []field {
	list := append([]field{
		{"sequence", "INTEGER PRIMARY KEY", &w.sequence},
		{"time", "TEXT NOT NULL", &stamp{to: at}},
	}, own...)
	return append(list, field{"clock_synchronised", "INTEGER NOT NULL", &w.synchronised})
}

func testPointFields(w *eventRow) []field {
	p := w.TestPoint
	if p == nil {
		return nil
	}
	own := []field{
		{"who", "TEXT NOT NULL", &p.Who},
		{"experiment", "TEXT NOT NULL", &p.Experiment},
		{"point", "TEXT NOT NULL", &p.Point},
		{"repeat", "INTEGER NOT NULL", &p.Repeat},
		{"seconds", "REAL NOT NULL", &p.Seconds},
		{"computed_regime", "TEXT NOT NULL", &p.Computed},
		{"observed_regime", "TEXT NOT NULL", &p.Observed},
		{"spoilt", "TEXT NOT NULL", &p.Spoilt},
	}
	for i, id := range daq.PointQuantities {
		m := &p.Means[i]
		own = append(own, field{id.Name(), "REAL", &m.Value}, field{id.Name() + daq.StandardErrorSuffix, "REAL", &m.StandardError},
			field{id.Name() + daq.ExpandedSuffix, "REAL", &m.Expanded})
	}
	return w.result(&p.Time, own...)
}

func observationFields(w *eventRow) []field {
	o := w.Observation
	if o == nil {
		return nil
	}
	return w.result(&o.Time,
		field{"who", "TEXT NOT NULL", &o.Who},
		field{"experiment", "TEXT NOT NULL", &o.Experiment},
		field{"seen", "TEXT NOT NULL", &o.Seen},
		field{"note", "TEXT NOT NULL", &o.Note},
		field{"sensor", "INTEGER NOT NULL", &o.Sensor},
		field{"approach", "TEXT NOT NULL", &o.Approach},
		field{"contradicts", "TEXT", &stamp{&o.Contradicts, true}},
		field{"reynolds_number", "REAL", &o.Reynolds},
		field{"reynolds_number_uncertainty", "REAL", &o.ReynoldsUncertainty},
		field{"tube_temperature_celsius", "REAL", &o.TubeTemperature},
		field{"flow_cubic_meters_per_second", "REAL", &o.Flow},
		field{"disturbed_fraction", "REAL", &o.DisturbedFraction},
		field{"temperature_celsius", "REAL", &o.Temperature}) // recordings of before lack it
}

func collectionFields(w *eventRow) []field {
	c := w.Collection
	if c == nil {
		return nil
	}
	return w.result(&c.Time,
		field{"who", "TEXT NOT NULL", &c.Who},
		field{"start", "TEXT NOT NULL", &stamp{to: &c.Start}},
		field{"stop", "TEXT NOT NULL", &stamp{to: &c.Stop}},
		field{"seconds", "REAL NOT NULL", &c.Seconds},
		field{"volume_cubic_meters", "REAL", &c.Volume},
		field{"volume_cubic_meters_uncertainty", "REAL", &c.VolumeUncertainty},
		field{"mass_kilograms", "REAL", &c.Mass},
		field{"mass_kilograms_uncertainty", "REAL", &c.MassUncertainty},
		field{"vessel", "TEXT NOT NULL", &c.Vessel},
		field{"vessel_celsius", "REAL", &c.VesselTemperature},
		field{"collected_flow_cubic_meters_per_second", "REAL NOT NULL", &c.Collected},
		field{"collected_flow_uncertainty", "REAL NOT NULL", &c.CollectedU},
		field{"metered_flow_cubic_meters_per_second", "REAL NOT NULL", &c.Metered},
		field{"metered_flow_uncertainty", "REAL NOT NULL", &c.MeteredU},
		field{"meter_factor", "REAL NOT NULL", &c.Factor},
		field{"meter_factor_uncertainty", "REAL NOT NULL", &c.FactorU},
		field{"verdict", "TEXT NOT NULL", &c.Verdict})
}

func experimentFields(w *eventRow) []field {
	x := w.Experiment
	if x == nil {
		return nil
	}
	return w.result(&x.Time,
		field{"who", "TEXT NOT NULL", &x.Who},
		field{"id", "TEXT NOT NULL", &x.ID},
		field{"name", "TEXT NOT NULL", &x.Name},
		field{"action", "TEXT NOT NULL", &x.Action},
		field{"plan", "TEXT NOT NULL", (*document)(&x.Plan)})
}

func strikeFields(w *eventRow) []field {
	s := w.Strike
	if s == nil {
		return nil
	}
	return w.result(&s.Time,
		field{"who", "TEXT NOT NULL", &s.Who},
		field{"of", "TEXT NOT NULL", &s.Of},
		field{"struck", "INTEGER NOT NULL", &s.Struck},
		field{"reason", "TEXT NOT NULL", &s.Reason})
}

// Results gives the newest events of a kind of class event up to a sequence, newest
// first; what is the kind's word of the verb export.
func (r *Reader) Results(ctx context.Context, what string, last int64, limit int) ([]daq.Message, error) {
	for i := range kinds {
		if k := &kinds[i]; k.class == daq.ClassEvent && k.export == what {
			const newest = ` WHERE sequence IN (SELECT sequence FROM %s WHERE sequence <= ? ORDER BY sequence DESC LIMIT ?) ORDER BY sequence`
			list, err := r.messagesOf(r.shown(ctx, r.history, k, "results", fmt.Sprintf(newest, k.table), last, limit))
			slices.Reverse(list)
			return list, err
		}
	}
	return nil, fmt.Errorf("results: there is no %q", what)
}
