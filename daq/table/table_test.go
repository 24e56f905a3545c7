package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"flowrigd/daq/daqtest"
)

var tried = []Column{
	{"sequence", "", Integer, "The number."}, {"time", "", Moment, "When."}, {"flow_cubic_meters_per_second", "flow", Number, "Volume flow."},
	{"flow_cubic_meters_per_second_uncertainty", "", Number, ""}, {"level_meters", "level", Number, "Level."}, {"steady", "", Truth, "Steady."},
	{"tank_celsius", "tank", Number, "Tank."}, {"who", "", Text, "Who."},
}

var summer = time.Date(2031, 5, 6, 7, 8, 9, 123987e3, time.UTC)

func triedRows() iter.Seq2[Row, error] {
	whole := func() []byte { return []byte("{\"whole\":\n true}") }
	return func(yield func(Row, error) bool) {
		_ = yield(Row{[]any{int64(1), summer, 2e-5, 1e-7, 0.2506, true, nil, `=1;2 "x"`}, whole}, nil) &&
			yield(Row{[]any{int64(2), summer.Add(time.Second), nil, nil, -1.5, false, 61.25, "a, b\nc"}, whole}, nil)
	}
}

func written(t *testing.T, f Form) string {
	t.Helper()
	var b bytes.Buffer
	n, err := planned(t, f).Write(&b, triedRows())
	if err != nil || f.Every == 0 && n != 2 {
		t.Fatal(n, err)
	}
	return b.String()
}

func planned(t *testing.T, f Form) *Plan {
	t.Helper()
	p, err := f.Plan(tried)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestUnitsOfResults: every way in which a name says its unit, and what goes with it.
func TestUnitsOfResults(t *testing.T) {
	var columns []Column
	for _, name := range []string{"tube_celsius_standard_error", "flow_cubic_meters_per_second_expanded", "collected_flow_cubic_meters_per_second",
		"collected_flow_uncertainty", "meter_factor", "meter_factor_uncertainty", "volume_cubic_meters_uncertainty", "dynamic_viscosity_pascal_seconds",
		"mass_kilograms", "seconds", "dye_light_ratio", "temperature_rate_kelvin_per_second"} {
		columns = append(columns, Column{Name: name, Kind: Number})
	}
	p, err := Form{Bench: true}.Plan(columns)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"tube_celsius_standard_error Cel 1", "flow_liters_per_minute_expanded L/min 60000", "collected_flow_liters_per_minute L/min 60000",
		"collected_flow_liters_per_minute_uncertainty L/min 60000", "meter_factor  1", "meter_factor_uncertainty  1", "volume_milliliters_uncertainty mL 1e+06",
		"dynamic_viscosity_millipascal_seconds mPa.s 1000", "mass_grams g 1000", "seconds s 1", "dye_light_percent % 100", "temperature_rate_kelvin_per_minute K/min 60"} {
		c := p.columns[i]
		if got := fmt.Sprintf("%s %s %g", c.Name, c.unit, c.number(1)); got != want {
			t.Errorf("%s: %s, want %s", columns[i].Name, got, want)
		}
	}
}

func lines(text ...string) string { return strings.Join(text, "\r\n") + "\r\n" }

