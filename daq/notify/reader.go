package notify

import (
	"context"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/peer"
)

const (
	// readLimit bounds what is read from the feed at once.
	readLimit = 100
	// troublePause is how long a recording that gave an error is left alone.
	troublePause = time.Second
	// introduced is the class of a mark that only says that a receiver has been told
	// before: its mark of class alarm may be 0 for years.
	introduced daq.Class = "begun"
)

// read hands the recorded alarms to the receiver's queue, in order. It runs in
// a goroutine of its own, so that a disk that does not answer stops no alarm
// told without it.
func (r *receiver) read(ctx context.Context) {
	after := int64(-1)
	for ctx.Err() == nil {
		wake := r.feed.Wake()
		list, err := r.pending(ctx, &after)
		switch {
		case err != nil:
			r.health.NoFeed(err)
			peer.Pause(ctx, troublePause)
		case len(list) == 0:
			r.caughtUp(ctx)
			select {
			case <-ctx.Done():
			case <-wake:
			}
		default:
			select {
			case <-ctx.Done():
			case r.in <- r.decodeAll(list):
				after = list[len(list)-1].Sequence
			}
		}
	}
}

// caughtUp tells the receiver once that all of the recording has been read.
func (r *receiver) caughtUp(ctx context.Context) {
	if r.queued.known.Load() {
		return
	}
	select {
	case <-ctx.Done():
	case r.in <- nil:
	}
}

// pending reads the next alarms; below 0 it first finds where to begin.
func (r *receiver) pending(ctx context.Context, after *int64) ([]daq.Message, error) {
	if *after < 0 {
		start, err := r.begin(ctx)
		if err != nil {
			return nil, err
		}
		*after = start
	}
	return r.feed.Pending(ctx, daq.ClassAlarm, *after, readLimit)
}

// begin finds the last alarm that this receiver has or need not have: without a
// mark everything from before this program's start is history.
func (r *receiver) begin(ctx context.Context) (int64, error) {
	for _, class := range []daq.Class{daq.ClassAlarm, introduced} {
		if n, err := r.feed.Marked(r.destination, class); err != nil {
			return 0, err
		} else if n > 0 {
			return r.feed.Marked(r.destination, daq.ClassAlarm)
		}
	}
	after, err := r.history(ctx)
	if err != nil {
		return 0, err
	}
	r.feed.Mark(r.destination, daq.ClassAlarm, after)
	r.feed.Mark(r.destination, introduced, 1)
	return after, nil
}

// history gives the sequence of the last alarm from before the start.
func (r *receiver) history(ctx context.Context) (after int64, err error) {
	for {
		list, err := r.feed.Pending(ctx, daq.ClassAlarm, after, readLimit)
		if err != nil || len(list) == 0 {
			return after, err
		}
		for _, m := range list {
			if d, err := r.from.decode(m.Body); err == nil && !d.Time.Before(r.born) {
				return after, nil
			}
			after = m.Sequence
		}
	}
}

// decodeAll makes messages of what the feed gave. What cannot be read is
// passed over: its successors must not wait for it.
func (r *receiver) decodeAll(list []daq.Message) []*message {
	out := make([]*message, 0, len(list))
	for _, m := range list {
		d, err := r.from.decode(m.Body)
		if err != nil {
			r.health.NoFeed(err)
			r.count.refused.Add(1)
			d = &message{skip: true}
		}
		d.Sequence = m.Sequence
		d.skip = d.skip || !r.wants(d.Priority)
		out = append(out, d)
	}
	return out
}
