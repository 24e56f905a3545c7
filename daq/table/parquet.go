package table

import (
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
)

// groupRows bounds the rows that are kept until they are written.
const groupRows = 4_000

// parquetWriter writes an Apache Parquet file: every column may be null, times are
// microseconds in UTC. The file's key "columns" has the columns' units and help.
type parquetWriter struct {
	*Plan
	to    *parquet.GenericWriter[any]
	cells parquet.Row
}

// parquetTypes are the types of the columns in the library's words.
var parquetTypes = [...]struct {
	of  reflect.Type
	tag string
}{
	Text:    {reflect.TypeFor[*string](), ""},
	Integer: {reflect.TypeFor[*int64](), ""},
	Number:  {reflect.TypeFor[*float64](), ""},
	Truth:   {reflect.TypeFor[*bool](), ""},
	Moment:  {reflect.TypeFor[*int64](), ",timestamp(microsecond)"},
}

func newParquet(w io.Writer, p *Plan) (*parquetWriter, error) {
	fields := make([]reflect.StructField, len(p.columns)) // a struct keeps the order of the columns
	for i := range p.columns {
		t := parquetTypes[p.columns[i].Kind]
		fields[i] = reflect.StructField{Name: fmt.Sprintf("C%d", i), Type: t.of,
			Tag: reflect.StructTag(fmt.Sprintf(`parquet:"%s,optional%s"`, p.columns[i].Name, t.tag))}
	}
	columns, err := json.Marshal(p.describeColumns())
	if err != nil {
		return nil, err
	}
	schema := parquet.SchemaOf(reflect.New(reflect.StructOf(fields)).Interface())
	out := parquet.NewGenericWriter[any](w, schema, parquet.MaxRowsPerRowGroup(groupRows), parquet.Compression(&parquet.Snappy),
		parquet.KeyValueMetadata("columns", string(columns)))
	return &parquetWriter{p, out, make(parquet.Row, len(p.columns))}, nil
}

func (q *parquetWriter) row(r *Row) error {
	for i := range q.columns {
		v := q.columns[i].value(r)
		switch x := v.(type) {
		case nil:
			q.cells[i] = parquet.NullValue().Level(0, 0, i)
			continue
		case time.Time:
			v = x.UnixMicro()
		case string:
			v = strings.ToValidUTF8(x, "\uFFFD")
		}
		q.cells[i] = parquet.ValueOf(v).Level(0, 1, i)
	}
	_, err := q.to.WriteRows([]parquet.Row{q.cells})
	return err
}

func (q *parquetWriter) end() error { return q.to.Close() }
