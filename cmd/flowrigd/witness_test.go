//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"net"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// witness is a subscriber that nobody here wrote, at a broker that nobody here
// wrote: what it heard has been told.
type witness struct {
	t   *testing.T
	url string
	sub *process
}

// heard is one message as the witness got it.
type heard struct {
	at    time.Time
	topic string // behind flowrig/site/rig/
	text  string
	body  map[string]any
}

// callWitness starts a broker of the test's own and listens to everything on
// it.
func callWitness(t *testing.T) *witness {
	t.Helper()
	address, dir := daqtest.FreeAddress(t), t.TempDir()
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	conf := write(t, filepath.Join(dir, "broker.conf"), fmt.Sprintf(
		"listener %s %s\nallow_anonymous true\nuser root\nmax_queued_messages 0\nlog_dest stderr\nlog_type error\n", port, host))
	start(t, need(t, "mosquitto", "mosquitto"), "-c", conf)
	ready := exec.Command(need(t, "mosquitto_pub", "mosquitto-clients"), "-h", host, "-p", port, "-r", "-t", "witness/ready", "-m", "{}")
	within(t, 10*time.Second, "the broker takes messages", func() bool {
		again := exec.Command(ready.Path, ready.Args[1:]...)
		return again.Run() == nil
	})
	w := &witness{t: t, url: "tcp://" + address}
	w.sub = start(t, need(t, "mosquitto_sub", "mosquitto-clients"), "-h", host, "-p", port, "-q", "1", "-t", "#", "-F", "%U %t %p")
	within(t, 10*time.Second, "the witness listens", func() bool { return strings.Contains(w.sub.out.String(), "witness/ready") })
	return w
}

// all gives every message so far, in the order in which they came.
func (w *witness) all() []heard {
	w.t.Helper()
	var list []heard
	text := w.sub.out.String()
	for _, line := range strings.Split(text[:strings.LastIndexByte(text, '\n')+1], "\n") {
		words := strings.SplitN(line, " ", 3)
		_, topic, ours := strings.Cut(line, " flowrig/north-hall/bench-3/")
		if len(words) != 3 || !ours {
			continue
		}
		topic, _, _ = strings.Cut(topic, " ")
		h := heard{topic: topic, text: words[2]}
		seconds, err := strconv.ParseFloat(words[0], 64)
		if err == nil {
			err = json.Unmarshal([]byte(h.text), &h.body)
		}
		if err != nil {
			w.t.Fatalf("the witness heard %q: %v", line, err)
		}
		h.at = time.UnixMicro(int64(seconds * 1e6))
		list = append(list, h)
	}
	return list
}

// find gives the first message of a topic that fits; nil while there is none.
func (w *witness) find(topic string, fits func(heard) bool) *heard {
	w.t.Helper()
	for _, h := range w.all() {
		if h.topic == topic && fits(h) {
			return &h
		}
	}
	return nil
}

// last gives the newest message of a topic; nil while there is none.
func (w *witness) last(topic string) *heard {
	w.t.Helper()
	var newest *heard
	for _, h := range w.all() {
		if h.topic == topic {
			newest = &h
		}
	}
	return newest
}

// up says what presence said last.
func (w *witness) up() bool {
	h := w.last("presence")
	return h != nil && h.body["up"] == true
}

// sequence of a recorded message; 0 when it has none.
func (h heard) sequence() int64 {
	n, _ := h.body["sequence"].(float64)
	return int64(n)
}
