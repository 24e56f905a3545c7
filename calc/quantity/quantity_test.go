package quantity

import (
	"encoding/json"
	"math"
	"regexp"
	"strings"
	"testing"
)

// TestNames holds the rules of OpenMetrics 1.0 for a family's name: snake case,
// and the unit, where there is one, as its suffix.
func TestNames(t *testing.T) {
	snake := regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	seen := map[string]bool{}
	for id := range Count {
		r := Table[id]
		if !snake.MatchString(r.Name) || seen[r.Name] || r.Help == "" {
			t.Errorf("%d: %+v: no name in snake case, a name twice, or no help", id, r)
		}
		seen[r.Name] = true
		if r.Unit != "" && r.Name != r.Short+"_"+r.Unit {
			t.Errorf("%s is not %s and its unit %s", r.Name, r.Short, r.Unit)
		}
		if got, ok := ByName(r.Name); !ok || got != id {
			t.Errorf("ByName(%q) = %d, %v", r.Name, got, ok)
		}
		if got, ok := ByShort(r.Short); !ok || got != id {
			t.Errorf("ByShort(%q) = %d, %v", r.Short, got, ok)
		}
		if r.Required && !r.Measured {
			t.Errorf("%s is required of no instrument", r.Name)
		}
	}
	if _, ok := ByShort("velocity_meters_per_second"); ok {
		t.Error("a full name was taken for a short one")
	}
}

func TestTheZeroSetKnowsNothing(t *testing.T) {
	var s Set
	for id := range Count {
		if _, known := s.Get(id); known {
			t.Errorf("%s is known", id.Name())
		}
		want, cell := "null", ""
		if Table[id].Kind == Word {
			want, cell = `"unknown"`, "unknown"
		}
		if s.Text(id) != want || s.Cell(id) != cell {
			t.Errorf("%s: text %s, cell %q", id.Name(), s.Text(id), s.Cell(id))
		}
	}
}

func TestNothingIsNotANumber(t *testing.T) {
	var s Set
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		s.Put(Flow, 1)
		s.Put(Flow, v)
		if got, known := s.Get(Flow); known || got != 0 {
			t.Errorf("after %v: %v, %v", v, got, known)
		}
	}
}

func TestWritingAndReading(t *testing.T) {
	var s Set
	s.Put(Flow, 2.0000000000000003e-05)
	s.Put(Temperature, -12.5)
	s.Put(Reynolds, 12345678.9)
	s.Put(KinematicViscosity, 6.3e-7)
	s.PutBool(Steady, true)
	s.PutBool(SupplyOn, false)
	s.Put(Regime, float64(Transitional))
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"steady":true`, `"supply_on":false`, `"regime":"transitional"`, `"level_meters":null`, `"kinematic_viscosity_square_meters_per_second":6.3e-07`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%s is not in %s", want, text)
		}
	}
	var back Set
	if err := json.Unmarshal(text, &back); err != nil || back != s {
		t.Errorf("read back: %v\n%+v\n%+v", err, back, s)
	}
	if s.Column(Steady) != int64(1) || s.Column(Level) != nil || s.Column(Regime) != "transitional" {
		t.Errorf("columns %v, %v, %v", s.Column(Steady), s.Column(Level), s.Column(Regime))
	}
}

func TestReadingRefuses(t *testing.T) {
	for _, text := range []string{`{"regime":"wild"}`, `{"steady":1}`, `{"level_meters":"high"}`, `[]`} {
		var s Set
		if err := json.Unmarshal([]byte(text), &s); err == nil {
			t.Errorf("%s was read", text)
		}
	}
}
