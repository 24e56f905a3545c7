//go:build unix

package main

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestBrokerDownAtStart starts a daemon whose broker is not there: it measures
// and records, and says so.
func TestBrokerDownAtStart(t *testing.T) {
	t.Parallel()
	b, at, broker := newHandBench(t), daqtest.FreeAddress(t), daqtest.FreeAddress(t)
	d := start(t, program, "run", "--config", b.config(at, mqttTable("tcp://"+broker)))
	within(t, 10*time.Second, "a good state, recorded", func() bool { s := now(at); return allGood(s) && s["sequence"] != nil })
	within(t, 5*time.Second, "/readyz names the broker", func() bool {
		status, body := get("http://" + at + "/readyz")
		return status == 503 && strings.Contains(body, "broker") && strings.Contains(body, "connection refused")
	})
	_, body := get("http://" + at + "/readyz")
	says(t, "/readyz", body, broker, "not ready: broker", "start the broker, or correct mqtt.broker")
	d.logs("broker not connected, trying on", broker)
	d.ends(exitDone)
}

// TestRecordingNotWritable names a directory that cannot be made. The daemon
// watches and alarms all the same, says so, and records by itself as soon as
// it can, what it told meanwhile too.
func TestRecordingNotWritable(t *testing.T) {
	t.Parallel()
	b, at, w := newHandBench(t), daqtest.FreeAddress(t), callWitness(t)
	file := write(t, filepath.Join(b.dir, "disk"), "")
	d := running(t, b.configAt(b.bus.name, at, filepath.Join(file, "record"), diskTables(w.url)), at)
	if s := now(at); s["sequence"] != nil || s["recording"] != nil {
		t.Errorf("without a recording: sequence %v, recording %v", s["sequence"], s["recording"])
	}
	says(t, "/readyz", unready(t, at), "record.directory "+filepath.Join(file, "record"), "not a directory", "or name another one")
	d.logs("record.directory "+filepath.Join(file, "record"), "not a directory", "or name another one")
	b.set(func(b *handBench) { b.celsius = 80 })
	within(t, 5*time.Second, "the alarm is told, unrecorded", func() bool { return w.find("alarm/water-overheat", unrecorded) != nil })
	must(t, os.Remove(file))
	within(t, 10*time.Second, "ready by itself, and the alarm told again", func() bool {
		status, _ := get("http://" + at + "/readyz")
		return status == 200 && w.find("alarm/water-overheat", recorded) != nil && now(at)["sequence"] != nil
	})
	d.ends(exitDone)
}

// TestPagePortTaken gives the page's port to somebody else. run works on
// without the page, says so, and serves it once the port is free; demo, which
// is nothing without its page, ends.
func TestPagePortTaken(t *testing.T) {
	t.Parallel()
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	defer taken.Close()
	at := taken.Addr().String()
	const remedy = "another program has this port: stop it, or write another port as http.listen (or --listen)"
	_, stderr, code := call(t, program, "demo", "--listen", at, "--data", t.TempDir())
	if code != exitFailed {
		t.Errorf("demo ended with %d, want %d", code, exitFailed)
	}
	says(t, "demo", stderr, at, remedy)
	b, w := newHandBench(t), callWitness(t)
	d := start(t, program, "run", "--config", b.config(at, mqttTable(w.url)))
	within(t, 10*time.Second, "the state is told without a page", func() bool {
		h := w.last("state")
		return h != nil && allGood(h.body)
	})
	d.logs(at, remedy)
	must(t, taken.Close())
	within(t, 10*time.Second, "the page is served by itself", func() bool { return allGood(now(at)) })
	d.ends(exitDone)
}
