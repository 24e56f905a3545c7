package record

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

var errNoRecording = errors.New("there is no recording yet: see /readyz")

// Await waits until the other daemon's lock is free, and lets this one begin anew.
// Where the disk cannot be asked the other one may still have the rig.
func (j *Journal) Await(ctx context.Context) error {
	tick := time.NewTicker(reopenEvery)
	defer tick.Stop()
	for why := j.Healthy(); why != nil; why = Free(j.o.Directory) {
		j.o.Log.Error("stands by: reads no instrument, writes no relay and tells nobody", "why", why)
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
	j.o.Log.Warn("the other flowrigd has ended: takes over with its alarms")
	j.beginAnew()
	return nil
}

// StandsBy says whether another daemon records here: that one has the rig.
func (j *Journal) StandsBy() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return errors.Is(j.why, ErrInUse)
}

// Healthy says whether the disk answers, and why not.
func (j *Journal) Healthy() error {
	rec := j.open.Load()
	if rec == nil {
		j.mu.Lock()
		defer j.mu.Unlock()
		return j.why
	}
	if ok, since, why := rec.Healthy(); !ok {
		return fmt.Errorf("recording: not written since %s: %s", daq.FormatTime(since), why)
	}
	return nil
}

// Past is what the recording knows of the time before, though nothing may be written
// there now: past its lock where it could not be opened for writing. nil for a
// directory without a database.
func (j *Journal) Past(ctx context.Context) (*Restored, error) {
	reader := (*Reader)(nil)
	if rec := j.open.Load(); rec != nil {
		reader = rec.Reader
	} else {
		dir := j.o.Directory
		_, err := os.Lstat(filepath.Join(dir, FileName))
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
			return nil, nil
		}
		if reader, err = OpenReader(dir); err != nil {
			return nil, err
		}
		defer reader.Close()
	}
	past, err := reader.Restore(ctx)
	if err != nil {
		return nil, err
	}
	return &past, nil
}

// Recording is the UUID of the database; "" without one.
func (j *Journal) Recording() string {
	if rec := j.open.Load(); rec != nil {
		return rec.Recording()
	}
	return ""
}

// Newest is the sequence of the newest row on disk.
func (j *Journal) Newest() int64 {
	if rec := j.open.Load(); rec != nil {
		return rec.Newest()
	}
	return 0
}

// Waiting is the number of steps that are not on disk yet, and what a disk that did
// not answer has cost; false without a recording.
func (j *Journal) Waiting() (steps int, dropped Drops, ok bool) {
	rec := j.open.Load()
	if rec == nil {
		return 0, Drops{}, false
	}
	return rec.Waiting(), rec.Dropped(), true
}

// AtHand gives what Pending gives, without the disk; false where the disk has to be
// asked. Without a recording there is nothing.
func (j *Journal) AtHand(class daq.Class, after int64, limit int) ([]daq.Message, bool) {
	if j.open.Load() == nil {
		return nil, true
	}
	return j.feed.AtHand(class, after, limit)
}

// Pending gives up to limit messages with a sequence above after, in order.
func (j *Journal) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if rec := j.open.Load(); rec != nil {
		return rec.Pending(ctx, class, after, limit)
	}
	return nil, nil
}

// Mark keeps what arrived at a destination.
func (j *Journal) Mark(destination string, class daq.Class, sequence int64) {
	if rec := j.open.Load(); rec != nil && !j.foreign.Load() {
		rec.Mark(destination, class, sequence)
	}
}

// Marked is what arrived at a destination.
func (j *Journal) Marked(destination string, class daq.Class) (int64, error) {
	if rec := j.open.Load(); rec != nil {
		return rec.Marked(destination, class)
	}
	return 0, errNoRecording
}

// Trend summarises a quantity over time.
func (j *Journal) Trend(ctx context.Context, id quantity.ID, from, to time.Time, buckets int) ([]daq.Bucket, error) {
	if rec := j.open.Load(); rec != nil {
		return rec.Trend(ctx, id, from, to, buckets)
	}
	return nil, errNoRecording
}

// AlarmFigures sums up the journal.
func (j *Journal) AlarmFigures(ctx context.Context, from, to time.Time) (alarm.Figures, error) {
	if rec := j.open.Load(); rec != nil {
		return rec.AlarmFigures(ctx, from, to)
	}
	return alarm.Figures{}, errNoRecording
}

// AlarmHistory is the newest transitions, the newest first.
func (j *Journal) AlarmHistory(ctx context.Context, limit int) ([]daq.Message, error) {
	if rec := j.open.Load(); rec != nil {
		return rec.AlarmHistory(ctx, limit)
	}
	return nil, errNoRecording
}

// Results is the newest events of a kind up to a sequence, the newest first.
func (j *Journal) Results(ctx context.Context, what string, last int64, limit int) ([]daq.Message, error) {
	if rec := j.open.Load(); rec != nil {
		return rec.Results(ctx, what, last, limit)
	}
	return nil, errNoRecording
}
