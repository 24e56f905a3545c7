// Package report makes the printed report of an experiment, or of a recording
// without one, and its pictures.
//
//	recording → Load → Report → Write: one HTML file, for paper and screen
//
// The file names no address: styles and pictures stand in it. The package decides
// nothing about the rig; what it computes is calc's, what it reads is a Source's.
package report

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/config"
	"flowrigd/daq"
)

// Source is a recording.
type Source interface {
	Recording() string
	Span(ctx context.Context) (first, last time.Time, err error)
	Rows(ctx context.Context, from, to time.Time) iter.Seq2[daq.Row, error]
	Trend(ctx context.Context, id quantity.ID, from, to time.Time, buckets int) ([]daq.Bucket, error)
	Events(ctx context.Context, what string, from, to time.Time, each func(sequence int64, e daq.Event) error) error
	Configurations(ctx context.Context, from, to time.Time) ([]string, error)
	Configuration(ctx context.Context, sha string) (string, error)
}

// Request says what the report is to be about.
type Request struct {
	Experiment string    // its ID; "" is the whole recording
	Made       time.Time // when the report is made
	Program    string    // which program makes it
}

// Kept is something recorded with its sequence, and why a person struck it.
type Kept[T any] struct {
	Sequence int64
	Of       T
	Struck   string // the reason, with who and when; "" where it stands
}

// Report is all that stands in the file.
type Report struct {
	Request
	Recording      string
	From, To       time.Time
	Rows           bool     // there are rows of that time
	Configurations []string // SHA-256
	Config         *config.Config
	ConfigProblem  string // why there is none
	Zone           *time.Location

	Experiment   *daq.Experiment // its start; nil without one
	Ended        *daq.Experiment // its end; nil while it runs
	Points       []Kept[*daq.TestPoint]
	Observations []Kept[*daq.Observation]
	Collections  []Kept[*daq.Collection] // also those of before: the history of the meter factor
	Alarms       []*daq.AlarmEvent
	Notes        []*daq.Note
	Strikes      []*daq.Strike

	Critical []Critical
	Verdicts []Verdict
	Minutes  []minute // of the rows; nil without
	Pictures []Picture
	Trends   map[quantity.ID]daq.Bucket // least, mean, greatest over the whole time
}

// ErrNothing says that there is nothing of which to make the report.
var ErrNothing = errors.New("nothing to report")

// nothing is an error that is ErrNothing and says what is not there.
type nothing struct{ error }

func (nothing) Is(target error) bool { return target == ErrNothing }

// Load reads what the report is about, computes its results and draws its pictures.
func Load(ctx context.Context, from Source, request Request) (*Report, error) {
	r, err := Results(ctx, from, request)
	if err != nil {
		return nil, err
	}
	if err := r.draw(ctx, from); err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	return r, nil
}

// Results is a report without its pictures.
func Results(ctx context.Context, from Source, request Request) (*Report, error) {
	r := &Report{Request: request, Recording: from.Recording(), Zone: time.UTC, Trends: map[quantity.ID]daq.Bucket{}}
	for _, step := range [...]func(context.Context, Source) error{r.times, r.configuration, r.events, r.analyse} {
		if err := step(ctx, from); err != nil {
			return nil, fmt.Errorf("report: %w", err)
		}
	}
	return r, nil
}

// times finds from when to when the report goes.
func (r *Report) times(ctx context.Context, from Source) (err error) {
	first, last, err := from.Span(ctx)
	if err != nil {
		return err
	}
	if r.From, r.To = first, last; r.Request.Experiment == "" {
		if first.IsZero() {
			return nothing{fmt.Errorf("recording %s: no rows in it; name the recording of a daemon that has run", r.Recording)}
		}
		return nil
	}
	known := ""
	err = from.Events(ctx, "experiments", time.Time{}, time.Time{}, func(_ int64, e daq.Event) error {
		x := e.Experiment
		switch {
		case x.ID != r.Request.Experiment:
			if x.Action == "started" {
				known += ", " + x.ID
			}
		case x.Action == "started":
			r.Experiment, r.From = x, x.Time
		default:
			r.Ended, r.To = x, x.Time
		}
		return nil
	})
	if err != nil {
		return err
	}
	if r.Experiment == nil && r.Ended == nil {
		if known == "" {
			known = ", none"
		}
		return nothing{fmt.Errorf("experiment %q: not in this recording, which has: %s; name one of these, or none for the whole recording", r.Request.Experiment, known[2:])}
	}
	if r.To.Before(r.From) {
		return nothing{fmt.Errorf("experiment %q: no rows since it was started; make the report when it has run", r.Request.Experiment)}
	}
	return nil
}

