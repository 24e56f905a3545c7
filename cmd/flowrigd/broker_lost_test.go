//go:build unix

package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestBrokerLost ends a broker: the alarm is raised after its delay and not
// before, is on the page and in the recording, and is the first that the broker
// hears when it is back. Then the database is moved away, as the program itself
// advises for a damaged one: what the broker retains from the earlier recording
// is put right.
func TestBrokerLost(t *testing.T) {
	t.Parallel()
	m, b, at := daqtest.StartMosquitto(t, "persistence true"), newHandBench(t), daqtest.FreeAddress(t)
	const delay = 3 * time.Second
	config := b.config(at, mqttTable(m.URL())+"\n[alarms.broker-lost]\non_delay = \"3 s\"\nlatch = true\n")
	d := start(t, program, "run", "--config", config)
	alarms := func() string { _, body := get("http://" + at + "/api/alarms"); return body }
	stands := func() bool { return strings.Contains(alarms(), `"name":"broker-lost","state":"unacknowledged"`) }
	within(t, 15*time.Second, "connected", func() bool { return metric(at, "flowrig_mqtt_connected") == 1 })

	connected := time.Now()
	within(t, 10*time.Second, "the engine knows it, for it hears of its surroundings four times a second", func() bool {
		return allGood(now(at)) && time.Since(connected) > 4*250*time.Millisecond
	})

	m.Stop(syscall.SIGKILL)
	lost := time.Now()
	within(t, delay+10*time.Second, "broker-lost", stands)
	if took := time.Since(lost); took < delay {
		t.Errorf("it is raised after %v, before its delay of %v", took, delay)
	}
	within(t, 5*time.Second, "once in the recording", func() bool {
		return sqlRows(t, b.dir, `SELECT count(*) FROM alarm_event WHERE name = 'broker-lost' AND state = 'unacknowledged'`) == "1"
	})
	m.Start()
	heard := m.Listen("#")
	heard.AwaitNewest("alarm/broker-lost", `"state":"latched-unacknowledged"`, 30*time.Second)
	within(t, 10*time.Second, "latched", func() bool {
		return strings.Contains(alarms(), `"name":"broker-lost","state":"latched-unacknowledged"`)
	})

	d.ends(exitDone)
	must(t, os.Rename(filepath.Join(b.dir, "record", "flowrig.db"), filepath.Join(b.dir, "away.db")))
	start(t, program, "run", "--config", config)
	within(t, 20*time.Second, "nothing retained of an alarm that the rig does not have", func() bool {
		return now(at) != nil && !strings.Contains(alarms(), `"broker-lost"`) && m.Retained("alarm/broker-lost").Body == ""
	})
}
