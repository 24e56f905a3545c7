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
	packed    bool                       // it may have blocks of inputs
	parted    bool                       // its rows are indexed by timePart
	tables    []string                   // that hold rows, the oldest rows first
	have      map[string]map[string]bool // the columns of these, and of each kind of event
}

// A reader's connections. A trend may take many seconds: there are fewer at
// once than connections, so that the lists of alarms need not wait for them.
const (
	readConnections = 4 // of db, and of history
	trendsAtOnce    = 2
)

// OpenReader opens a recording for reading: at is its directory, or the database
// itself, such as a backup.
func OpenReader(at string) (*Reader, error) {
	path := at
	if info, err := os.Stat(at); err != nil || info.IsDir() {
		path = databasePath(at)
	}
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("%s: no recording there: %w; name the directory of record.directory, or a database file", path, err)
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
	r.have = map[string]map[string]bool{}
	for name := range growing() {
		have, err := columnsOf(r.db, name)
		if err != nil {
			return err
		}
		r.have[name] = have
	}
	var err error
	if r.packed, err = isTable(r.db, "input_block"); err != nil {
		return err
	}
	return r.findRows()
}

// Close ends every reading.
func (r *Reader) Close() error { return errors.Join(r.db.Close(), r.history.Close()) }

// Recording is the UUID made with the database.
func (r *Reader) Recording() string { return r.recording }

// Restored is what a run begins with.
type Restored struct {
	Recording string                 // the UUID of the database
	Alarms    []daq.SavedAlarm       // every alarm's last state
	Latest    map[string]daq.Message // and its message
	Newest    map[daq.Class]int64    // the newest sequence of each class; 0 without one
	LastRow   time.Time              // zero without one
	Begun     bool                   // anything was ever recorded
	Running   *daq.Remembered        // the experiment that runs; nil for none
}

// Restore reads the last state of every alarm and where the numbers stand.
func (r *Reader) Restore(ctx context.Context) (Restored, error) {
	out, err := Restored{Recording: r.recording, Latest: map[string]daq.Message{}}, error(nil)
	if out.Newest, err = readSequences(r.db); err != nil {
		return out, explain(r.path, "restore", err)
	}
	if out.LastRow, err = r.endRow(ctx, r.db, "DESC"); err != nil {
		return out, explain(r.path, "restore: newest row", err)
	}
	if err := r.savedAlarms(ctx, &out); err != nil {
		return out, err
	}
	// An experiment that cannot be read must not keep the alarms from coming back.
	out.Running, _ = r.remembered(ctx)
	if err := r.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM run) OR EXISTS (SELECT 1 FROM sequence)`).Scan(&out.Begun); err != nil {
		return out, explain(r.path, "restore: runs", err)
	}
	return out, nil
}

// savedAlarms adds the last row of each alarm.
func (r *Reader) savedAlarms(ctx context.Context, to *Restored) error {
	const last = ` WHERE sequence IN (SELECT max(sequence) FROM alarm_event GROUP BY name) ORDER BY name`
	for w, err := range r.events(ctx, r.db, &kinds[0], "restore: alarms", last) {
		if err != nil {
			return err
		}
		s := w.Alarm.Saved()
		if !w.kept {
			s.Underlying = nil
		}
		to.Alarms = append(to.Alarms, s)
		to.Latest[s.Name] = w.Message(r.recording, w.sequence)
	}
	return nil
}

// AlarmHistory gives the newest transitions, newest first, as they were told.
func (r *Reader) AlarmHistory(ctx context.Context, limit int) ([]daq.Message, error) {
	return r.messages(ctx, r.history, &kinds[0], ` ORDER BY sequence DESC LIMIT ?`, limit)
}

// AlarmFigures sums up the journal from a time on.
func (r *Reader) AlarmFigures(ctx context.Context, from, to time.Time) (alarm.Figures, error) {
	events, err := list(explained(r.path, "alarm figures", rowsOf(ctx, r.history, scanFigure,
		`SELECT name, state, priority, time, who FROM alarm_event WHERE time >= ? ORDER BY sequence`, fullTime(from))))
	if err != nil {
		return alarm.Figures{}, err
	}
	return alarm.Sum(events, from, to), nil
}

func scanFigure(rows *sql.Rows) (e alarm.Event, err error) {
	var state string
	if err = rows.Scan(&e.Name, &state, &e.Priority, &stamp{to: &e.Time}, &e.By); err == nil {
		e.State, err = alarm.Parse(state)
	}
	return e, err
}
