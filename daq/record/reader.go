package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/alarm"

	sqlite3 "modernc.org/sqlite/lib"
)

// Reader reads a recording, whether a daemon writes it or not. It never writes.
type Reader struct {
	path      string
	db        *sql.DB
	history   *sql.DB       // for what people look up, so that it never keeps alarms from being told
	trends    chan struct{} // holds one token for each trend under way
	recording string
	have      map[string]bool // the columns of sample
	haveAlarm map[string]bool // those of alarm_event
}

// A reader's connections. A trend may take many seconds: there are fewer at
// once than connections, so that the lists of alarms need not wait for them.
const (
	readConnections = 4 // of db, and of history
	trendsAtOnce    = 2
)

// OpenReader opens the recording in dir for reading.
func OpenReader(dir string) (*Reader, error) {
	path := databasePath(dir)
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("%s: no recording there: %w; name the directory of record.directory", path, err)
	}
	r, err := openReader(path, "mode=ro&_busy_timeout=5000&_dqs=0")
	if c := code(err); (c == sqlite3.SQLITE_CANTOPEN || c == sqlite3.SQLITE_READONLY) && !exists(path+"-wal") {
		// A read-only medium: SQLite cannot make its index of the log there, and
		// without a log there is none to make.
		r, err = openReader(path, "mode=ro&immutable=1&_dqs=0")
	}
	if err != nil {
		return nil, explain(path, "read", err)
	}
	return r, nil
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func openReader(path, parameters string) (*Reader, error) {
	db, err := openDatabase(path, parameters)
	if err != nil {
		return nil, err
	}
	history, err := openDatabase(path, parameters)
	if err != nil {
		db.Close()
		return nil, err
	}
	db.SetMaxOpenConns(readConnections)
	history.SetMaxOpenConns(readConnections)
	r := &Reader{path: path, db: db, history: history, trends: make(chan struct{}, trendsAtOnce)}
	if err := r.prepare(); err != nil {
		r.Close()
		return nil, err
	}
	return r, nil
}

func (r *Reader) prepare() error {
	if err := checkVersion(r.db); err != nil {
		return err
	}
	if err := r.db.QueryRow(`SELECT value FROM meta WHERE key = 'recording'`).Scan(&r.recording); err != nil {
		return fmt.Errorf("meta: recording: %w", err)
	}
	var err error
	if r.have, err = columnsOf(r.db, "sample"); err != nil {
		return err
	}
	r.haveAlarm, err = columnsOf(r.db, "alarm_event")
	return err
}

// Close ends every reading.
func (r *Reader) Close() error { return errors.Join(r.db.Close(), r.history.Close()) }

// Recording is the UUID made with the database.
func (r *Reader) Recording() string { return r.recording }

// Restored is what a run begins with.
type Restored struct {
	Alarms               []daq.SavedAlarm // every alarm's last state
	Record, Alarm, Event int64            // the newest sequence of each class; 0 without one
	LastRow              time.Time        // zero without one
	Sequences            map[string]int64 // of each alarm's last state
	Begun                bool             // anything was ever recorded
}

