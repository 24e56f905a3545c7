package config

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// An accuracy that is missing is warned of where Re's uncertainty would be unknown
// without it, and at the alarm that could never be raised.
func TestAMissingAccuracyIsSaid(t *testing.T) {
	rig, err := os.ReadFile("../testdata/rigs/good/measuring.toml")
	if err != nil {
		t.Fatal(err)
	}
	const blocked, flow = "\n[alarms.tube-blocked]\n", "accuracy = {of_reading = \"0.5 %\", fixed = \"0.005 L/min\"}\n"
	more := func(name string) string {
		return "\n[instruments." + name + "]\nport = \"bus\"\nmodbus = {address = 8, table = \"input\", register = 0, type = \"int16\"}\nscale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}\n"
	}
	stated := "accuracy = {fixed = \"0.5 K\"}\n"
	for _, c := range []struct {
		name, text, want string
		said             bool
	}{
		{"ambient", string(rig) + more("ambient"), "instruments.ambient has no accuracy", true},
		{"ambient stated", string(rig) + more("ambient") + stated, "has no accuracy", false},
		{"meter", string(rig) + more("meter"), "instruments.meter has no accuracy", true},
		{"tank, which is not in Re", string(rig) + more("tank"), "has no accuracy", false},
		{"a fall to the meter", strings.Replace(string(rig), flow, flow+"meter_fall = \"10 K\"\n", 1), "such as \"10 K ± 2 K\"", true},
		{"a fall with its ±", strings.Replace(string(rig), flow, flow+"meter_fall = \"10 K ± 2 K\"\n", 1), "meter_fall", false},
		{"blocked", strings.Replace(string(rig), flow, "", 1) + blocked, "alarms.tube-blocked is never raised", true},
		{"blocked with all", string(rig) + blocked, "tube-blocked", false},
		{"no accuracy and no such alarm", strings.Replace(string(rig), flow, "", 1), "tube-blocked", false},
	} {
		_, problems := Parse("rig.toml", []byte(c.text))
		if Fatal(problems) {
			t.Fatal(c.name, problems)
		}
		if said := slices.ContainsFunc(problems, func(p Problem) bool { return strings.Contains(p.String(), c.want) }); said != c.said {
			t.Errorf("%s: said %v in %v", c.name, said, problems)
		}
	}
}
