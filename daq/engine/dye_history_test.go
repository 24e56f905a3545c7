package engine

import (
	"math"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A reload does not forget when the valve was turned: a tube of 3 m is waited for as
// long as without it.
func TestAReloadKeepsWhatTheTubeWaitsFor(t *testing.T) {
	lpm := 0.05 * math.Pi / 4 * 0.013 * 0.013 * 60000 // 0.05 m/s: three passages are 180 s
	long := []string{"length = \"900 mm\"", "length = \"3 m\""}
	left := func(reload bool) (s float64, waits string) {
		b := benchOf(t, long...)
		b.run(250*time.Second, lpm, 20, 255)
		b.run(90*time.Second, 1.05*lpm, 20, 255)
		if reload {
			b.reloadWith(append(long, "\"north-hall\"", "\"south-hall\"")...)
		}
		b.run(time.Second, 1.05*lpm, 20, 255)
		return b.value(quantity.SettlingSeconds), b.state.WaitsFor
	}
	want, waits := left(false)
	if got, _ := left(true); got != want || want < 60 || !strings.Contains(waits, "renewed") {
		t.Errorf("%v s left after the reload, without it %v, for %q", got, want, waits)
	}
}

// After a gap tube-blocked looks again when it has seen the flow for a quarter of a
// minute, and not by its first readings.
func TestABlockageIsNotJudgedByTheFirstReadings(t *testing.T) {
	b := benchOf(t, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")
	b.run(3*time.Minute, 1.2, 20, 255)
	b.fault(quantity.Flow, daq.ReasonTimeout, "no answer")
	b.at += 3 * time.Second
	b.step(daq.Input{Kind: daq.KindTick})
	b.run(14800*time.Millisecond, 1.1, 20, 255)
	standing := func() bool {
		return len(b.state.Alarms) > 0 && b.state.Alarms[0].Name == "tube-blocked"
	}
	if standing() {
		t.Error("raised within 15 s of a gap")
	}
	if b.run(20*time.Second, 1.1, 20, 255); !standing() {
		t.Error("not raised after 35 s")
	}
}

// What tube-blocked compares with is the rig at rest: a valve that is turned down while
// the rig settles is no blockage.
func TestABlockageIsComparedWithARigAtRest(t *testing.T) {
	b := benchOf(t, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")
	b.run(30*time.Second, 1.2, 20, 255)
	b.run(4*time.Minute, 1.1, 20, 255)
	if len(b.state.Alarms) > 0 || b.value(quantity.Steady) != 1 {
		t.Errorf("steady %v, alarms %v", b.value(quantity.Steady), b.state.Alarms)
	}
	b.run(2*time.Minute, 1.0, 20, 255)
	if len(b.state.Alarms) != 1 {
		t.Error("no alarm of a blockage after that")
	}
}

// Of flow without noise a loss of 3 % is told when the mean of half a minute has moved
// by as much as counts.
func TestHowSoonABlockageIsTold(t *testing.T) {
	b := benchOf(t, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")
	b.run(3*time.Minute, 1.2, 20, 255)
	began := b.at
	for b.at < began+2*time.Minute && len(b.state.Alarms) == 0 {
		b.run(200*time.Millisecond, 0.97*1.2, 20, 255)
	}
	if took := b.at - began; took < 10*time.Second || took > 30*time.Second {
		t.Errorf("told after %v", took)
	}
}

// A note that the valve was touched begins a new comparison: less flow at the new setting
// is no blockage, and one that comes later is told. A note of another kind begins none.
func TestAValveNoteBeginsANewComparison(t *testing.T) {
	for kind, raised := range map[string]int{"valve": 0, "air": 1} {
		b := benchOf(t, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")
		b.run(3*time.Minute, 1.2, 20, 255)
		b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{Ask: &daq.NoteAsk{Kind: kind}}})
		if b.run(4*time.Minute, 1.1, 20, 255); len(b.state.Alarms) != raised {
			t.Errorf("after a note of kind %s: %v", kind, b.state.Alarms)
		}
		if b.run(2*time.Minute, 1.0, 20, 255); len(b.state.Alarms) != 1 {
			t.Errorf("after a note of kind %s a blockage is not told", kind)
		}
	}
}
