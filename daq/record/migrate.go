package record

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"flowrigd/calc/quantity"
)

// moveRows is how many rows of schema 1 are moved in one transaction: some 20 ms, and
// the pages that they leave are at once there for the next.
const moveRows = 250

// putAside names the table of rows of schema 1 otherwise, and lets it go once its rows
// have all been moved.
func putAside(tx *sql.Tx) error {
	old, err := isTable(tx, "sample")
	if err != nil {
		return err
	}
	if old {
		if _, err := tx.Exec(`ALTER TABLE sample RENAME TO ` + oldRows); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(`DROP VIEW IF EXISTS sample`); err != nil {
		return err
	}
	if left, err := hasOldRows(tx); err != nil || left {
		return err
	}
	_, err = tx.Exec(`DROP TABLE IF EXISTS ` + oldRows)
	return err
}

func isTable(db querier, name string) (yes bool, err error) {
	err = db.QueryRow(`SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?)`, name).Scan(&yes)
	return yes, err
}

// hasOldRows says whether rows of schema 1 are still to be moved.
func hasOldRows(db querier) (yes bool, err error) {
	if yes, err = isTable(db, oldRows); err != nil || !yes {
		return false, err
	}
	err = db.QueryRow(`SELECT EXISTS (SELECT 1 FROM ` + oldRows + `)`).Scan(&yes)
	return yes, err
}

// makeViews makes the view sample, which shows every row as each interface does, and the
// description of its columns.
func makeViews(tx *sql.Tx) error {
	fields := (&row{}).fields()
	list := make([]string, len(fields))
	for i, f := range fields {
		list[i] = shown(f.name) + ` AS "` + f.name + `"`
	}
	view := `CREATE VIEW sample AS SELECT ` + strings.Join(list, ",\n\t") + ` FROM ` + rowTable
	have, err := columnsOf(tx, oldRows)
	if err != nil {
		return err
	}
	if len(have) > 0 {
		view += " UNION ALL SELECT " + selected(fields, have) + " FROM " + oldRows
	}
	if _, err := tx.Exec(view); err != nil {
		return err
	}
	for _, f := range fields {
		unit, meaning := "", columnHelp[f.name]
		if id, ok := quantity.ByName(f.name); ok {
			unit, meaning = quantity.Table[id].Unit, quantity.Table[id].Help
		}
		if _, err := tx.Exec(`INSERT OR REPLACE INTO column_description VALUES ('sample', ?, ?, ?)`, f.name, unit, meaning); err != nil {
			return err
		}
	}
	return nil
}

// move moves the oldest rows of schema 1, and says whether there are more.
func (w *writer) move(tx *sql.Tx) (more bool, err error) {
	have, err := columnsOf(tx, oldRows)
	if err != nil {
		return false, err
	}
	batch, err := list(rowsOf(context.Background(), tx, scanRow,
		`SELECT `+selected((&row{}).fields(), have)+` FROM `+oldRows+` ORDER BY sequence LIMIT ?`, moveRows))
	if err != nil || len(batch) == 0 {
		return false, err
	}
	names := texts{tx: tx}
	for _, row := range batch {
		if err := names.insert(tx.Stmt(w.statements.sample), row); err != nil {
			return false, fmt.Errorf("row %d: move: %w", row.sequence, err)
		}
	}
	_, err = tx.Exec(`DELETE FROM `+oldRows+` WHERE sequence <= ?`, batch[len(batch)-1].sequence)
	return len(batch) == moveRows, err
}
