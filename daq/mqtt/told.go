package mqtt

import (
	"sync"
	"time"

	"flowrigd/daq"
)

// toldLimit bounds the alarms told without the disk that wait for the broker.
const toldLimit = 256

// toldList is the alarms told without the disk: published at once, kept until
// acknowledged or until their recorded successor is known.
type toldList struct {
	mu   sync.Mutex
	list []*daq.Told
	wake chan struct{}
}

func newToldList() *toldList { return &toldList{wake: make(chan struct{}, 1)} }

// add takes one more and drops the oldest when the list is full; false when it
// did.
func (l *toldList) add(t daq.Told) bool {
	l.mu.Lock()
	l.list = append(l.list, &t)
	fits := len(l.list) <= toldLimit
	if !fits {
		l.list = l.list[1:]
	}
	l.mu.Unlock()
	select {
	case l.wake <- struct{}{}:
	default:
	}
	return fits
}

// recorded removes what the recording now has: the named alarm's transitions
// up to that time. Sent later than a recorded one, they would leave an old
// state retained.
func (l *toldList) recorded(name string, until time.Time) {
	l.remove(func(t *daq.Told) bool { return t.Alarm.Name == name && !t.Alarm.Time.After(until) })
}

// arrived removes one that the broker has acknowledged.
func (l *toldList) arrived(told *daq.Told) {
	l.remove(func(t *daq.Told) bool { return t == told })
}

func (l *toldList) remove(gone func(*daq.Told) bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	kept := make([]*daq.Told, 0, len(l.list))
	for _, t := range l.list {
		if !gone(t) {
			kept = append(kept, t)
		}
	}
	l.list = kept
}

// all gives those that wait, oldest first.
func (l *toldList) all() []*daq.Told {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]*daq.Told(nil), l.list...)
}
