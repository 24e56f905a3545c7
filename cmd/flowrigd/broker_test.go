//go:build unix

package main

import (
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

const topicRoot = daqtest.Topics

// brokerTable is a table mqtt.
func brokerTable(broker string, keepAlive time.Duration) string {
	return fmt.Sprintf("[mqtt]\nbroker = %q\nkeep_alive = \"%g s\"\n", broker, keepAlive.Seconds())
}

// A real Mosquitto holds state and presence for who comes later, and tells of a
// daemon's sudden end and of one that hangs.
func TestMosquittoTellsOfTheEnd(t *testing.T) {
	t.Parallel()
	const keepAlive = 5 * time.Second
	m := daqtest.StartMosquitto(t, "")
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	simulated(t, dir)
	config := rigConfig(t, dir, at, brokerTable(m.URL(), keepAlive))
	presence := m.Listen("presence")

	d := start(t, program, "run", "--config", config)
	presence.AwaitNewest("presence", `"up":true`, 15*time.Second)
	within(t, 15*time.Second, "good instruments", func() bool { return allGood(now(at)) })
	within(t, 10*time.Second, "a retained state with a Reynolds number", func() bool {
		return m.Retained("state").Field("reynolds_number") != nil
	})

	d.signal(syscall.SIGKILL)
	presence.AwaitNewest("presence", `"up":false`, 2*time.Second)
	<-d.done
	if s := m.Retained("state"); !s.Retained || s.Field("rig") != "bench-3" || s.Field("recording") == nil {
		t.Errorf("with the daemon gone a new subscriber gets the state %+v, want a retained one", s)
	}
	if p := m.Retained("presence"); !p.Retained || p.Field("up") != false {
		t.Errorf("with the daemon gone a new subscriber gets the presence %+v, want a retained false", p)
	}

	d = start(t, program, "run", "--config", config)
	presence.AwaitNewest("presence", `"up":true`, 15*time.Second)
	d.signal(syscall.SIGSTOP)
	stopped := time.Now()
	presence.AwaitNewest("presence", `"up":false`, 2*keepAlive)
	t.Logf("presence told of the suspended daemon after %v, keep-alive %v", time.Since(stopped).Round(10*time.Millisecond), keepAlive)
	d.signal(syscall.SIGCONT)
	presence.AwaitNewest("presence", `"up":true`, 15*time.Second)

	d.ends(exitDone)
	presence.AwaitNewest("presence", `"up":false`, 2*time.Second)
}

// A broker that is down at the start keeps nobody from watching the rig;
// /readyz says so, broker-lost is raised, and when it comes everything recorded
// meanwhile arrives, in order, and the alarm ends.
func TestBrokerComesLater(t *testing.T) {
	t.Parallel()
	m := daqtest.NewMosquitto(t, "persistence true")
	m.Remember("witness", "record")
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	simulated(t, dir)
	start(t, program, "run", "--config", rigConfig(t, dir, at, brokerTable(m.URL(), 10*time.Second)+"\n[alarms.broker-lost]\non_delay = \"2 s\"\n"))
	within(t, 15*time.Second, "a live state without a broker", func() bool { return allGood(now(at)) && now(at)["reynolds_number"] != nil })
	status, body := get("http://" + at + "/readyz")
	if status != 503 || !strings.Contains(body, `"detail":"not ready: broker"`) || !strings.Contains(body, "connection refused") {
		t.Errorf("/readyz without a broker says %d %s", status, body)
	}
	lost := func() string {
		list, _ := now(at)["alarms"].([]any)
		for _, a := range list {
			if a, _ := a.(map[string]any); a["name"] == "broker-lost" {
				return fmt.Sprint(a["state"])
			}
		}
		return ""
	}
	within(t, 15*time.Second, "broker-lost", func() bool { return lost() == "unacknowledged" })
	within(t, 15*time.Second, "three rows on disk", func() bool { n, _ := now(at)["sequence"].(float64); return n >= 3 })

	m.Start()
	rest := m.Listen("#")
	records := m.Listen("record", "-c", "-i", "witness")
	within(t, 20*time.Second, "five records", func() bool { return len(records.On("record")) >= 5 })
	for i, r := range records.On("record") {
		if r.Field("sequence") != float64(i+1) {
			t.Errorf("message %d on record has the sequence %v", i+1, r.Field("sequence"))
		}
	}
	rest.AwaitNewest("presence", `"up":true`, 5*time.Second)
	rest.AwaitNewest("state", `"reynolds_number":`, 5*time.Second)
	within(t, 5*time.Second, "/readyz says ready", func() bool { status, _ := get("http://" + at + "/readyz"); return status == 200 })
	within(t, 5*time.Second, "broker-lost is over", func() bool { return lost() == "returned-unacknowledged" })
	rest.AwaitNewest("alarm/broker-lost", `"state":"returned-unacknowledged"`, 5*time.Second)
}
