package rigsim

import (
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// The water is heated from 20 to 65 °C while nobody touches the valve: Re rises
// threefold, the profile bends and the flow is torn, and none of it is a blockage. The
// laminar rig alone with -short.
func TestHeatingIsNoBlockage(t *testing.T) {
	daqtest.Counts(t)
	t.Parallel()
	for _, re := range []float64{700, 1500, 4000} {
		if testing.Short() && re > 700 {
			break
		}
		s := newSim(t, Options{Seed: 5})
		s.plant = newPlant(5, setting{20, re, 2.6}, false)
		sensors, err := newSensors(s.plant, 5, noiseShare, nil)
		must(t, err)
		s.sensors = sensors
		w := watchPlan(t, s, "\n[alarms.tube-blocked]\n")
		hottest := 0.0
		for w.now < time.Hour {
			if w.now == 5*time.Minute {
				s.plant.dial(65)
			}
			state := w.interval()
			if i := slices.IndexFunc(state.Alarms, func(a daq.AlarmStatus) bool { return a.Name == "tube-blocked" }); i >= 0 {
				c, _ := state.Values.Get(quantity.Temperature)
				now, _ := state.Values.Get(quantity.Reynolds)
				t.Errorf("begun at Re %.0f: a false alarm after %v at %.1f °C, Re %.0f: %s", re, w.now, c, now, state.Alarms[i].Cause)
				break
			}
			c, _ := state.Values.Get(quantity.Temperature)
			hottest = max(hottest, c)
		}
		t.Logf("begun at Re %.0f: up to %.1f °C after %v", re, hottest, w.now)
		if !t.Failed() && hottest < 60 {
			t.Errorf("the water became %.1f °C warm: nothing was tried", hottest)
		}
	}
}
