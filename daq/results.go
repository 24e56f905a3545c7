package daq

import (
	"cmp"
	"encoding/json"
	"time"

	"flowrigd/calc/quantity"
)

// PointQuantities are what a test point has a mean of.
var PointQuantities = [...]quantity.ID{
	quantity.Flow, quantity.Temperature, quantity.TubeTemperature, quantity.Level, quantity.Head, quantity.Velocity,
	quantity.KinematicViscosity, quantity.Reynolds, quantity.FrictionFactor, quantity.MeasuredFriction,
	quantity.LossCoefficient, quantity.PressureDrop, quantity.DisturbedFraction, quantity.Ambient,
}

// What the names of a mean's uncertainties end in.
const (
	StandardErrorSuffix = "_standard_error"
	ExpandedSuffix      = "_expanded"
)

// Mean is a quantity over the seconds of a test point, each in the quantity's unit
// (kelvin for the uncertainties of a temperature); nil where it is unknown.
type Mean struct {
	Value         *float64
	StandardError *float64 // of the mean, the resemblance of neighbours included
	Expanded      *float64 // uncertainty of the mean (k = 2), the instruments' included
}

// TestPoint is the rig averaged over a stretch of time.
type TestPoint struct {
	Time       time.Time `json:"-"`   // of its end
	Who        string    `json:"who"` // "" where the program captured it by itself
	Experiment string    `json:"experiment"`
	Point      string    `json:"point"`           // the planned condition in words; "" for none
	Repeat     int64     `json:"repeat"`          // so many of this experiment were captured at that condition before
	Seconds    float64   `json:"seconds"`         // averaged over
	Computed   string    `json:"computed_regime"` // by the mean Re against the two limits
	Observed   string    `json:"observed_regime"` // by the newest observation of the same conditions; "" without one yet
	Spoilt     string    `json:"spoilt"`          // why it is not to be relied upon; "" where nothing speaks against it

	Means [len(PointQuantities)]Mean `json:"-"`
}

// Conditions are what the rig was when somebody looked; nil where unknown.
type Conditions struct {
	Reynolds            *float64 `json:"reynolds_number"`
	ReynoldsUncertainty *float64 `json:"reynolds_number_uncertainty"` // expanded, k = 2
	TubeTemperature     *float64 `json:"tube_temperature_celsius"`
	Flow                *float64 `json:"flow_cubic_meters_per_second"`
	DisturbedFraction   *float64 `json:"disturbed_fraction"`
	Temperature         *float64 `json:"temperature_celsius"` // at the inlet
}

// Water is how warm the water was where the dye is watched, or at the inlet where what it
// loses on the way is not known, °C; nil for unknown.
func (c *Conditions) Water() *float64 { return cmp.Or(c.TubeTemperature, c.Temperature) }

// Observation is what the dye showed.
type Observation struct {
	Time       time.Time `json:"-"`
	Who        string    `json:"who"`
	Experiment string    `json:"experiment"`
	Seen       string    `json:"seen"` // laminar, transitional or turbulent
	Note       string    `json:"note"`
	Sensor     bool      `json:"sensor"`   // the light through the tube saw it, nobody's eye
	Approach   string    `json:"approach"` // rising, falling or unknown: how Re came here in the last minutes
	// Contradicts is the time of an earlier observation of the same run that this one
	// does not go with; zero for none.
	Contradicts time.Time `json:"-"`
	Conditions
}

// Collection is water caught over measured seconds against the meter.
type Collection struct {
	Time              time.Time `json:"-"` // when it was handed in
	Who               string    `json:"who"`
	Start             time.Time `json:"-"`
	Stop              time.Time `json:"-"`
	Seconds           float64   `json:"seconds"`
	Volume            *float64  `json:"volume_cubic_meters"` // as given; nil where it was weighed
	VolumeUncertainty *float64  `json:"volume_cubic_meters_uncertainty"`
	Mass              *float64  `json:"mass_kilograms"` // as given; nil where it was measured by volume
	MassUncertainty   *float64  `json:"mass_kilograms_uncertainty"`
	Vessel            string    `json:"vessel"`         // its material; "" where it is not known
	VesselTemperature *float64  `json:"vessel_celsius"` // as given
	Collected         float64   `json:"collected_flow_cubic_meters_per_second"`
	CollectedU        float64   `json:"collected_flow_uncertainty"`
	Metered           float64   `json:"metered_flow_cubic_meters_per_second"` // mean over the same seconds
	MeteredU          float64   `json:"metered_flow_uncertainty"`             // of the mean, without the maker's accuracy
	Factor            float64   `json:"meter_factor"`                         // collected ÷ metered
	FactorU           float64   `json:"meter_factor_uncertainty"`
	Verdict           string    `json:"verdict"`
}

