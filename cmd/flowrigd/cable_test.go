//go:build unix

package main

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// simulated starts a simulated rig and waits for its configuration.
func simulated(t *testing.T, dir string, flags ...string) *process {
	t.Helper()
	p := start(t, program, append([]string{"simulate", "--links", dir}, flags...)...)
	within(t, 10*time.Second, "rig.toml and the lines", func() bool {
		for _, name := range []string{"rig.toml", "bus", "tc", "truth.jsonl"} {
			if matches, _ := filepath.Glob(filepath.Join(dir, name)); len(matches) == 0 {
				return false
			}
		}
		return true
	})
	return p
}

// rigConfig is a rig's configuration with a page of the test's own and more
// text behind it.
func rigConfig(t *testing.T, dir, listen, more string) string {
	t.Helper()
	text := strings.Replace(read(t, filepath.Join(dir, "rig.toml")), `listen = "127.0.0.1:8080"`, `listen = "`+listen+`"`, 1)
	return write(t, filepath.Join(dir, "test.toml"), text+"\n"+more)
}

func TestSimulateAndRun(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	sim := simulated(t, dir, "--seed", "12")
	if out, _, code := call(t, program, "check", "--config", filepath.Join(dir, "rig.toml")); code != 0 {
		t.Errorf("check of rig.toml ends with %d:\n%s", code, out)
	}
	d := start(t, program, "run", "--config", rigConfig(t, dir, at, ""))
	within(t, 10*time.Second, "a good state", func() bool { s := now(at); return s != nil && allGood(s) && s["reynolds_number"] != nil })
	for range 10 {
		holdsTheTruth(t, dir, at)
	}
	d.ends(exitDone)
	sim.ends(exitDone)
}

// truthAt is the rig's true state at a time, from the file that it writes at
// least every 200 ms.
func truthAt(t *testing.T, dir string, at time.Time) map[string]any {
	t.Helper()
	var found map[string]any
	within(t, 5*time.Second, "truth of "+at.String(), func() bool {
		lines := strings.Split(strings.TrimSuffix(read(t, filepath.Join(dir, "truth.jsonl")), "\n"), "\n")
		for i := len(lines) - 1; i >= 0; i-- {
			var truth map[string]any
			if json.Unmarshal([]byte(lines[i]), &truth) != nil {
				continue // the last line may be half written
			}
			when, err := time.Parse(time.RFC3339Nano, truth["time"].(string))
			must(t, err)
			if when.Before(at) {
				return found != nil
			}
			found = truth
		}
		return false
	})
	return found
}

// holdsTheTruth takes the next state and holds every measured and derived value
// that the rig knows the truth of against it. The rig is settled, so that the
// truth of a moment later will do.
func holdsTheTruth(t *testing.T, dir, at string) {
	t.Helper()
	before := now(at)["time"]
	var s map[string]any
	within(t, 5*time.Second, "a newer state", func() bool { s = now(at); return s != nil && s["time"] != before })
	when, err := time.Parse(time.RFC3339Nano, s["time"].(string))
	must(t, err)
	truth := truthAt(t, dir, when)
	// The limits of rig.toml, with 0.5 K of the cold junction and a tenth more
	// for the noise; what follows from them has about half a percent of the flow
	// and 3 % of the viscosity (2 % a kelvin).
	u, _ := s["reynolds_number_uncertainty"].(float64)
	for name, room := range map[string]float64{
		"reynolds_number": u, "temperature_celsius": 2.15, "level_meters": 1.1e-3,
		"flow_cubic_meters_per_second":                 1.1 * (0.005*number(truth, "flow_cubic_meters_per_second") + 0.005e-3/60),
		"kinematic_viscosity_square_meters_per_second": 0.05 * number(truth, "kinematic_viscosity_square_meters_per_second"),
		"velocity_meters_per_second":                   0.02 * number(truth, "velocity_meters_per_second"),
	} {
		if got, want := number(s, name), number(truth, name); !(math.Abs(got-want) <= room) || room == 0 {
			t.Errorf("%s is %v, true %v ± %v", name, s[name], truth[name], room)
		}
	}
	if s["regime"] != truth["regime"] {
		t.Errorf("the regime is %v, true %v", s["regime"], truth["regime"])
	}
}

// number is a member of an object; not a number when there is none.
func number(object map[string]any, name string) float64 {
	if v, ok := object[name].(float64); ok {
		return v
	}
	return math.NaN()
}

func TestCablePulled(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	simulated(t, dir, "--scenario", "cable-pull")
	start(t, program, "run", "--config", rigConfig(t, dir, at, ""))
	temperature := func() string {
		quality, _ := now(at)["quality"].(map[string]any)
		word, _ := quality["temperature"].(string)
		return word
	}
	within(t, 10*time.Second, "a good state", func() bool { return temperature() == "good" })
	within(t, 20*time.Second, "the pulled thermocouple is bad", func() bool { return strings.HasPrefix(temperature(), "bad: ") })
	s := now(at)
	if s["reynolds_number"] != nil || s["regime"] != "unknown" {
		t.Errorf("Re %v, regime %v while the temperature is bad", s["reynolds_number"], s["regime"])
	}
	if _, metrics := get("http://" + at + "/metrics"); strings.Contains(metrics, "flowrig_reynolds_number{") {
		t.Error("flowrig_reynolds_number is in the metrics while the temperature is bad")
	}
	within(t, time.Second, "an alarm of the instrument", func() bool {
		_, alarms := get("http://" + at + "/api/alarms")
		return strings.Contains(alarms, "instrument-fault-temperature")
	})
	if status, body := get("http://" + at + "/readyz"); status != 503 || !strings.Contains(body, "temperature") {
		t.Errorf("/readyz says %d %s", status, body)
	}
	within(t, 15*time.Second, "good again", func() bool { return temperature() == "good" })
}