// TestForms: the bytes of every form. Each flag changes what it says and no more.
func TestForms(t *testing.T) {
	paris, err := time.LoadLocation("Europe/Paris")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		form Form
		want string
	}{
		"plain": {Form{}, lines("sequence,time,flow_cubic_meters_per_second,flow_cubic_meters_per_second_uncertainty,level_meters,steady,tank_celsius,who",
			`1,2031-05-06T07:08:09.123987Z,0.00002,1e-07,0.2506,true,,"'=1;2 ""x"""`, "2,2031-05-06T07:08:10.123987Z,,,-1.5,false,61.25,\"a, b\nc\"")},
		"bench": {Form{Bench: true}, lines("sequence,time,flow_liters_per_minute,flow_liters_per_minute_uncertainty,level_millimeters,steady,tank_celsius,who",
			`1,2031-05-06T07:08:09.123987Z,1.2,0.006,250.6,true,,"'=1;2 ""x"""`, "2,2031-05-06T07:08:10.123987Z,,,-1500,false,61.25,\"a, b\nc\"")},
		"columns": {Form{Columns: []string{"level", "sequence", " tank_celsius "}}, lines("level_meters,sequence,tank_celsius", "0.2506,1,", "-1.5,2,61.25")},
		"columns by the bench's name": {Form{Bench: true, Columns: []string{"level_millimeters", "flow_cubic_meters_per_second"}},
			lines("level_millimeters,flow_liters_per_minute", "250.6,1.2", "-1500,")},
		"a lone unknown": {Form{Columns: []string{"tank"}}, lines("tank_celsius", `""`, "61.25")},
		"separator":      {Form{Separator: ";", Columns: []string{"level", "who"}}, lines("level_meters;who", `0.2506;"'=1;2 ""x"""`, "-1.5;\"a, b\nc\"")},
		"tab":            {Form{Separator: "tab", Columns: []string{"level", "tank"}}, lines("level_meters\ttank_celsius", "0.2506\t", "-1.5\t61.25")},
		"decimal":        {Form{Separator: "|", Decimal: ",", Columns: []string{"level", "tank"}}, lines("level_meters|tank_celsius", "0,2506|", "-1,5|61,25")},
		"zone":           {Form{Zone: paris, Columns: []string{"time", "steady"}}, lines("time,steady", "2031-05-06 09:08:09.123,true", "2031-05-06 09:08:10.123,false")},
		"every":          {Form{Every: 10 * time.Second, Columns: []string{"sequence"}}, lines("sequence", "1", "2")},
		"every hour":     {Form{Every: time.Hour, Columns: []string{"sequence"}}, lines("sequence", "1")},
		"json":           {Form{Format: "json"}, "[\n{\"whole\":\n true},\n{\"whole\":\n true}\n]\n"},
		"jsonl":          {Form{Format: "jsonl"}, "{\"whole\":true}\n{\"whole\":true}\n"},
		"jsonl, chosen": {Form{Format: "jsonl", Bench: true, Columns: []string{"time", "flow", "steady", "who"}},
			`{"time":"2031-05-06T07:08:09.123987Z","flow_liters_per_minute":1.2,"steady":true,"who":"=1;2 \"x\""}` + "\n" +
				`{"time":"2031-05-06T07:08:10.123987Z","flow_liters_per_minute":null,"steady":false,"who":"a, b\nc"}` + "\n"},
	} {
		if got := written(t, c.form); got != c.want {
			t.Errorf("%s:\n%q, want\n%q", name, got, c.want)
		}
	}
}

func TestFormsRefused(t *testing.T) {
	for _, c := range []struct {
		form Form
		want string
	}{
		{Form{Format: "xml"}, `--format "xml": write one of csv, json, jsonl, parquet`},
		{Form{Separator: "x"}, `--separator "x": write one of , ; | tab, in quotes`},
		{Form{Separator: ";", Decimal: ";"}, `--decimal ";": write "." or ","`},
		{Form{Decimal: ","}, `--decimal ",": the comma stands between the cells already; add --separator ";"`},
		{Form{Format: "json", Separator: ";"}, "are for csv"},
		{Form{Format: "jsonl", Decimal: ",", Separator: ";"}, "are for csv"},
		{Form{Format: "parquet", Zone: time.UTC}, "--format parquet: --separator, --decimal and --zone are for csv; leave them out"},
		{Form{Columns: []string{"flwo"}}, `--columns "flwo": no such column; write one of flow, `},
		{Form{Columns: []string{"meters"}}, "write one of flow_cubic_meters_per_second, flow_cubic_meters_per_second_uncertainty, level_meters;"},
		{Form{Columns: []string{""}}, `--columns "": no such column`},
		{Form{Columns: []string{"flow", "flow_cubic_meters_per_second"}}, "name each column once"},
	} {
		if _, err := c.form.Plan(tried); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %s", c.form, err, c.want)
		}
	}
}

