package quantity

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
)

// Set holds one value, or "unknown", for every quantity. Its zero value knows
// nothing. It is a plain value: copying it copies the numbers.
type Set struct {
	value [Count]float64
	known [Count]bool
}

// Get is the value of a quantity and whether it is known.
func (s *Set) Get(id ID) (float64, bool) { return s.value[id], s.known[id] }

// Put sets a quantity; a value that is not finite makes it unknown.
func (s *Set) Put(id ID, v float64) {
	s.known[id] = !math.IsNaN(v) && !math.IsInf(v, 0)
	s.value[id] = 0
	if s.known[id] {
		s.value[id] = v
	}
}

// PutBool sets a yes-or-no quantity.
func (s *Set) PutBool(id ID, yes bool) {
	s.Put(id, 0)
	if yes {
		s.Put(id, 1)
	}
}

// Clear makes a quantity unknown.
func (s *Set) Clear(id ID) { s.value[id], s.known[id] = 0, false }

// Band is the regime; unknown where nothing is known.
func (s *Set) Band() Band { return Band(s.value[Regime]) }

// Text writes one value as JSON writes it; unknown is "null" and an unknown
// regime the word itself.
func (s *Set) Text(id ID) string { return string(s.append(nil, id)) }

func (s *Set) append(b []byte, id ID) []byte {
	switch {
	case Table[id].Kind == Word:
		return strconv.AppendQuote(b, s.Band().String())
	case !s.known[id]:
		return append(b, "null"...)
	case Table[id].Kind == Boolean:
		return strconv.AppendBool(b, s.value[id] != 0)
	}
	format := byte('f')
	if a := math.Abs(s.value[id]); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	return strconv.AppendFloat(b, s.value[id], format, -1, 64) // the shortest that reads back the same
}

// Cell is the value for a CSV cell: empty when unknown.
func (s *Set) Cell(id ID) string {
	if Table[id].Kind == Word {
		return s.Band().String()
	}
	if !s.known[id] {
		return ""
	}
	return s.Text(id)
}

// Column is the value for a database column: nil, float64, int64 (0 or 1) or
// string.
func (s *Set) Column(id ID) any {
	switch {
	case Table[id].Kind == Word:
		return s.Band().String()
	case !s.known[id]:
		return nil
	case Table[id].Kind == Boolean:
		return int64(s.value[id])
	}
	return s.value[id]
}

// AppendFields appends `"name":value` pairs for every quantity, in the order
// of Table, separated by commas and without braces.
func (s *Set) AppendFields(b []byte) []byte {
	for id := range Count {
		if id > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendQuote(b, Table[id].Name)
		b = append(b, ':')
		b = s.append(b, id)
	}
	return b
}

// MarshalJSON writes an object with every name of Table.
func (s Set) MarshalJSON() ([]byte, error) {
	return append(s.AppendFields([]byte{'{'}), '}'), nil
}

// UnmarshalJSON reads what MarshalJSON writes; names that are not in Table are
// passed over, so that a wider object may be read.
func (s *Set) UnmarshalJSON(data []byte) error {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(data, &fields); err != nil {
		return err
	}
	*s = Set{}
	for id := range Count {
		if raw, ok := fields[Table[id].Name]; ok {
			if err := s.read(id, raw); err != nil {
				return fmt.Errorf("%s: %w", Table[id].Name, err)
			}
		}
	}
	return nil
}

func (s *Set) read(id ID, raw json.RawMessage) error {
	if string(raw) == "null" {
		return nil
	}
	switch Table[id].Kind {
	case Word:
		return s.readBand(id, raw)
	case Boolean:
		var yes bool
		if err := json.Unmarshal(raw, &yes); err != nil {
			return err
		}
		s.PutBool(id, yes)
		return nil
	}
	var v float64
	if err := json.Unmarshal(raw, &v); err != nil {
		return err
	}
	s.Put(id, v)
	return nil
}

func (s *Set) readBand(id ID, raw json.RawMessage) error {
	var word string
	if err := json.Unmarshal(raw, &word); err != nil {
		return err
	}
	b, ok := ParseBand(word)
	if !ok {
		return fmt.Errorf("%q is not a regime", word)
	}
	s.Put(id, float64(b))
	return nil
}
