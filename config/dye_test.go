package config

import (
	"os"
	"strings"
	"testing"
)

// The thread's settings, and the light's unit: "1" and "%" mean the same light.
func TestDye(t *testing.T) {
	c := load(t, "measuring")
	equal(t, "needle", c.Dye.Needle, 0.0)
	equal(t, "torn_above", c.Dye.TornAbove, 5.0)
	rig, err := os.ReadFile("../testdata/rigs/good/measuring.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := string(rig) + "\n[dye]\nneedle = \"0.8 mm\"\ntorn_above = 100\n"
	const light = "[instruments.dye_light]\nport = \"bus\"\nmodbus = {address = 9, table = \"input\", register = 0}\n"
	for unit, factor := range map[string]float64{"1": 1.0, "%": 0.01} {
		c, problems := Parse("rig.toml", []byte(text+light+"unit = \""+unit+"\"\nevery = \"200 ms\"\n"))
		if c == nil {
			t.Fatal(problems)
		}
		for _, p := range problems {
			if strings.Contains(p.Text, "dye_light") {
				t.Errorf("of a light that is read five times a second: %s", p)
			}
		}
		equal(t, "needle", c.Dye.Needle, 0.0008)
		equal(t, "torn_above", c.Dye.TornAbove, 100.0)
		equal(t, unit, c.Named("dye_light").Unit.Factor, factor)
	}
}
