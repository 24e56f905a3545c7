package engine

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A level sensor that weighs the water shows less of warm water: 250 mm at 65 °C under
// a setting for 20 °C are 250 mm × 998.206 / 980.552 (densities of SR6-08; Kell, J.
// Chem. Eng. Data 20 (1975) 97 has 998.2067 and 980.551). Without a temperature it is
// doubtful.
func TestALevelThatWeighsTheWater(t *testing.T) {
	text := strings.Replace(benchText, "[instruments.level]\n", "[instruments.level]\nhydrostatic_at = \"20 Cel\"\n", 1)
	e, err := New(benchConfig(t, text), nil)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, e: e}
	b.step(e.Begin())
	b.run(5*time.Second, 1.2, 65, 250)
	if got, want := b.value(quantity.Level), 0.250*998.206/980.552; math.Abs(got-want) > 2e-6 {
		t.Errorf("level %v, want %v", got, want)
	}
	b.run(5*time.Second, 1.2, 20, 250)
	if got := b.value(quantity.Level); math.Abs(got-0.250) > 1e-9 {
		t.Errorf("level %v at the setting's own temperature", got)
	}
	for range 30 { // the thermometer is silent
		b.at += 200 * time.Millisecond
		b.read(quantity.Level, 4000+250*40)
		b.step(daq.Input{Kind: daq.KindTick})
	}
	if q := b.state.Quality[quantity.Level]; q.Grade != daq.Uncertain || !strings.Contains(q.Why, "weighs the water") {
		t.Errorf("level without a temperature: %v", q)
	}
}

// A certificate that has run out is said with its day, from that day on.
func TestAnOverdueCertificateIsSaid(t *testing.T) {
	// dayOne is 2026-03-02, 9:00.
	for due, want := range map[string]bool{"305 d": true, "306 d": false} { // of 2025-05-01
		i := strings.Index(benchText, "[instruments.temperature]")
		accuracy := strings.Index(benchText[i:], "accuracy = ")
		end := strings.Index(benchText[i+accuracy:], "\n")
		text := benchText[:i+accuracy] + `calibration = {u = "0.05 K", date = "2025-05-01", due = "` + due + `"}` + benchText[i+accuracy+end:]
		e, err := New(benchConfig(t, text), nil)
		if err != nil {
			t.Fatal(err)
		}
		b := &bench{t: t, e: e}
		b.step(e.Begin())
		b.run(2*time.Second, 1.2, 42, 255)
		const sentence = "the calibration of temperature is overdue since 2026-03-02"
		if got := slices.Contains(b.state.Warnings, sentence); got != want {
			t.Errorf("due after %s: %q", due, b.state.Warnings)
		}
	}
}
