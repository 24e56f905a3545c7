package hold

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"flowrigd/daq"
)

// A write that failed is tried again after retryEvery; one that has not come
// back for hangLimit counts as failed.
const (
	retryEvery = 2 * time.Second
	hangLimit  = time.Second
)

// Keeper keeps the file up to date while the daemon runs: the newest state wins.
// Every method but Close returns at once.
type Keeper struct {
	path string
	log  *slog.Logger
	put  func(string, Memory) error // write; a test's own disk
	wake chan struct{}              // holds one token when there is something to write

	mu        sync.Mutex
	recording string
	newest    int64
	entries   map[string]Entry
	changed   int       // counts the changes
	written   int       // the change that is in the file
	inFile    []Entry   // what it says
	busy      time.Time // since when a write is under way; zero when none is
	failing   time.Time // since when writes fail
	why       error
	failed    int64 // writes
}

// NewKeeper makes a keeper of a file that begins with what the start found: the
// recording's UUID and newest alarm, and the alarms. Nothing is written before
// Run.
func NewKeeper(path string, log *slog.Logger, recording string, newest int64, alarms []daq.SavedAlarm) *Keeper {
	k := &Keeper{path: path, log: log, put: write, wake: make(chan struct{}, 1), recording: recording, newest: newest, entries: map[string]Entry{}}
	for _, s := range alarms {
		if s.Tripped {
			k.entries[s.Name] = Entry{SavedAlarm: s, After: newest}
		}
	}
	k.touch()
	return k
}

// touch says that there is something to write. The lock is held, or nobody else
// knows of the keeper yet.
func (k *Keeper) touch() {
	k.changed++
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

// Recording is the recording that is written from now on.
func (k *Keeper) Recording(uuid string, newest int64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if uuid == k.recording {
		return
	}
	k.recording, k.newest = uuid, newest
	for name, e := range k.entries {
		e.Sequence, e.After = 0, newest
		k.entries[name] = e
	}
	k.touch()
}

// Observe takes the events of a step.
func (k *Keeper) Observe(events []daq.Event) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, e := range events {
		if e.Alarm == nil {
			continue
		}
		if _, kept := k.entries[e.Alarm.Name]; kept || e.Alarm.Tripped {
			k.entries[e.Alarm.Name] = Entry{SavedAlarm: e.Alarm.Saved(), After: k.newest}
			k.touch()
		}
	}
}

// Journalled takes up which sequences the events have in the recording. An alarm that
// holds nothing any more is known from there.
func (k *Keeper) Journalled(events []daq.Event, sequences []int64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for i, sequence := range sequences {
		if events[i].Alarm == nil || sequence == 0 {
			continue
		}
		k.newest = max(k.newest, sequence)
		a := events[i].Alarm
		e, kept := k.entries[a.Name]
		if !kept || !e.Since.Equal(a.Time) || e.State != a.State || e.Tripped != a.Tripped {
			continue
		}
		e.Sequence = sequence
		k.entries[a.Name] = e
		if !e.Tripped {
			delete(k.entries, a.Name)
		}
		k.touch()
	}
}

// memory is what the file shall say, and which change that is.
func (k *Keeper) memory() (Memory, int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	m := Memory{Recording: k.recording, Newest: k.newest, Written: time.Now().UTC(), Alarms: []Entry{}}
	for _, name := range slices.Sorted(maps.Keys(k.entries)) {
		m.Alarms = append(m.Alarms, k.entries[name])
	}
	return m, k.changed
}

// Run writes until the context ends, and then what is left.
func (k *Keeper) Run(ctx context.Context) error {
	again := time.NewTimer(0)
	defer again.Stop()
	for {
		select {
		case <-ctx.Done():
			return k.save()
		case <-k.wake:
		case <-again.C:
		}
		if k.save() != nil {
			again.Reset(retryEvery)
		}
	}
}

// save writes the newest state where it is not in the file.
func (k *Keeper) save() error {
	m, change := k.memory()
	if !k.begin(change) {
		return nil
	}
	err := k.put(k.path, m)
	k.end(change, m.Alarms, err)
	return err
}

func (k *Keeper) begin(change int) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	if change == k.written {
		return false
	}
	k.busy = time.Now()
	return true
}

func (k *Keeper) end(change int, alarms []Entry, err error) {
	said := k.settle(change, alarms, err)
	switch {
	case err == nil && said != nil:
		k.log.Info("permit file: works again")
	case err != nil && (said == nil || said.Error() != err.Error()):
		k.log.Error("permit file: what holds the heating permit is not kept outside the recording", "why", err)
	}
}

// settle takes up what came of a write, and gives what came of the one before.
func (k *Keeper) settle(change int, alarms []Entry, err error) (before error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	began := k.busy
	before, k.why, k.busy = k.why, err, time.Time{}
	if err == nil {
		k.written, k.inFile, k.failing = change, alarms, time.Time{}
		return before
	}
	k.failed++
	if before == nil {
		k.failing = began
	}
	return before
}

var errUnanswered = errors.New("the disk does not answer")

// Failed counts the writes that failed.
func (k *Keeper) Failed() int64 {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.failed
}

// Healthy is nil while the file is written.
func (k *Keeper) Healthy() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	now := time.Now()
	switch {
	case k.why != nil:
		return fmt.Errorf("not written since %s: %w", daq.FormatTime(k.failing), k.why)
	case !k.busy.IsZero() && now.Sub(k.busy) >= hangLimit:
		return fmt.Errorf("the disk of %s has not answered for %.0f s; look at the system's log, and at the disk's health", k.path, now.Sub(k.busy).Seconds())
	}
	return nil
}

// Kept says whether a restart would know of every trip: nil, or which trip is
// neither in the file nor in the recording.
func (k *Keeper) Kept() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, name := range slices.Sorted(maps.Keys(k.entries)) {
		inFile := slices.ContainsFunc(k.inFile, func(e Entry) bool { return e.Name == name && e.Tripped })
		if e := k.entries[name]; e.Tripped && e.Sequence == 0 && !inFile {
			return fmt.Errorf("the trip of %s is kept nowhere, neither in the recording nor in the permit file: after a restart nothing holds the heating permit: %w", name, cmp.Or(k.why, errUnanswered))
		}
	}
	return nil
}
