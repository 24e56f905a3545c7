package record

import (
	"database/sql"
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"flowrigd/daq"
)

// field is a column of a table.
type field struct {
	name, sql string
	at        any // where its value stands: written from there, and read into it
}

func create(table string, columns []field, more string) string {
	list := make([]string, len(columns))
	for i, c := range columns {
		list[i] = `"` + c.name + `" ` + c.sql
	}
	return fmt.Sprintf("CREATE TABLE IF NOT EXISTS %s(%s%s);\n", table, strings.Join(list, ", "), more)
}

func insert(table string, columns []field) string {
	return fmt.Sprintf(`INSERT INTO %s(%s) VALUES (?%s)`, table, selected(columns, nil), strings.Repeat(",?", len(columns)-1))
}

// selected names columns; NULL for those that a recording lacks, where have says so.
func selected(columns []field, have map[string]bool) string {
	list := make([]string, len(columns))
	for i, c := range columns {
		if list[i] = `"` + c.name + `"`; have != nil && !have[c.name] {
			list[i] = "NULL"
		}
	}
	return strings.Join(list, ", ")
}

// places are where the values of fields stand.
func places(fields []field) []any {
	at := make([]any, len(fields))
	for i, f := range fields {
		at[i] = f.at
	}
	return at
}

// document is a JSON text.
type document json.RawMessage

// Value is the text for the table.
func (d *document) Value() (driver.Value, error) { return string(*d), nil }

// Scan reads it back; what is no JSON is null.
func (d *document) Scan(from any) error {
	var text sql.NullString
	err := text.Scan(from)
	if *d = document(text.String); !json.Valid(*d) {
		*d = document("null")
	}
	return err
}

// stamp is a time as the recording and every interface writes it.
type stamp struct {
	to     *time.Time
	orNull bool // where it is zero
}

func (s *stamp) text() string {
	if s.orNull && s.to.IsZero() {
		return ""
	}
	return daq.FormatTime(*s.to)
}

// Value is the text for the table.
func (s *stamp) Value() (driver.Value, error) {
	if text := s.text(); text != "" {
		return text, nil
	}
	return nil, nil
}

// Scan reads it back.
func (s *stamp) Scan(from any) error {
	var text sql.NullString
	err := text.Scan(from)
	if err == nil && text.Valid {
		*s.to, err = time.Parse(time.RFC3339Nano, text.String)
	}
	return err
}

// later is a value of a column that recordings of before lack: there it is zero.
type later[T any] struct {
	to   *T
	kept *bool // whether it is there; nil: nobody asks
}

// Value is the value for the table.
func (l *later[T]) Value() (driver.Value, error) {
	return driver.DefaultParameterConverter.ConvertValue(*l.to)
}

// Scan reads it back.
func (l *later[T]) Scan(from any) error {
	var n sql.Null[T]
	err := n.Scan(from)
	*l.to = n.V
	if l.kept != nil {
		*l.kept = n.Valid
	}
	return err
}
