//go:build unix

package main

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestReloadMovesTheTelling starts without a broker and without anybody to
// notify, and gets both by reloads: a broker, then another broker and a
// webhook, then none of them. Each broker hears of the end, the second gets
// every row without a hole, and the alarm reaches the webhook.
func TestReloadMovesTheTelling(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	first, second := callWitness(t), callWitness(t)
	var alarms atomic.Int64
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		if body, _ := io.ReadAll(r.Body); strings.Contains(string(body), "head-lost") {
			alarms.Add(1)
		}
	}))
	defer hook.Close()
	d := running(t, b.config(at, ""), at)
	taken := 0
	reload := func(more string) {
		b.config(at, more)
		d.signal(syscall.SIGHUP)
		taken++
		within(t, 5*time.Second, "the reload is taken", func() bool { return metric(at, "flowrig_config_reloads_total") == float64(taken) })
	}

	reload(mqttTable(first.url))
	within(t, 10*time.Second, "the first broker has a good state", func() bool {
		h := first.last("state")
		return first.up() && h != nil && allGood(h.body)
	})
	reload(mqttTable(second.url) + fmt.Sprintf("topic = \"flowrig\"\n\n[[notify]]\nwebhook = %q\n", hook.URL))
	within(t, 10*time.Second, "the second broker has rows, the first heard of the end", func() bool {
		return second.up() && second.last("record") != nil && !first.up()
	})
	b.set(func(b *handBench) { b.level = 200 })
	within(t, 10*time.Second, "the webhook hears of the lost head", func() bool { return alarms.Load() > 0 })
	within(t, 10*time.Second, "the second broker too", func() bool {
		return second.find("alarm/head-lost", func(h heard) bool { return h.body["state"] == "unacknowledged" }) != nil
	})
	reload("")
	within(t, 10*time.Second, "the second broker hears of the end", func() bool { return !second.up() })
	if status, body := get("http://" + at + "/readyz"); status != http.StatusOK {
		t.Errorf("/readyz: %d %s", status, body)
	}
	var n int64
	for _, h := range second.all() {
		if h.topic != "record" {
			continue
		}
		if n++; h.sequence() != n {
			t.Fatalf("row %d came where %d was due", h.sequence(), n)
		}
	}
	d.ends(exitDone)
}

// TestReloadRefusesWhatNeedsAStart changes one thing at a time that a running
// daemon cannot take up: it says which, and works on as before.
func TestReloadRefusesWhatNeedsAStart(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	file := b.config(at, "")
	d := running(t, file, at)
	right := read(t, file)
	for n, c := range []struct{ old, new, says string }{
		{`rig = "bench-3"`, `rig = "bench-4"`, "site and rig name the recording and the topics: restart the daemon"},
		{`tokens_file = "tokens"`, `tokens_file = "others"`, "[http] is taken up at a start: restart the daemon"},
		{`/record"`, `/elsewhere"`, "record.directory is taken up at a start: restart the daemon"},
		{"[http]", "[mqtt]\nbroker = \"embedded\"\n\n[http]", "the embedded broker starts and ends with the daemon: restart it"},
		{"[http]", "[trip]\nport = \"bus\"\nmodbus = {address = 9, coil = 0}\n\n[http]", "[trip] is taken up at a start: restart the daemon"},
		{"[http]", "[mqtt]\nbroker = \"tls://localhost:8883\"\nca_file = \"none.pem\"\n\n[http]", "none.pem"},
		{`drop = "1.10 m"`, `drop = "30 m"`, "tank.drop:"},
		{`drop = "1.10 m"`, `drop = "1.10 m ± 90 m"`, "the uncertainty is out of range"},
		{"[ports.bus]", "[regime]\nturbulent_above = 2000000\n\n[ports.bus]", "2000000 is no limit for a pipe"},
		{`length = "900 mm"`, "length = \"900 mm\"\nroughness = \"0.0015 mm ± 2 mm\"", "tube.roughness: ± 2 mm"},
	} {
		write(t, file, strings.Replace(right, c.old, c.new, 1))
		d.signal(syscall.SIGHUP)
		within(t, 5*time.Second, "the refusal of "+c.new, func() bool {
			return metric(at, "flowrig_config_refused_total") == float64(n+1)
		})
		within(t, 5*time.Second, "the reason of "+c.new+": "+c.says, func() bool { return strings.Contains(d.err.String(), c.says) })
	}
	if taken := metric(at, "flowrig_config_reloads_total"); taken != 0 || !allGood(now(at)) {
		t.Errorf("%v reloads taken; %v", taken, now(at)["quality"])
	}
}