// TestOthersReadTheCSV: encoding/csv, and Python's csv module as a German spreadsheet
// would be told to, read the cells that were written.
func TestOthersReadTheCSV(t *testing.T) {
	text := written(t, Form{Bench: true, Separator: ";", Decimal: ",", Zone: time.UTC})
	want := [][]string{
		{"sequence", "time", "flow_liters_per_minute", "flow_liters_per_minute_uncertainty", "level_millimeters", "steady", "tank_celsius", "who"},
		{"1", "2031-05-06 07:08:09.123", "1,2", "0,006", "250,6", "true", "", `'=1;2 "x"`},
		{"2", "2031-05-06 07:08:10.123", "", "", "-1500", "false", "61,25", "a, b\nc"},
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = ';'
	if got, err := r.ReadAll(); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("encoding/csv: %q, %v", got, err)
	}
	python := exec.Command(daqtest.Program(t, "python3", "python3"), "-c",
		"import csv,io,json,sys\nprint(json.dumps(list(csv.reader(io.TextIOWrapper(sys.stdin.buffer,'utf-8',newline=''),delimiter=';',strict=True))))")
	python.Stdin = strings.NewReader(text)
	out, err := python.Output()
	var got [][]string
	if err := json.Unmarshal(out, &got); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("python: %s, %v", out, err)
	}
	if err != nil {
		t.Error(err)
	}
}

// TestDescription holds what the "Metadata Vocabulary for Tabular Data" requires of the
// description of a table: @context (5.2), url (5.3), a name of each column that may
// stand in a URI template, titles that are the header's (5.6), a built-in datatype
// (5.11.1), a format of numbers and of times (5.11.2; "Model for Tabular Data and
// Metadata on the Web", 6.4.2 and 6.4.4), and the dialect in which it is written (5.9).
func TestDescription(t *testing.T) {
	type object = map[string]any
	for name, c := range map[string]struct {
		form    Form
		want    string // of the dialect
		columns []object
		key     any
	}{
		"plain": {Form{Columns: []string{"sequence", "time", "flow", "steady", "who"}}, ",", []object{
			{"name": "sequence", "titles": "sequence", "datatype": "integer", "required": true, "dc:description": "The number."},
			{"name": "time", "titles": "time", "datatype": "dateTimeStamp", "required": true, "dc:description": "When."},
			{"name": "flow_cubic_meters_per_second", "titles": "flow_cubic_meters_per_second", "datatype": "double", "schema:unitText": "m3/s", "dc:description": "Volume flow."},
			{"name": "steady", "titles": "steady", "datatype": "boolean", "dc:description": "Steady."},
			{"name": "who", "titles": "who", "datatype": "string", "dc:description": "Who."}}, "sequence"},
		"a spreadsheet's": {Form{Bench: true, Separator: "tab", Decimal: ",", Zone: time.Local, Columns: []string{"time", "flow"}}, "\t", []object{
			{"name": "time", "titles": "time", "datatype": object{"base": "dateTime", "format": "yyyy-MM-dd HH:mm:ss.SSS"}, "required": true, "dc:description": "When."},
			{"name": "flow_liters_per_minute", "titles": "flow_liters_per_minute", "datatype": object{"base": "double", "format": object{"decimalChar": ","}},
				"schema:unitText": "L/min", "dc:description": "Volume flow."}}, nil},
	} {
		p := planned(t, c.form)
		text, err := p.Describe("of today: a b.csv", "samples")
		var got struct {
			Context     []any  `json:"@context"`
			URL         string `json:"url"`
			Description string `json:"dc:description"`
			Dialect     object
			TableSchema struct {
				Columns    []object
				PrimaryKey any
			}
		}
		if err := json.Unmarshal(text, &got); err != nil {
			t.Fatal(err)
		}
		if err != nil || got.Context[0] != "http://www.w3.org/ns/csvw" || got.URL != "./of%20today:%20a%20b.csv" || strings.Contains(got.Description, "machine that wrote") != (c.form.Zone != nil) {
			t.Errorf("%s: %v\n%s", name, err, text)
		}
		dialect := object{"delimiter": c.want, "encoding": "utf-8", "header": true, "lineTerminators": []any{"\r\n"}, "quoteChar": `"`, "doubleQuote": true}
		if !reflect.DeepEqual(got.Dialect, dialect) || !reflect.DeepEqual(got.TableSchema.Columns, c.columns) || got.TableSchema.PrimaryKey != c.key {
			t.Errorf("%s:\n%s", name, text)
		}
		header, _, _ := strings.Cut(written(t, c.form), "\r\n")
		for i, title := range strings.Split(header, got.Dialect["delimiter"].(string)) {
			if got.TableSchema.Columns[i]["titles"] != title {
				t.Errorf("%s: column %d is %s in the file", name, i, title)
			}
		}
	}
}

