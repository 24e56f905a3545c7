package record

import (
	"database/sql"
	"fmt"
	"strconv"
	"strings"
	"time"

	"flowrigd/daq"
)

// kind is all that the recording knows of one kind of event. A new one is a type of
// daq with its message, a table in the schema and a row of kinds.
type kind struct {
	class    daq.Class
	table    string
	export   string                                     // the word of the verb export
	columns  []string                                   // of the table, as row gives and scan reads them; the first is the sequence
	exported int                                        // so many of them
	row      func(e daq.Event, synchronised bool) []any // what follows the sequence; nil for another kind
	scan     func(*sql.Rows) (eventRow, error)
	cells    func(*eventRow) []string // what follows sequence and time
}

// eventRow is an event as it stands in the recording.
type eventRow struct {
	daq.Event
	sequence     int64
	at           time.Time
	synchronised bool // whether the time could be relied upon
	kept         bool // of an alarm: what stands beneath the state was written down
}

var kinds = [...]kind{
	{daq.ClassAlarm, "alarm_event", "alarms",
		[]string{"sequence", "time", "name", "state", "priority", "value", "limit", "cause", "consequence", "action", "who", "until", "tripped",
			"clock_synchronised", "active", "latched", "unacknowledged", "raised"}, 14,
		alarmRow, scanAlarm, alarmCells},
	{daq.ClassEvent, "note", "notes",
		[]string{"sequence", "time", "kind", "who", "text", "clock_synchronised"}, 5,
		noteRow, scanNote, noteCells},
}

func (k *kind) insert() string {
	return fmt.Sprintf(`INSERT INTO %s("%s") VALUES (?%s)`, k.table, strings.Join(k.columns, `", "`), strings.Repeat(",?", len(k.columns)-1))
}

// query selects the columns; NULL for those that the recording lacks.
func (k *kind) query(have map[string]bool) string {
	columns := make([]string, len(k.columns))
	for i, name := range k.columns {
		if columns[i] = `"` + name + `"`; !have[name] {
			columns[i] = "NULL"
		}
	}
	return "SELECT " + strings.Join(columns, ", ") + " FROM " + k.table
}

func alarmRow(e daq.Event, synchronised bool) []any {
	a := e.Alarm
	if a == nil {
		return nil
	}
	var until any
	if !a.Until.IsZero() {
		until = daq.FormatTime(a.Until)
	}
	return []any{daq.FormatTime(a.Time), a.Name, a.State, a.Priority, a.Value, a.Limit, a.Cause, a.Consequence, a.Action, a.Who, until, a.Tripped,
		synchronised, a.Active, a.Latched, a.Unacknowledged, a.Raised}
}

func scanAlarm(rows *sql.Rows) (eventRow, error) {
	a := &daq.AlarmEvent{}
	w := eventRow{Event: daq.Event{Alarm: a}}
	var at string
	var until sql.NullString
	var active, latched, unseen sql.NullBool
	var raised sql.NullInt64
	err := rows.Scan(&w.sequence, &at, &a.Name, &a.State, &a.Priority, &a.Value, &a.Limit, &a.Cause, &a.Consequence,
		&a.Action, &a.Who, &until, &a.Tripped, &w.synchronised, &active, &latched, &unseen, &raised)
	if err != nil {
		return w, err
	}
	w.kept = latched.Valid
	a.Active, a.Latched, a.Unacknowledged, a.Raised = active.Bool, latched.Bool, unseen.Bool, raised.Int64
	if a.Time, err = time.Parse(time.RFC3339Nano, at); err != nil {
		return w, err
	}
	w.at = a.Time
	if until.Valid {
		a.Until, err = time.Parse(time.RFC3339Nano, until.String)
	}
	return w, err
}

func alarmCells(w *eventRow) []string {
	a, until := w.Alarm, ""
	if !a.Until.IsZero() {
		until = daq.FormatTime(a.Until)
	}
	return []string{textCell(a.Name), a.State, a.Priority, numberCell(a.Value), numberCell(a.Limit), textCell(a.Cause), textCell(a.Consequence),
		textCell(a.Action), textCell(a.Who), until, strconv.FormatBool(a.Tripped), strconv.FormatBool(w.synchronised)}
}

func noteRow(e daq.Event, synchronised bool) []any {
	n := e.Note
	if n == nil {
		return nil
	}
	return []any{daq.FormatTime(n.Time), n.Kind, n.Who, n.Text, synchronised}
}

func scanNote(rows *sql.Rows) (eventRow, error) {
	n := &daq.Note{}
	w := eventRow{Event: daq.Event{Note: n}}
	var at string
	if err := rows.Scan(&w.sequence, &at, &n.Kind, &n.Who, &n.Text, &w.synchronised); err != nil {
		return w, err
	}
	var err error
	n.Time, err = time.Parse(time.RFC3339Nano, at)
	w.at = n.Time
	return w, err
}

func noteCells(w *eventRow) []string {
	return []string{textCell(w.Note.Kind), textCell(w.Note.Who), textCell(w.Note.Text)}
}
