package record

import (
	"context"
	"slices"
	"sync"

	"flowrigd/daq"
)

// recentAlarms is how many of the newest alarms on disk are kept at hand.
const recentAlarms = 64

// recent has the newest alarms that are on disk, without a gap, so that telling
// one does not wait until it has been read back. It is no second queue: what it
// lacks is read from the database.
type recent struct {
	mu   sync.Mutex
	list []daq.Message // oldest first
}

func (c *recent) add(m daq.Message) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.list) == recentAlarms {
		c.list = slices.Delete(c.list, 0, 1)
	}
	c.list = append(c.list, m)
}

// after gives what follows a sequence; ok is false where the database has to
// be asked.
func (c *recent) after(sequence int64, limit int) (list []daq.Message, ok bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.list) == 0 || sequence+1 < c.list[0].Sequence {
		return nil, false
	}
	from := min(sequence+1-c.list[0].Sequence, int64(len(c.list)))
	list = c.list[from:]
	return slices.Clone(list[:min(limit, len(list))]), true
}

// Pending gives the next messages of a class as Reader.Pending does. New alarms
// are at hand, and so is that there is nothing new.
func (r *Recorder) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if newest, known := (*r.newest.Load())[class]; known && after >= newest {
		return nil, nil
	}
	if class == daq.ClassAlarm {
		if list, ok := r.recent.after(after, limit); ok {
			return list, nil
		}
	}
	return r.Reader.Pending(ctx, class, after, limit)
}

// remember keeps the alarms of a step that is on disk.
func (r *Recorder) remember(events []daq.Event, receipts []daq.Receipt) {
	for i, e := range events {
		if e.Alarm != nil {
			r.recent.add(r.message(e.Alarm, receipts[i].Sequence))
		}
	}
}
