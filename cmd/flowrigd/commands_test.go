//go:build unix

package main

import (
	"database/sql"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestCommandsOverMQTT: what a program asks over the broker is recorded and told as what a
// person asks on the page, and a refusal of the engine comes back with its reason.
func TestCommandsOverMQTT(t *testing.T) {
	t.Parallel()
	b, at, w := newHandBench(t), daqtest.FreeAddress(t), callWitness(t)
	d := running(t, b.config(at, mqttTable(w.url)+"commands = true\n"), at)
	pub := daqtest.Program(t, "mosquitto_pub", "mosquitto-clients")
	_, port, _ := strings.Cut(strings.TrimPrefix(w.url, "tcp://"), ":")
	ask := func(verb, body string) {
		t.Helper()
		if out, err := exec.Command(pub, "-h", "127.0.0.1", "-p", port, "-q", "1", "-t", daqtest.Topics+"command/"+verb, "-m", body).CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_pub: %v %s", err, out)
		}
	}
	var told time.Time
	within(t, 20*time.Second, "the observation is obeyed", func() bool {
		if time.Since(told) > 2*time.Second { // before the subscription nobody hears it; one that comes again is obeyed once
			ask("observe", `{"id":"logger 7","seen":"laminar","note":"by the camera"}`)
			told = time.Now()
		}
		return w.last("reply/observe") != nil
	})
	reply := w.last("reply/observe")
	var event *heard
	within(t, 10*time.Second, "its event", func() bool {
		event = w.find("event", func(h heard) bool { return h.body["note"] == "by the camera" })
		return event != nil
	})
	if reply.body["done"] != true || reply.body["id"] != "logger 7" || reply.sequence() == 0 || reply.sequence() != event.sequence() || reply.body["time"] != event.body["time"] || event.body["who"] != "mqtt logger 7" {
		t.Errorf("reply %s, event %s", reply.text, event.text)
	}
	ask("acknowledge", `{"id":"logger 8","alarm":"no-such"}`)
	within(t, 10*time.Second, "a refusal", func() bool { return w.last("reply/acknowledge") != nil })
	if h := w.last("reply/acknowledge"); !strings.Contains(h.text, "there is no alarm of that name") || h.body["done"] != nil {
		t.Errorf("reply %s", h.text)
	}
	d.ends(exitDone)
	db, err := sql.Open("sqlite", filepath.Join(b.dir, "record", "flowrig.db"))
	must(t, err)
	defer db.Close()
	var sequence, refused int64
	must(t, db.QueryRow(`SELECT max(sequence) FROM observation WHERE who = 'mqtt logger 7' AND seen = 'laminar' HAVING count(*) = 1`).Scan(&sequence))
	must(t, db.QueryRow(`SELECT count(*) FROM note WHERE kind = 'refused' AND who = 'mqtt logger 8'`).Scan(&refused))
	if sequence != event.sequence() || refused != 1 {
		t.Errorf("the observation is row %d, told as %d; %d refusals are journalled", sequence, event.sequence(), refused)
	}
}
