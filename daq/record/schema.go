package record

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
)

// schemaVersion counts the changes of the tables that an older flowrigd would
// not understand. A new quantity is none: its column is added on opening.
const schemaVersion = 3

// schema makes every table but those of rows and events. Texts of time are RFC 3339 in UTC with a
// fixed width, so that they sort. `sequence` holds the newest number that each
// class has given out, so that none is used twice even after a purge.
const schema = `
CREATE TABLE IF NOT EXISTS meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS sequence(class TEXT PRIMARY KEY, newest INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS configuration(
	sha256 TEXT PRIMARY KEY, text TEXT NOT NULL, first_used TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS sample_text(number INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS column_description(
	relation TEXT NOT NULL, name TEXT NOT NULL, unit TEXT NOT NULL, meaning TEXT NOT NULL,
	PRIMARY KEY(relation, name)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS run(
	run INTEGER PRIMARY KEY, time TEXT NOT NULL, configuration TEXT NOT NULL, build TEXT);
CREATE TABLE IF NOT EXISTS input(
	run INTEGER NOT NULL, number INTEGER NOT NULL, mono_ns INTEGER NOT NULL, time TEXT NOT NULL,
	clock_synchronised INTEGER NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
	PRIMARY KEY(run, number)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS digest(
	run INTEGER NOT NULL, number INTEGER NOT NULL, sha256 TEXT NOT NULL,
	PRIMARY KEY(run, number)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS mark(
	destination TEXT NOT NULL, class TEXT NOT NULL, sequence INTEGER NOT NULL,
	PRIMARY KEY(destination, class)) WITHOUT ROWID;
`

// errNewer says that the database is from the future.
var errNewer = errors.New("the recording was made by a newer flowrigd; use that one, or name another record.directory")

// prepareSchema makes the tables of a new database and adds the columns of
// quantities that an older one lacks, in one transaction. The rows of schema 1 are put
// aside, to be moved little by little.
func prepareSchema(db *sql.DB) error {
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := checkVersion(tx); err != nil {
		return err
	}
	if err := putAside(tx); err != nil {
		return err
	}
	if _, err := tx.Exec(schema + blockTable + checkpointTable + rowTables()); err != nil {
		return err
	}
	if err := addColumns(tx); err != nil {
		return err
	}
	if err := makeViews(tx); err != nil {
		return err
	}
	if _, err := tx.Exec(`INSERT INTO meta VALUES ('recording', ?1), ('schema', ?2)
		ON CONFLICT DO UPDATE SET value = excluded.value WHERE key = 'schema'`, newUUID(), strconv.Itoa(schemaVersion)); err != nil {
		return err
	}
	if err := renewCopy(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// checkVersion refuses the schema of a newer flowrigd, and a database of
// another program.
func checkVersion(db querier) error {
	var tables, ours int
	if err := db.QueryRow(`SELECT count(*), coalesce(sum(name = 'meta'), 0) FROM sqlite_schema WHERE type = 'table'`).Scan(&tables, &ours); err != nil {
		return err
	}
	if tables == 0 {
		return nil
	}
	if ours == 0 {
		return errors.New("this is the database of another program; name another record.directory")
	}
	var text string
	if err := db.QueryRow(`SELECT value FROM meta WHERE key = 'schema'`).Scan(&text); err != nil {
		return fmt.Errorf("meta: schema: %w", err)
	}
	if n, err := strconv.Atoi(text); err != nil || n > schemaVersion {
		return fmt.Errorf("schema %s, this flowrigd knows up to %d: %w", text, schemaVersion, errNewer)
	}
	return nil
}

// rowTables makes the tables of rows and events.
func rowTables() string {
	tables := create(rowTable, (&row{}).fields(), "") + "CREATE INDEX IF NOT EXISTS sample_row_time ON sample_row(" + timePart + ");\n"
	for i := range kinds {
		tables += create(kinds[i].table, kinds[i].columns(), kinds[i].computed)
	}
	for _, level := range levels {
		tables += create(levelTable(level), rollupFields(), "")
	}
	return tables + "CREATE INDEX IF NOT EXISTS alarm_event_name ON alarm_event(name, sequence);\n"
}

// growing are the tables that have more columns than recordings of before may have,
// and their columns.
func growing() map[string][]field {
	tables := map[string][]field{"run": {{name: "build", sql: "TEXT"}}, rowTable: (&row{}).fields()}
	for i := range kinds {
		tables[kinds[i].table] = kinds[i].columns()
	}
	for _, level := range levels {
		tables[levelTable(level)] = rollupFields()
	}
	return tables
}

func addColumns(tx *sql.Tx) error {
	for table, columns := range growing() {
		have, err := columnsOf(tx, table)
		if err != nil {
			return err
		}
		for _, c := range columns {
			if have[c.name] {
				continue
			}
			if _, err := tx.Exec("ALTER TABLE " + table + ` ADD COLUMN "` + c.name + `" ` + c.sql); err != nil {
				return err
			}
		}
	}
	return nil
}

func columnsOf(db querier, table string) (map[string]bool, error) {
	have := map[string]bool{}
	for c, err := range rowsOf(context.Background(), db, scanPair[string, int], `SELECT name, cid FROM pragma_table_info(?)`, table) {
		if err != nil {
			return nil, err
		}
		have[c.key] = true
	}
	return have, nil
}

// newUUID is a random UUID, version 4 (RFC 9562, section 5.4).
func newUUID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails, see its documentation
	b[6] = b[6]&0x0f | 0x40
	b[8] = b[8]&0x3f | 0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}
