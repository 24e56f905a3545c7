package record

import (
	"database/sql"

	"flowrigd/daq"
)

// kind is all that the recording knows of one kind of event. A new one is a type of
// daq with its message and a row of kinds.
type kind struct {
	class    daq.Class
	table    string
	export   string                  // the word of the verb export
	exported int                     // so many of its fields
	blank    func() daq.Event        // to read into
	fields   func(*eventRow) []field // nil for an event of another kind; the first is the sequence, then the time
	computed string                  // what the table computes of them
}

// eventRow is an event as it stands in the recording.
type eventRow struct {
	daq.Event
	sequence     int64
	synchronised bool // whether the time could be relied upon
	kept         bool // of an alarm: what stands beneath the state was written down
}

var kinds = [...]kind{
	{class: daq.ClassAlarm, table: "alarm_event", export: "alarms", exported: 14,
		blank: func() daq.Event { return daq.Event{Alarm: &daq.AlarmEvent{}} }, fields: alarmFields, computed: ", recorded INTEGER AS (1) VIRTUAL"},
	{class: daq.ClassEvent, table: "note", export: "notes", exported: 5,
		blank: func() daq.Event { return daq.Event{Note: &daq.Note{}} }, fields: noteFields},
	{class: daq.ClassEvent, table: "test_point", export: "test-points", exported: 10 + 3*len(daq.PointQuantities),
		blank: func() daq.Event { return daq.Event{TestPoint: &daq.TestPoint{}} }, fields: testPointFields},
	{class: daq.ClassEvent, table: "observation", export: "observations", exported: 15,
		blank: func() daq.Event { return daq.Event{Observation: &daq.Observation{}} }, fields: observationFields},
	{class: daq.ClassEvent, table: "collection", export: "collections", exported: 19,
		blank: func() daq.Event { return daq.Event{Collection: &daq.Collection{}} }, fields: collectionFields},
	{class: daq.ClassEvent, table: "experiment", export: "experiments", exported: 7,
		blank: func() daq.Event { return daq.Event{Experiment: &daq.Experiment{}} }, fields: experimentFields},
	{class: daq.ClassEvent, table: "strike", export: "strikes", exported: 6,
		blank: func() daq.Event { return daq.Event{Strike: &daq.Strike{}} }, fields: strikeFields},
}

// alarmFields are those of a transition. The last four came later: recordings of
// before lack them, or have NULL there.
func alarmFields(w *eventRow) []field {
	a := w.Alarm
	if a == nil {
		return nil
	}
	return []field{
		{"sequence", "INTEGER PRIMARY KEY", &w.sequence},
		{"time", "TEXT NOT NULL", &stamp{to: &a.Time}},
		{"name", "TEXT NOT NULL", &a.Name},
		{"state", "TEXT NOT NULL", &a.State},
		{"priority", "TEXT NOT NULL", &a.Priority},
		{"value", "REAL", &a.Value},
		{"limit", "REAL", &a.Limit},
		{"cause", "TEXT NOT NULL", &a.Cause},
		{"consequence", "TEXT NOT NULL", &a.Consequence},
		{"action", "TEXT NOT NULL", &a.Action},
		{"who", "TEXT NOT NULL", &a.Who},
		{"until", "TEXT", &stamp{&a.Until, true}},
		{"tripped", "INTEGER NOT NULL DEFAULT 0", &a.Tripped},
		{"clock_synchronised", "INTEGER NOT NULL", &w.synchronised},
		{"active", "INTEGER", &later[bool]{to: &a.Active}},
		{"latched", "INTEGER", &later[bool]{&a.Latched, &w.kept}},
		{"unacknowledged", "INTEGER", &later[bool]{to: &a.Unacknowledged}},
		{"raised", "INTEGER", &later[int64]{to: &a.Raised}},
	}
}

func noteFields(w *eventRow) []field {
	n := w.Note
	if n == nil {
		return nil
	}
	return []field{
		{"sequence", "INTEGER PRIMARY KEY", &w.sequence},
		{"time", "TEXT NOT NULL", &stamp{to: &n.Time}},
		{"kind", "TEXT NOT NULL", &n.Kind},
		{"who", "TEXT NOT NULL", &n.Who},
		{"text", "TEXT NOT NULL", &n.Text},
		{"clock_synchronised", "INTEGER NOT NULL", &w.synchronised},
	}
}

// columns are the fields of a row that holds nothing.
func (k *kind) columns() []field { return k.fields(&eventRow{Event: k.blank()}) }

func (k *kind) scan(rows *sql.Rows) (*eventRow, error) {
	w := &eventRow{Event: k.blank()}
	return w, rows.Scan(places(k.fields(w))...)
}
