//go:build unix

package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// healthWithin is how soon a daemon whose engine hangs says so: two seconds
// without a step, the look at it, and a loaded machine.
const healthWithin = 4 * time.Second

// TestHungEngineIsTold hangs the engine of a test build for good: /healthz and
// presence say so, old values are not shown as new, and the program still ends
// when it is asked to.
func TestHungEngineIsTold(t *testing.T) {
	t.Parallel()
	b, at, w := newHandBench(t), daqtest.FreeAddress(t), callWitness(t)
	switchFile := filepath.Join(b.dir, "hang")
	d := startWith(t, []string{"FLOWRIGD_HANG=" + switchFile}, faulty, "run", "--config", b.config(at, mqttTable(w.url)))
	within(t, 10*time.Second, "a good state, told as up", func() bool { return allGood(now(at)) && w.up() })
	if status, body := get("http://" + at + "/healthz"); status != 200 {
		t.Errorf("/healthz of a healthy daemon: %d %s", status, body)
	}
	write(t, switchFile, "")
	within(t, healthWithin, "/healthz says 503 and why", func() bool {
		status, body := get("http://" + at + "/healthz")
		return status == 503 && strings.Contains(body, "engine: no step for") && strings.Contains(body, "restart the daemon")
	})
	within(t, 2*time.Second, "presence says up false and why", func() bool {
		h := w.last("presence")
		return h.body["up"] == false && strings.Contains(fmt.Sprint(h.body["why"]), "engine")
	})
	if status, body := get("http://" + at + "/api/now"); status != 503 {
		t.Errorf("/api/now of a hung engine: %d %s", status, body)
	}
	if status, body := get("http://" + at + "/readyz"); status != 503 || !strings.Contains(body, "engine") {
		t.Errorf("/readyz of a hung engine: %d %s", status, body)
	}
	if status, body := get("http://" + at + "/metrics"); status != 200 || strings.Contains(body, "flowrig_reynolds_number{") {
		t.Errorf("/metrics of a hung engine (%d) still has flowrig_reynolds_number", status)
	}
	d.ends(exitDone)
	says(t, "the log", d.err.String(), "engine: still busy after 2s; left behind")
}

// TestSuspendedDaemonIsTold stops the process: nobody answers at /healthz, and
// the broker says up false by the last will. It goes on when it may.
func TestSuspendedDaemonIsTold(t *testing.T) {
	t.Parallel()
	b, at, w := newHandBench(t), daqtest.FreeAddress(t), callWitness(t)
	d := start(t, program, "run", "--config", b.config(at, mqttTable(w.url)))
	within(t, 10*time.Second, "a good state, told as up", func() bool { return allGood(now(at)) && w.up() })
	d.signal(syscall.SIGSTOP)
	// MQTT 3.1.1, 3.1.2.10: the broker waits for one and a half keep-alives, and
	// then looks at its clock, some once a second only.
	within(t, 2*benchKeepAlive, "presence says up false", func() bool { return !w.up() })
	if body := w.last("presence").text; body != `{"up":false}` {
		t.Errorf("the last will is %s", body)
	}
	if status, body := get("http://" + at + "/healthz"); status != 0 {
		t.Errorf("/healthz of a suspended process: %d %s", status, body)
	}
	d.signal(syscall.SIGCONT)
	within(t, 5*time.Second, "up and good again", func() bool { return w.up() && allGood(now(at)) })
	d.ends(exitDone)
}