// TestParquet: the file has its mark at both ends, its columns in the order asked for
// with their types, and the values that were written.
func TestParquet(t *testing.T) {
	text := written(t, Form{Format: "parquet", Bench: true, Columns: []string{"time", "flow", "steady", "who", "sequence"}})
	if !strings.HasPrefix(text, "PAR1") || !strings.HasSuffix(text, "PAR1") {
		t.Fatalf("%q", text)
	}
	f, err := parquet.OpenFile(strings.NewReader(text), int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	var schema []string
	for _, c := range f.Root().Columns() {
		schema = append(schema, c.Name()+" "+c.Type().String())
	}
	if got := strings.Join(schema, ", "); got != "time TIMESTAMP(isAdjustedToUTC=true,unit=MICROS), flow_liters_per_minute DOUBLE, steady BOOLEAN, who STRING, sequence INT(64,true)" {
		t.Error(got)
	}
	rows := make([]parquet.Row, 3)
	reader := f.RowGroups()[0].Rows()
	defer reader.Close()
	if n, _ := reader.ReadRows(rows); n != 2 {
		t.Fatal(n)
	}
	for i, want := range []string{"[1935817689123987 1.2 true =1;2 \"x\" 1]", "[1935817690123987 <null> false a, b\nc 2]"} {
		var got []string
		for _, v := range rows[i] {
			got = append(got, v.String())
		}
		if text := "[" + strings.Join(got, " ") + "]"; text != want {
			t.Errorf("row %d: %s, want %s", i, text, want)
		}
	}
	if columns, _ := f.Lookup("columns"); !strings.Contains(columns, `"schema:unitText":"L/min"`) {
		t.Errorf("the columns are described by %q", columns)
	}
}

// TestAnotherLanguageReadsAwkwardParquet: what numbers, texts and times can be at worst,
// in several groups of rows, reads back in JavaScript as it was written.
func TestAnotherLanguageReadsAwkwardParquet(t *testing.T) {
	awkward := []struct{ integer, at, number, truth, text, wantNumber, wantText any }{
		{int64(math.MaxInt64), time.UnixMicro(-1), math.SmallestNonzeroFloat64, true, "", math.SmallestNonzeroFloat64, ""},
		{int64(math.MinInt64), time.UnixMicro(1<<53 + 1), -math.MaxFloat64, false, "\x9b2J π\r\n\x00", -math.MaxFloat64, "\uFFFD2J π\r\n\x00"},
		{nil, nil, math.NaN(), nil, nil, nil, nil},
		{int64(0), time.UnixMicro(0), math.Inf(-1), true, strings.Repeat("long", 90), nil, strings.Repeat("long", 90)},
	}
	rows := func(yield func(Row, error) bool) {
		for i := range 2*groupRows + 1 {
			a := awkward[i%len(awkward)]
			if !yield(Row{Values: []any{a.integer, a.at, nil, nil, a.number, a.truth, nil, a.text}}, nil) {
				return
			}
		}
	}
	file := filepath.Join(t.TempDir(), "awkward.parquet")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if n, err := planned(t, Form{Format: "parquet"}).Write(f, rows); err != nil || n != 2*groupRows+1 {
		t.Fatal(n, err)
	}
	p := daqtest.ReadParquet(t, file)[0]
	if p.Groups != 3 || len(p.Rows) != 2*groupRows+1 || !strings.Contains(p.Told["columns"], `"schema:unitText":"m3/s"`) {
		t.Fatalf("%d rows in %d groups, told %v", len(p.Rows), p.Groups, p.Told)
	}
	for i, want := range []string{"sequence INTEGER", "time TIMESTAMP MICROS UTC", "flow_cubic_meters_per_second DOUBLE",
		"flow_cubic_meters_per_second_uncertainty DOUBLE", "level_meters DOUBLE", "steady BOOLEAN", "tank_celsius DOUBLE", "who STRING"} {
		c := p.Columns[i]
		got := strings.TrimSpace(c.Name + " " + c.Type + " " + c.Unit)
		if c.UTC {
			got += " UTC"
		}
		if got != want || !c.Optional {
			t.Errorf("column %d is %s, want %s; optional %v", i, got, want, c.Optional)
		}
	}
	for i, got := range p.Rows {
		a := awkward[i%len(awkward)]
		want := []any{nil, nil, nil, nil, a.wantNumber, a.truth, nil, a.wantText}
		if a.integer != nil {
			want[0], want[1] = fmt.Sprint(a.integer), fmt.Sprint(a.at.(time.Time).UnixMicro())
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("row %d: %.200v, want %.200v", i, got, want)
		}
	}
}
