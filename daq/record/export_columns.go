package record

import (
	"database/sql/driver"
	"reflect"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/daq/table"
)

// columnHelp says what the columns hold that are no quantities.
var columnHelp = map[string]string{
	"sequence":           "Number of the record within its class: without gaps, never used twice.",
	"time":               "When it was.",
	"clock_synchronised": "Whether the time could be relied upon.",
	"quality":            "Each instrument: good, or uncertain or bad with the reason; a JSON object.",
	"configuration":      "SHA-256 of the configuration in force.",
	"name":               "Its name.",
	"state":              "State of the alarm by ANSI/ISA-18.2 and IEC 62682.",
	"priority":           "Priority of the alarm: high, medium or low.",
	"value":              "What the alarm has seen, in SI units or degrees Celsius.",
	"limit":              "The limit of the alarm, in SI units or degrees Celsius.",
	"cause":              "What has happened.",
	"consequence":        "What it leads to.",
	"action":             "What is to be done, or was done.",
	"who":                "Who did it; empty: the program.",
	"until":              "Until when it is shelved.",
	"tripped":            "Whether it holds the heating permit off.",
	"kind":               "The kind of note.",
	"text":               "What was written.",
	"experiment":         "The experiment that it belongs to; empty: none.",
	"point":              "The condition of the plan; empty: none.",
	"repeat":             "How many were captured at that condition before.",
	"seconds":            "How long it took.",
	"computed_regime":    "Flow regime by the Reynolds number.",
	"observed_regime":    "Flow regime by the dye.",
	"spoilt":             "Why it does not count; empty: it does.",
	"seen":               "What the dye showed.",
	"note":               "What was written beside it.",
	"sensor":             "Whether the light sensor has seen it, not a person.",
	"approach":           "From which side the flow came.",
	"contradicts":        "The time of the observation that it contradicts.",
	"verdict":            "What the collection says of the flow meter.",
	"meter_factor":       "Collected by metered flow.",
	"reason":             "Why it was struck.",
}

func sampleColumns() []table.Column {
	list := []table.Column{column("sequence", table.Integer), column("time", table.Moment), column("clock_synchronised", table.Truth)}
	for id := range quantity.Count {
		list = append(list, column(id.Name(), figureKind(id)))
	}
	return append(list, column("quality", table.Text), column("configuration", table.Text))
}

func column(name string, kind table.Kind) table.Column {
	c := table.Column{Name: name, Kind: kind, Help: columnHelp[name]}
	if id, ok := quantity.ByName(name); ok {
		c.Short, c.Help = id.Short(), quantity.Table[id].Help
	}
	return c
}

func figureKind(id quantity.ID) table.Kind {
	switch quantity.Table[id].Kind {
	case quantity.Boolean:
		return table.Truth
	case quantity.Word:
		return table.Text
	}
	return table.Number
}

func figureValue(s *quantity.Set, id quantity.ID) any {
	if v, ok := s.Column(id).(int64); ok {
		return v != 0
	}
	return s.Column(id)
}

func (k *kind) exportColumns() (list []table.Column) {
	for _, f := range k.columns()[:k.exported] {
		list = append(list, column(f.name, f.kind()))
	}
	return list
}

func (k *kind) exportValues(w *eventRow) []any {
	values := make([]any, k.exported)
	for i, f := range k.fields(w)[:k.exported] {
		values[i] = f.value()
	}
	return values
}

// value is what a field holds, as table has it.
func (f *field) value() any {
	switch v := f.at.(type) {
	case *stamp:
		if v.text() == "" {
			return nil
		}
		return *v.to
	case *figure:
		return figureValue(v.set, v.id)
	case driver.Valuer:
		x, err := v.Value()
		if err != nil {
			return nil
		}
		return x
	}
	v := reflect.ValueOf(f.at)
	for v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return nil
		}
		v = v.Elem()
	}
	switch {
	case v.CanInt():
		return v.Int()
	case v.CanFloat():
		return v.Float()
	case v.Kind() == reflect.Bool:
		return v.Bool()
	}
	return v.String()
}

// kind is that of every value of a field.
func (f *field) kind() table.Kind {
	switch v := f.at.(type) {
	case *stamp:
		return table.Moment
	case *figure:
		return figureKind(v.id)
	case *later[bool]:
		return table.Truth
	}
	t := reflect.TypeOf(f.at)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case t.Kind() == reflect.Bool:
		return table.Truth
	case strings.HasPrefix(f.sql, "INTEGER"):
		return table.Integer
	case strings.HasPrefix(f.sql, "REAL"):
		return table.Number
	}
	return table.Text
}
