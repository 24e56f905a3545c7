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
	have      map[string]map[string]bool // the columns of sample and of each kind of event
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
	tables := []string{"sample", "run"}
	for i := range kinds {
		tables = append(tables, kinds[i].table)
	}
	r.have = map[string]map[string]bool{}
	for _, name := range tables {
		have, err := columnsOf(r.db, name)
		if err != nil {
			return err
		}
		r.have[name] = have
	}
	return nil
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
}

// Restore reads the last state of every alarm and where the numbers stand.
func (r *Reader) Restore(ctx context.Context) (Restored, error) {
	out, err := Restored{Recording: r.recording, Latest: map[string]daq.Message{}}, error(nil)
	if out.Newest, err = readSequences(r.db); err != nil {
		return out, explain(r.path, "restore", err)
	}
	if out.LastRow, err = r.lastRow(ctx); err != nil {
		return out, explain(r.path, "restore: newest row", err)
	}
	if err := r.savedAlarms(ctx, &out); err != nil {
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

// savedAlarms adds the last row of each alarm.
func (r *Reader) savedAlarms(ctx context.Context, to *Restored) error {
	k := &kinds[0]
	rows, err := r.db.QueryContext(ctx, k.query(r.have[k.table])+` WHERE sequence IN (SELECT max(sequence) FROM alarm_event GROUP BY name) ORDER BY name`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		w, err := scanAlarm(rows)
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
	return rows.Err()
}

// AlarmHistory gives the newest transitions, newest first, as they were told.
func (r *Reader) AlarmHistory(ctx context.Context, limit int) ([]daq.Message, error) {
	return r.messages(ctx, r.history, &kinds[0], ` ORDER BY sequence DESC LIMIT ?`, limit)
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