func (r *Report) configuration(ctx context.Context, from Source) (err error) {
	if r.Configurations, err = from.Configurations(ctx, r.From, r.To); err != nil {
		return err
	}
	if r.Rows = len(r.Configurations) > 0; !r.Rows {
		r.ConfigProblem = "the rows of that time are no longer in the recording"
		return nil
	}
	sha := r.Configurations[len(r.Configurations)-1]
	text, err := from.Configuration(ctx, sha)
	if err != nil {
		return err
	}
	var problems []config.Problem
	if r.Config, problems = config.Parse("recorded configuration", []byte(text)); r.Config == nil {
		r.ConfigProblem = "this program does not accept the recorded configuration"
		if len(problems) > 0 {
			r.ConfigProblem += ": " + problems[0].String()
		}
		return nil
	}
	r.Zone = r.Config.Zone
	return nil
}

// belongs says whether something of an experiment is of this report.
func (r *Report) belongs(experiment string) bool {
	return r.Request.Experiment == "" || r.Request.Experiment == experiment
}

func (r *Report) events(ctx context.Context, from Source) error {
	end := r.To.Add(time.Second) // what was told with the last row
	for _, one := range [...]struct {
		what       string
		begin, end time.Time
		take       func(int64, daq.Event)
	}{
		{"test-points", r.From, end, func(n int64, e daq.Event) {
			if r.belongs(e.TestPoint.Experiment) {
				r.Points = append(r.Points, Kept[*daq.TestPoint]{Sequence: n, Of: e.TestPoint})
			}
		}},
		{"observations", r.From, end, func(n int64, e daq.Event) {
			if r.belongs(e.Observation.Experiment) {
				r.Observations = append(r.Observations, Kept[*daq.Observation]{Sequence: n, Of: e.Observation})
			}
		}},
		{"collections", time.Time{}, end, func(n int64, e daq.Event) {
			r.Collections = append(r.Collections, Kept[*daq.Collection]{Sequence: n, Of: e.Collection})
		}},
		{"alarms", r.From, end, func(_ int64, e daq.Event) { r.Alarms = append(r.Alarms, e.Alarm) }},
		{"notes", r.From, end, func(_ int64, e daq.Event) { r.Notes = append(r.Notes, e.Note) }},
		{"strikes", r.From, time.Time{}, func(_ int64, e daq.Event) { r.strike(e.Strike) }}, // also of later
	} {
		err := from.Events(ctx, one.what, one.begin, one.end, func(n int64, e daq.Event) error { one.take(n, e); return nil })
		if err != nil {
			return err
		}
	}
	return nil
}

// strike marks what a person has struck.
func (r *Report) strike(s *daq.Strike) {
	reason := fmt.Sprintf("%s (%s, %s)", s.Reason, s.Who, s.Time.In(r.Zone).Format("2 Jan 2006 15:04"))
	found := false
	switch s.Of {
	case daq.KindTestPoint:
		found = strikeOne(r.Points, s.Struck, reason)
	case daq.KindObservation:
		found = strikeOne(r.Observations, s.Struck, reason)
	case daq.KindCollection:
		found = strikeOne(r.Collections, s.Struck, reason)
	}
	if found {
		r.Strikes = append(r.Strikes, s)
	}
}

func strikeOne[T any](list []Kept[T], sequence int64, reason string) bool {
	for i := range list {
		if list[i].Sequence == sequence {
			list[i].Struck = reason
			return true
		}
	}
	return false
}

// analyse computes the critical Re from what was seen and stands, and from the rows.
func (r *Report) analyse(ctx context.Context, from Source) (err error) {
	var seen []transition.Observation
	for _, o := range r.Observations {
		if one, ok := observationOf(o.Of); ok && o.Struck == "" && !o.Of.Sensor {
			seen = append(seen, one)
		}
	}
	if r.Critical, err = criticals(seen); err != nil {
		return err
	}
	if r.Rows && r.Config != nil {
		if err := r.analyseRows(ctx, from); err != nil {
			return err
		}
	}
	r.Verdicts, err = verdicts(r.Critical, r.causes())
	return err
}

// analyseRows adds what the rows show: the light, and the pressure drop.
func (r *Report) analyseRows(ctx context.Context, from Source) error {
	all, err := r.minutes(ctx, from)
	if err != nil {
		return err
	}
	r.Minutes = all
	light, err := criticalsByLight(looksOf(all, r.Config.Tube.Bore.X))
	if err != nil {
		return err
	}
	pressure, err := criticalsByPressure(dropsOf(all, r.Config))
	r.Critical = append(append(r.Critical, light...), pressure...)
	return err
}