// Restore reads the last state of every alarm and where the numbers stand.
func (r *Reader) Restore(ctx context.Context) (Restored, error) {
	var out Restored
	newest, err := readSequences(r.db)
	if err != nil {
		return out, explain(r.path, "restore", err)
	}
	out.Record, out.Alarm, out.Event = newest[daq.ClassRecord], newest[daq.ClassAlarm], newest[daq.ClassEvent]
	if out.LastRow, err = r.lastRow(ctx); err != nil {
		return out, explain(r.path, "restore: newest row", err)
	}
	if out.Alarms, out.Sequences, err = r.savedAlarms(ctx); err != nil {
		return out, explain(r.path, "restore: alarms", err)
	}
	if err := r.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM run) OR EXISTS (SELECT 1 FROM sequence)`).Scan(&out.Begun); err != nil {
		return out, explain(r.path, "restore: runs", err)
	}
	return out, nil
}

func (r *Reader) lastRow(ctx context.Context) (time.Time, error) {
	var text sql.NullString
	err := r.db.QueryRowContext(ctx, `SELECT time FROM sample WHERE sequence = (SELECT max(sequence) FROM sample)`).Scan(&text)
	if err == sql.ErrNoRows {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, err
	}
	return time.Parse(time.RFC3339Nano, text.String)
}

func (r *Reader) savedAlarms(ctx context.Context) (saved []daq.SavedAlarm, sequences map[string]int64, err error) {
	rows, err := r.db.QueryContext(ctx, `SELECT `+r.alarmColumns()+` FROM alarm_event
		WHERE sequence IN (SELECT max(sequence) FROM alarm_event GROUP BY name) ORDER BY name`)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	sequences = map[string]int64{}
	for rows.Next() {
		e, err := scanAlarm(rows)
		if err != nil {
			return nil, nil, err
		}
		s := e.Saved()
		if !e.kept {
			s.Beneath = nil
		}
		saved = append(saved, s)
		sequences[e.Name] = e.sequence
	}
	return saved, sequences, rows.Err()
}

// alarmRow is one transition in the journal.
type alarmRow struct {
	daq.AlarmEvent
	sequence     int64
	synchronised bool // whether the time could be relied upon
	kept         bool // what stands beneath the state was written down
}

// alarmColumns are the columns that scanAlarm reads; NULL for those that this
// recording lacks.
func (r *Reader) alarmColumns() string {
	columns := alarmColumns
	for _, name := range laterColumns {
		if !r.haveAlarm[name] {
			name = "NULL"
		}
		columns += ", " + name
	}
	return columns
}

const alarmColumns = `sequence, time, name, state, priority, value, "limit", cause, consequence, action, who, until, tripped, clock_synchronised`

func scanAlarm(rows *sql.Rows) (alarmRow, error) {
	var a alarmRow
	var at string
	var until sql.NullString
	var active, latched, unseen sql.NullBool
	var raised sql.NullInt64
	err := rows.Scan(&a.sequence, &at, &a.Name, &a.State, &a.Priority, &a.Value, &a.Limit, &a.Cause, &a.Consequence,
		&a.Action, &a.Who, &until, &a.Tripped, &a.synchronised, &active, &latched, &unseen, &raised)
	if err != nil {
		return a, err
	}
	a.kept = latched.Valid
	a.Active, a.Latched, a.Unseen, a.Raised = active.Bool, latched.Bool, unseen.Bool, raised.Int64
	if a.Time, err = time.Parse(time.RFC3339Nano, at); err != nil {
		return a, err
	}
	if until.Valid {
		a.Until, err = time.Parse(time.RFC3339Nano, until.String)
	}
	return a, err
}

// AlarmHistory gives the newest transitions, newest first, as they were told.
func (r *Reader) AlarmHistory(ctx context.Context, limit int) ([]daq.Message, error) {
	return r.messages(ctx, r.history, daq.ClassAlarm, ` ORDER BY sequence DESC LIMIT ?`, limit)
}

// AlarmFigures sums up the journal from a time on.
func (r *Reader) AlarmFigures(ctx context.Context, from, to time.Time) (alarm.Figures, error) {
	rows, err := r.history.QueryContext(ctx, `SELECT name, state, priority, time, who FROM alarm_event WHERE time >= ? ORDER BY sequence`, fullTime(from))
	if err != nil {
		return alarm.Figures{}, explain(r.path, "alarm figures", err)
	}
	defer rows.Close()
	var events []alarm.Event
	for rows.Next() {
		var e alarm.Event
		var state, at string
		if err := rows.Scan(&e.Name, &state, &e.Priority, &at, &e.By); err != nil {
			return alarm.Figures{}, explain(r.path, "alarm figures", err)
		}
		if e.State, err = alarm.Parse(state); err == nil {
			e.Time, err = time.Parse(time.RFC3339Nano, at)
		}
		if err != nil {
			return alarm.Figures{}, explain(r.path, "alarm figures", err)
		}
		events = append(events, e)
	}
	return alarm.Sum(events, from, to), rows.Err()
}