// TestReloadRefusesToMoveThePermit: a port that leads to the permit's relay is not
// set up anew under a permit that was given at the old place.
func TestReloadRefusesToMoveThePermit(t *testing.T) {
	t.Parallel()
	b, at := newRelayBench(t), daqtest.FreeAddress(t)
	other := newRelayBench(t)
	file := b.config(at, relayTables)
	token := addToken(t, file, "operate", "demonstrator")
	d := start(t, program, "run", "--config", file)
	b.given(at, token)
	right := read(t, file)
	for n, c := range [][2]string{{b.bus.name, other.bus.name}, {"baud = 19200\nframing = \"8E1\"", "baud = 9600\nframing = \"8E1\""}, {`framing = "8E1"`, `framing = "8N1"`}} {
		write(t, file, strings.Replace(right, c[0], c[1], 1))
		d.signal(syscall.SIGHUP)
		within(t, 5*time.Second, "the refusal of "+c[1], func() bool { return metric(at, "flowrig_config_refused_total") == float64(n+1) })
	}
	within(t, 5*time.Second, "the reason", func() bool {
		return strings.Contains(d.err.String(), "ports.bus leads to the relay of the heating permit and is taken up at a start, all of it: restart the daemon to change it")
	})
	since := len(b.written())
	within(t, 5*time.Second, "three more refreshes of the relay", func() bool { return len(b.written()) >= since+3 })
	for _, w := range b.written()[since:] {
		if !w.on {
			t.Error("the relay was told to drop, though nothing has changed")
		}
	}
	if n := len(other.written()); n > 0 {
		t.Errorf("%d writes to the other relay", n)
	}
}

// TestRunRefusesWithPlace starts with files that the physics or the telling
// cannot take: each ends with 2 and says what is wrong.
func TestRunRefusesWithPlace(t *testing.T) {
	t.Parallel()
	b := newHandBench(t)
	file := b.config(daqtest.FreeAddress(t), "")
	right := read(t, file)
	for _, c := range []struct{ old, new, says string }{
		{`drop = "1.10 m"`, `drop = "30 m"`, `bench.toml:11:8: tank.drop: "30 m" is out of range; write a length from -20 m to 20 m`},
		{`drop = "1.10 m"`, `drop = "1.10 m ± 90 m"`, `bench.toml:11:8: tank.drop: "1.10 m ± 90 m": the uncertainty is out of range`},
		{`length = "900 mm"`, "length = \"900 mm\"\nroughness = \"0.0015 mm ± 2 mm\"", "bench.toml:8:13: tube.roughness: ± 2 mm is more than 5 % of the bore"},
		{"[ports.bus]", "[regime]\nturbulent_above = 2000000\n\n[ports.bus]", "bench.toml:14:19: regime.turbulent_above: 2000000 is no limit for a pipe"},
		{`range = ["0 L/min"`, `range = ["-1 L/min"`, "instruments.flow.range: the lower end of -1 L/min is below zero"},
		{"[http]", "[mqtt]\nbroker = \"tls://localhost:8883\"\nusername = \"x\"\npassword_file = \"none.secret\"\n\n[http]", "mqtt: password_file: open "},
		{"[http]", "[mqtt]\nbroker = \"tls://localhost:8883\"\nca_file = \"none.pem\"\n\n[http]", "mqtt: ca_file: open "},
		{"[http]", "[[notify]]\nwebhook = \"https://localhost/hook\"\ntoken_file = \"none.token\"\n\n[http]", "none.token"},
	} {
		write(t, file, strings.Replace(right, c.old, c.new, 1))
		d := start(t, program, "run", "--config", file)
		if code := d.code(20 * time.Second); code != exitUsage {
			t.Errorf("%s: it ended with %d, want %d", c.new, code, exitUsage)
		}
		says(t, c.new, d.err.String(), c.says)
	}
}

// TestReloadOfAHungFile gives the daemon a file whose reading never ends, and
// then tells it to end: it does, in time.
func TestReloadOfAHungFile(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	file := b.config(at, "")
	d := start(t, program, "run", "--config", file)
	var before float64
	within(t, 10*time.Second, "a good state and a row", func() bool {
		s := now(at)
		before = number(s, "sequence")
		return allGood(s) && before > 0
	})
	must(t, os.Remove(file))
	must(t, syscall.Mkfifo(file, 0o600))
	d.signal(syscall.SIGHUP)
	within(t, 10*time.Second, "it measures on meanwhile", func() bool {
		s := now(at)
		return allGood(s) && number(s, "sequence") > before+1
	})
	d.ends(exitDone)
}
