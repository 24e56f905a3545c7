package notify

import (
	"slices"
	"sync"

	"flowrigd/daq"
)

// directLimit bounds the alarms told without the disk that wait for a receiver.
const directLimit = 256

// direct is the alarms told without the disk, oldest first.
type direct struct {
	mu   sync.Mutex
	list []*message
	wake chan struct{}
}

func newDirect() *direct { return &direct{wake: make(chan struct{}, 1)} }

// add takes one more and drops the oldest when the list is full; false when it
// did.
func (d *direct) add(m *message) bool {
	d.mu.Lock()
	d.list = append(d.list, m)
	fits := len(d.list) <= directLimit
	if !fits {
		d.list = slices.Delete(d.list, 0, 1)
	}
	d.mu.Unlock()
	select {
	case d.wake <- struct{}{}:
	default:
	}
	return fits
}

// first gives up to limit that wait.
func (d *direct) first(limit int) []*message {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.list[:min(limit, len(d.list))])
}

// remove takes out what has arrived, and what the recording has by now.
func (d *direct) remove(gone func(*message) bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.list = slices.DeleteFunc(d.list, gone)
}

func (d *direct) waiting() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.list)
}

// take makes a message of an alarm told without the disk.
func (r *receiver) take(t daq.Told) {
	if !r.wants(t.Alarm.Priority) {
		return
	}
	m, err := r.from.decode(daq.AppendAlarm(nil, t.Alarm, "", daq.Receipt{}))
	if err != nil || !r.direct.add(m) {
		r.count.dropped.Add(1)
	}
}