// Experiment is a transition of one.
type Experiment struct {
	Time   time.Time       `json:"-"`
	Who    string          `json:"who"`
	ID     string          `json:"id"`
	Name   string          `json:"name"`
	Action string          `json:"action"` // started, stopped or done
	Plan   json.RawMessage `json:"plan"`
}

// Strike says that something recorded before is wrong; it stays, and is seen to be
// struck.
type Strike struct {
	Time   time.Time `json:"-"`
	Who    string    `json:"who"`
	Of     string    `json:"of"`     // test-point, observation or collection
	Struck int64     `json:"struck"` // its sequence
	Reason string    `json:"reason"`
}

// The kinds that messages of class event name, beside those of notes.
const (
	KindTestPoint   = "test-point"
	KindObservation = "observation"
	KindCollection  = "collection"
	KindExperiment  = "experiment"
	KindStrike      = "strike"
)

// resultHead begins the message of a result.
type resultHead struct {
	Recording string `json:"recording,omitempty"`
	Sequence  int64  `json:"sequence,omitempty"`
	Recorded  bool   `json:"recorded"`
	Kind      string `json:"kind"`
	Time      string `json:"time"`
}

func headOf(kind string, at time.Time, recording string, sequence int64) resultHead {
	h := resultHead{Sequence: sequence, Recorded: sequence > 0, Kind: kind, Time: FormatTime(at)}
	if h.Recorded {
		h.Recording = recording
	}
	return h
}

// result is the body of the message of a result; nil for another event.
func (e Event) result(recording string, sequence int64) []byte {
	head := func(kind string, at time.Time) resultHead { return headOf(kind, at, recording, sequence) }
	switch {
	case e.TestPoint != nil:
		return appendTestPoint(head(KindTestPoint, e.TestPoint.Time), e.TestPoint)
	case e.Observation != nil:
		return appendJSON(nil, struct {
			resultHead
			*Observation
			Contradicts string `json:"contradicts"` // the time of it
		}{head(KindObservation, e.Observation.Time), e.Observation, formatUntil(e.Observation.Contradicts)})
	case e.Collection != nil:
		return appendJSON(nil, struct {
			resultHead
			Start string `json:"start"`
			Stop  string `json:"stop"`
			*Collection
		}{head(KindCollection, e.Collection.Time), FormatTime(e.Collection.Start), FormatTime(e.Collection.Stop), e.Collection})
	case e.Experiment != nil:
		return appendJSON(nil, struct {
			resultHead
			*Experiment
		}{head(KindExperiment, e.Experiment.Time), e.Experiment})
	case e.Strike != nil:
		return appendJSON(nil, struct {
			resultHead
			*Strike
		}{head(KindStrike, e.Strike.Time), e.Strike})
	}
	return nil
}

func appendTestPoint(head resultHead, p *TestPoint) []byte {
	b := appendJSON(nil, struct {
		resultHead
		*TestPoint
	}{head, p})
	b = b[:len(b)-1]
	for i, id := range PointQuantities {
		for _, part := range [...]struct {
			suffix string
			value  *float64
		}{{"", p.Means[i].Value}, {StandardErrorSuffix, p.Means[i].StandardError}, {ExpandedSuffix, p.Means[i].Expanded}} {
			b = append(b, ',', '"')
			b = append(append(append(b, id.Name()...), part.suffix...), `":`...)
			b = appendJSON(b, part.value)
		}
	}
	return append(b, '}')
}
