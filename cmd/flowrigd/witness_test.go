//go:build unix

package main

import (
	"encoding/json"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// witness is a subscriber that nobody here wrote, at a broker that nobody here
// wrote: what it heard has been told.
type witness struct {
	t   *testing.T
	url string
	ear *daqtest.Listener
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
	m := daqtest.StartMosquitto(t, "max_queued_messages 0")
	return &witness{t: t, url: m.URL(), ear: m.Listen("#")}
}

// all gives every message so far, in the order in which they came.
func (w *witness) all() []heard {
	w.t.Helper()
	var list []heard
	for _, m := range w.ear.On("") {
		h := heard{at: m.At, topic: m.Topic, text: m.Body}
		if err := json.Unmarshal([]byte(h.text), &h.body); err != nil {
			w.t.Fatalf("the witness heard %q on %s: %v", m.Body, m.Topic, err)
		}
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
