package table

import (
	"bufio"
	"io"
	"strconv"
	"strings"
	"time"

	"flowrigd/daq"
)

// zoned is how a spreadsheet reads a time: without a zone.
const zoned = "2006-01-02 15:04:05.000"

// csvWriter writes CSV by RFC 4180, lines end with carriage return and line feed. The
// standard library's would put a carriage return inside of texts too.
type csvWriter struct {
	*Plan
	to        *bufio.Writer
	separator string
	cells     []string
}

func newCSV(w io.Writer, p *Plan) (*csvWriter, error) {
	c := &csvWriter{Plan: p, to: bufio.NewWriter(w), separator: p.separator(), cells: make([]string, len(p.columns))}
	for i := range p.columns {
		c.cells[i] = p.columns[i].Name
	}
	return c, c.line()
}

func (p *Plan) separator() string { return strings.Replace(p.form.Separator, "tab", "\t", 1) }

func (c *csvWriter) row(r *Row) error {
	for i := range c.columns {
		c.cells[i] = c.cell(c.columns[i].value(r))
	}
	return c.line()
}

func (c *csvWriter) cell(v any) string {
	switch v := v.(type) {
	case string:
		return textCell(v)
	case bool:
		return strconv.FormatBool(v)
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return strings.Replace(decimal(v), ".", c.form.Decimal, 1)
	case time.Time:
		if c.form.Zone != nil {
			return v.In(c.form.Zone).Format(zoned)
		}
		return daq.FormatTime(v)
	}
	return ""
}

// line writes the cells. A lone empty cell is quoted: an empty line is no record.
func (c *csvWriter) line() error {
	for i, cell := range c.cells {
		if i > 0 {
			c.to.WriteString(c.separator)
		}
		if strings.ContainsAny(cell, "\"\r\n"+c.separator) || cell == "" && len(c.cells) == 1 {
			cell = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
		}
		c.to.WriteString(cell)
	}
	_, err := c.to.WriteString("\r\n") // it keeps the first error of all
	return err
}

func (c *csvWriter) end() error { return c.to.Flush() }
