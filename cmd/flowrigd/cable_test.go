package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"
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
	dir, at := t.TempDir(), freePort(t)
	sim := simulated(t, dir)
	if out, _, code := call(t, program, "check", "--config", filepath.Join(dir, "rig.toml")); code != 0 {
		t.Errorf("check of rig.toml ends with %d:\n%s", code, out)
	}
	d := start(t, program, "run", "--config", rigConfig(t, dir, at, ""))
	within(t, 10*time.Second, "a good state", func() bool { s := now(at); return s != nil && allGood(s) && s["reynolds_number"] != nil })
	if code := d.end(); code != 0 {
		t.Errorf("run ended with %d", code)
	}
	if code := sim.end(); code != 0 {
		t.Errorf("simulate ended with %d", code)
	}
}

func TestCablePulled(t *testing.T) {
	dir, at := t.TempDir(), freePort(t)
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
