package channel

import (
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// A light that is more than all of it, or less than none, has another unit than is
// written; an amplifier may be off by a tenth.
func TestLightIsAPart(t *testing.T) {
	in := config.Instrument{ID: quantity.DyeLight, Name: "dye_light", Unit: &config.Unit{Text: "1", Factor: 1}}
	for _, c := range []struct {
		light float64
		good  bool
	}{{-0.11, false}, {-0.09, true}, {0.62, true}, {1.09, true}, {1.11, false}, {62, false}} {
		m := takeOne(in, c.light)
		if good := m.Quality.Grade == daq.Good; good != c.good {
			t.Errorf("%v: %v", c.light, m.Quality)
		}
		if !c.good && !strings.Contains(m.Quality.Why, "check unit and scale") {
			t.Errorf("%v: %v does not say what to look at", c.light, m.Quality)
		}
	}
}
