package record

import (
	"context"
	"slices"

	"flowrigd/daq"
)

// Wake is closed when something new was told. Take the channel before reading, so
// that nothing is missed in between.
func (f *feed) Wake() <-chan struct{} {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.wake
}

// AtHand gives what Pending gives, without the disk; false where the disk has to be
// asked.
func (f *feed) AtHand(class daq.Class, after int64, limit int) (list []daq.Message, ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if newest, known := f.newest[class]; known && after >= newest {
		return nil, true
	}
	for _, t := range f.told {
		if t.recorded && t.Class == class && t.Sequence > after && len(list) < limit {
			list = append(list, t.Message)
		}
	}
	return list, len(list) > 0 && list[0].Sequence == after+1
}

// Provisional gives the alarms told without the disk that it does not have yet, of
// those with a number above after. Their Sequence is that number: it counts in this
// process alone, and their bodies have none.
func (f *feed) Provisional(after int64) (list []daq.Message) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range f.provisional {
		if p.Sequence > after {
			list = append(list, p.Message)
		}
	}
	return list
}

// Latest gives the newest message of each alarm, recorded or not; false before the
// database could be read.
func (f *feed) Latest() (newest map[string]daq.Message, known bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	newest = make(map[string]daq.Message, len(f.latest))
	for name, p := range f.latest {
		newest[name] = p.Message
	}
	return newest, f.recording != ""
}

// Follow gives hear every event as it is told, those at hand first, in the goroutine
// of the caller, until ctx ends. What is told without the disk comes again once it
// is recorded.
func (f *feed) Follow(ctx context.Context, hear func(daq.Message)) {
	for seen, ended := int64(-1), false; ; {
		wake := f.Wake()
		list, number := f.since(seen)
		for _, t := range list {
			hear(t.Message)
		}
		if seen = number; ended {
			return
		}
		select {
		case <-ctx.Done():
			ended = true
		case <-wake:
		}
	}
}

// since gives what was told after a number, and the number of the last one; below 0
// all that is at hand.
func (f *feed) since(after int64) ([]told, int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	oldest := f.number - int64(len(f.told))
	if after >= 0 && after < oldest {
		f.missed += oldest - after
	}
	return slices.Clone(f.told[max(0, after-oldest):]), f.number
}

// idle says whether nothing waits to be told.
func (f *feed) idle() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.waiting) == 0
}

func (f *feed) newestOf(class daq.Class) int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.newest[class]
}

// FeedDrops counts what the bounds of the feed have cost.
type FeedDrops struct {
	Provisional int64 // alarms told without the disk that found no room; they are recorded later
	Followers   int64 // events that page or log were too slow for
}

// FeedDropped says what the bounds of the feed have cost.
func (f *feed) FeedDropped() FeedDrops {
	f.mu.Lock()
	defer f.mu.Unlock()
	return FeedDrops{f.dropped, f.missed}
}
