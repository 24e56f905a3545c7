// Package experiment owns what a careful person at the bench writes down: test points,
// what the dye showed, timed collections, notes, and what was struck.
//
//	State → last minutes → test point, observation, collection ← what a person asks
//
// It is pure, as the engine that drives it: it knows no clock, file or recording, and
// it touches neither alarms nor the heating permit.
package experiment

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// Notebook holds the last minutes of the bench and what was written down in this run.
type Notebook struct {
	cfg          *config.Config
	past         past
	observations []seen
	spoiltAt     time.Duration // monotonic, of the last thing that spoils a test point
	spoiltBy     string        // "" for nothing yet
	run          *running      // the experiment; nil for none
	sensor       sensor
}

// New begins a notebook.
func New(cfg *config.Config) *Notebook {
	n := &Notebook{}
	n.Adopt(cfg)
	return n
}

// Adopt takes up a new configuration; what is written down stays.
func (n *Notebook) Adopt(cfg *config.Config) {
	n.cfg = cfg
	n.past.limit = max(1, min(pastMost, int(pastSpan/cfg.Interval)))
}

// Step takes in the state of an interval, and says in it how far the experiment has
// come.
func (n *Notebook) Step(s *daq.State) (events []daq.Event) {
	if !s.Tick {
		return nil
	}
	n.past.add(s)
	if slices.ContainsFunc(s.Alarms, func(a daq.AlarmStatus) bool { return a.Name == "head-lost" && a.CauseStands }) {
		n.spoil(s.Mono, "the head was lost")
	}
	events = n.advance(s)
	s.Experiment = n.Progress(s)
	return events
}

func (n *Notebook) spoil(at time.Duration, why string) { n.spoiltAt, n.spoiltBy = at, why }

// Obey does what a person asked of the notebook. ok is false for what is not its own.
func (n *Notebook) Obey(c *daq.Command, s *daq.State) (e daq.Event, ok bool, err error) {
	switch a := c.Ask.(type) {
	case *daq.CaptureAsk:
		e.TestPoint, err = n.Capture(s, c.Who, a.Point)
	case *daq.ObserveAsk:
		e.Observation, err = n.observe(a, s, c.Who)
	case *daq.CollectAsk:
		e.Collection, err = n.collect(a, s, c.Who)
	case *daq.NoteAsk:
		e.Note, err = n.note(a, s, c.Who)
	case *daq.StrikeAsk:
		if e.Strike, err = strike(a, s, c.Who); err == nil {
			n.struck(a)
		}
	case *daq.StartExperimentAsk:
		e.Experiment, err = n.begin(a, s, c.Who)
	case *daq.StopExperimentAsk:
		e.Experiment, err = n.stop(a, s, c.Who)
	default:
		return e, false, nil
	}
	return e, true, err
}

// noteKinds are what a person may write a note of.
var noteKinds = []string{"valve", "inlet", "air", "other"}

func (n *Notebook) note(a *daq.NoteAsk, s *daq.State, who string) (*daq.Note, error) {
	switch {
	case !slices.Contains(noteKinds, a.Kind):
		return nil, fmt.Errorf("kind: %q is not one; write one of %s", a.Kind, strings.Join(noteKinds, ", "))
	case a.Kind == "other" && strings.TrimSpace(a.Text) == "":
		return nil, errors.New("text: a note of kind other needs one; write what is to be kept")
	}
	if why := map[string]string{"valve": "the valve was touched", "inlet": "the inlet was refilled", "air": "air was seen"}[a.Kind]; why != "" {
		n.spoil(s.Mono, why)
	}
	return &daq.Note{Kind: a.Kind, Time: s.Time, Who: who, Text: a.Text}, nil
}

// struckKinds are what can be struck.
var struckKinds = []string{daq.KindTestPoint, daq.KindObservation, daq.KindCollection}

func strike(a *daq.StrikeAsk, s *daq.State, who string) (*daq.Strike, error) {
	switch {
	case !slices.Contains(struckKinds, a.Of):
		return nil, fmt.Errorf("%q cannot be struck; name one of %s", a.Of, strings.Join(struckKinds, ", "))
	case a.Struck <= 0:
		return nil, fmt.Errorf("%s %d: there is none; give the sequence of one that is recorded", a.Of, a.Struck)
	case strings.TrimSpace(a.Reason) == "":
		return nil, errors.New("reason: striking needs one; write what is wrong with it")
	}
	return &daq.Strike{Time: s.Time, Who: who, Of: a.Of, Struck: a.Struck, Reason: a.Reason}, nil
}

// value is a quantity of a state; nil where it is unknown.
func value(s *daq.State, id quantity.ID) *float64 {
	if v, known := s.Values.Get(id); known {
		return &v
	}
	return nil
}

// waterTemperature is the quantity that tells how warm the water in the tube is: that of
// the inlet where what it loses on the way is not known.
func waterTemperature(s *daq.State) quantity.ID {
	if _, known := s.Values.Get(quantity.TubeTemperature); known {
		return quantity.TubeTemperature
	}
	return quantity.Temperature
}
