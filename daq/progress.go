package daq

import (
	"time"

	"flowrigd/config"
)

// Progress is how far the experiment that runs has come.
type Progress struct {
	ID     string         `json:"id"`
	Name   string         `json:"name"` // of its plan
	Points []PointOutlook `json:"points"`
	Next   string         `json:"next"` // what a person does now, in one sentence
	// Remaining is an estimate of the time to the last point, s; nil where it is not
	// known.
	Remaining *float64 `json:"remaining_seconds"`
}

// PointOutlook is a planned condition and what has come of it.
type PointOutlook struct {
	Number      int     `json:"number"` // from 1, in the order of the plan
	Name        string  `json:"name"`   // such as "25 Cel, laminar"
	Temperature float64 `json:"temperature_celsius"`
	Reynolds    float64 `json:"reynolds_number"`              // the planned one; of a regime the one to set
	Flow        float64 `json:"flow_cubic_meters_per_second"` // that gives it at that temperature
	State       string  `json:"state"`                        // waiting, now, captured or spoilt
}

// The states of a planned condition. A spoilt one is taken again.
const (
	PointWaiting  = "waiting"
	PointNow      = "now"
	PointCaptured = "captured"
	PointSpoilt   = "spoilt"
)

// Remembered is what a restart takes up of the experiment that ran.
type Remembered struct {
	ID           string            `json:"id"`
	Plan         config.Plan       `json:"plan"`
	Points       []RememberedPoint `json:"points,omitempty"`       // in the order of their sequence
	Observations []RememberedSight `json:"observations,omitempty"` // of known conditions, the same
}

// RememberedPoint is a test point of it.
type RememberedPoint struct {
	Point  string `json:"point"`
	Spoilt string `json:"spoilt,omitempty"`
}

// RememberedSight is an observation of it.
type RememberedSight struct {
	Time     time.Time `json:"time"`
	Seen     string    `json:"seen"`
	Approach string    `json:"approach"`
	Reynolds float64   `json:"reynolds_number"`
	U        float64   `json:"reynolds_number_uncertainty"`
	Celsius  float64   `json:"tube_temperature_celsius"`
}
