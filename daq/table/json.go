package table

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"strconv"
	"time"

	"flowrigd/daq"
)

// jsonWriter writes one array, or one object a line.
type jsonWriter struct {
	*Plan
	to    *bufio.Writer
	lines bool
	count int
}

func newJSON(w io.Writer, p *Plan) *jsonWriter {
	return &jsonWriter{Plan: p, to: bufio.NewWriter(w), lines: p.form.Format == "jsonl"}
}

func (j *jsonWriter) row(r *Row) error {
	switch j.count++; {
	case j.lines:
	case j.count == 1:
		j.to.WriteString("[\n")
	default:
		j.to.WriteString(",\n")
	}
	object := visibleJSON(j.object(r))
	if j.lines {
		var line bytes.Buffer
		if err := json.Compact(&line, object); err != nil {
			return err
		}
		object = append(line.Bytes(), '\n')
	}
	_, err := j.to.Write(object)
	return err
}

// object is the row as MQTT has it, or what was asked for of it.
func (j *jsonWriter) object(r *Row) []byte {
	if j.form.Columns == nil && !j.form.Bench {
		return r.Object()
	}
	b := []byte{'{'}
	for i := range j.columns {
		if i > 0 {
			b = append(b, ',')
		}
		c := &j.columns[i]
		b = append(strconv.AppendQuote(b, c.Name), ':')
		b = appendJSON(b, c.value(r))
	}
	return append(b, '}')
}

func appendJSON(b []byte, v any) []byte {
	switch v := v.(type) {
	case string:
		text, _ := json.Marshal(v) // a text always can
		return append(b, text...)
	case bool:
		return strconv.AppendBool(b, v)
	case int64:
		return strconv.AppendInt(b, v, 10)
	case float64:
		return append(b, decimal(v)...)
	case time.Time:
		return strconv.AppendQuote(b, daq.FormatTime(v))
	}
	return append(b, "null"...)
}

func (j *jsonWriter) end() error {
	switch {
	case j.lines:
	case j.count == 0:
		j.to.WriteString("[]\n")
	default:
		j.to.WriteString("\n]\n")
	}
	return j.to.Flush()
}
