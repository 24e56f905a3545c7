package notify

import (
	"context"
	"log/slog"
	"slices"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/peer"
)

const (
	// refusals is how often one message is refused before a later one is tried.
	refusals = 5
	// queueLimit bounds the alarms that are held here; the others wait on disk.
	queueLimit = 2 * readLimit
	// mailBatch bounds the alarms in one mail.
	mailBatch = 50
	// toldLimit bounds what a mail remembers to have told without the disk.
	toldLimit = 1000
)

// receiver is one address with what waits for it. The fields below tell are of
// its goroutine alone.
type receiver struct {
	label       string // for logs and figures
	destination string
	from        place
	priorities  []string
	feed        daq.Feed
	sender      sender
	batch       int  // alarms in one delivery
	once        bool // what was told without the disk is not told again
	pace        pace
	born        time.Time
	in          chan []*message
	log         *slog.Logger
	health      *peer.Health
	count       counters
	queued      queued

	queue       []*message
	provisional []*message      // told without the disk, which does not have them yet
	passed      int64           // number of the last one that went out, or need not
	wake        <-chan struct{} // of the feed
	free        time.Time       // when the next delivery may go
	wait        peer.Backoff
	tries       int // refusals of what is first
	told        map[string]bool
}

func newReceiver(o Options, c config.Notify, address string, s sender) *receiver {
	r := &receiver{
		label: c.Host(), destination: destination(c.Host(), address),
		from: place{o.Site, o.Rig}, priorities: c.Priorities, feed: o.Feed, log: o.Log, sender: s, batch: 1,
		pace: usualPace(), born: time.Now(), in: make(chan []*message), told: map[string]bool{},
	}
	if c.Mail != nil {
		r.label, r.batch, r.once, r.pace.spacing, r.pace.attempt = "mail "+c.Host(), mailBatch, true, gather, mailPatience
	}
	return r
}

func (r *receiver) wants(priority string) bool { return slices.Contains(r.priorities, priority) }

// tell delivers until ctx ends, and then what waits while work lasts and
// nothing fails.
func (r *receiver) tell(ctx, work context.Context) {
	for r.await(ctx) {
		batch, end := r.compose()
		if len(batch) == 0 {
			continue
		}
		err := r.attempt(work, batch)
		if err == nil {
			r.arrived(batch, end)
			continue
		}
		if ctx.Err() != nil {
			return
		}
		r.failed(work, batch, end, err)
		r.free = time.Now().Add(r.pause(err))
	}
}

// await waits until a delivery may go. It gives false when the context has
// ended and nothing waits.
func (r *receiver) await(ctx context.Context) bool {
	for {
		r.trim()
		r.refresh()
		waits := len(r.queue) > 0 || len(r.provisional) > 0
		hold := time.Until(r.free)
		switch {
		case ctx.Err() != nil:
			return waits
		case waits && hold <= 0:
			return true
		}
		r.listen(ctx, waits, hold)
	}
}

// listen takes in what comes, until something does or the time is over.
func (r *receiver) listen(ctx context.Context, waits bool, hold time.Duration) {
	in := r.in
	if len(r.queue) >= queueLimit {
		in = nil
	}
	var due <-chan time.Time
	if waits {
		t := time.NewTimer(hold)
		defer t.Stop()
		due = t.C
	}
	select {
	case <-ctx.Done():
	case <-due:
	case <-r.wake:
	case list := <-in:
		if len(list) == 0 {
			r.queued.known.Store(true)
		}
		r.queue = append(r.queue, list...)
	}
	r.showQueue()
}

// refresh takes up what is told without the disk now. What the recording has by now
// comes from there.
func (r *receiver) refresh() {
	r.wake = r.feed.Wake()
	before := r.provisional
	r.provisional = nil
	for _, p := range r.feed.Provisional(r.passed) {
		i := slices.IndexFunc(before, func(m *message) bool { return m.number == p.Sequence })
		if i >= 0 {
			r.provisional = append(r.provisional, before[i])
			continue
		}
		m, err := r.from.decode(p.Body)
		if err == nil && r.wants(m.Priority) {
			m.number = p.Sequence
			r.provisional = append(r.provisional, m)
		}
	}
	r.showQueue()
}

// trim passes over what this receiver need not have.
func (r *receiver) trim() {
	n := 0
	for n < len(r.queue) && (r.queue[n].skip || r.once && r.told[r.queue[n].key()]) {
		delete(r.told, r.queue[n].key())
		n++
	}
	r.drop(n)
}

// drop takes the first n out of the queue: they need not be sent again.
func (r *receiver) drop(n int) {
	if n == 0 {
		return
	}
	r.feed.Mark(r.destination, daq.ClassAlarm, r.queue[n-1].Sequence)
	r.queue = slices.Delete(r.queue, 0, n)
	r.showQueue()
}

// compose gives the next delivery: what the disk does not have goes first. The
// end is how far it reaches in the queue, 0 for none of it.
func (r *receiver) compose() (batch []*message, end int) {
	if len(r.provisional) > 0 {
		return r.provisional[:min(r.batch, len(r.provisional))], 0
	}
	return r.recorded(0)
}

// recorded gives the next delivery from a place in the queue.
func (r *receiver) recorded(from int) (batch []*message, end int) {
	for end = from; end < len(r.queue) && len(batch) < r.batch; end++ {
		if !r.queue[end].skip {
			batch = append(batch, r.queue[end])
		}
	}
	return batch, end
}

// attempt sends once.
func (r *receiver) attempt(work context.Context, batch []*message) error {
	ctx, cancel := context.WithTimeout(work, r.pace.attempt)
	defer cancel()
	r.count.attempts.Add(1)
	err := r.sender.send(ctx, batch)
	r.free = time.Now().Add(r.pace.spacing)
	if err != nil {
		r.count.failed.Add(1)
		r.health.Down(err)
		return err
	}
	r.count.delivered.Add(uint64(len(batch)))
	r.health.Up()
	return nil
}

// arrived forgets what has been delivered.
func (r *receiver) arrived(batch []*message, end int) {
	r.forget(batch, end)
	if end > 0 || !r.once {
		return
	}
	if len(r.told) > toldLimit {
		clear(r.told)
	}
	for _, m := range batch {
		r.told[m.key()] = true
	}
}

// forget takes a delivery from what waits: the queue up to its end, or the
// alarms told without the disk.
func (r *receiver) forget(batch []*message, end int) {
	r.wait, r.tries = peer.Backoff{}, 0
	r.drop(end)
	if end == 0 {
		r.passed = batch[len(batch)-1].number
	}
}

// failed sees to a message that is refused again and again: an alarm told
// without the disk will come from the recording, and one from there is set aside
// when a later one is accepted.
func (r *receiver) failed(work context.Context, batch []*message, end int, err error) {
	if !refused(err) {
		return
	}
	if r.tries++; r.tries < refusals {
		return
	}
	if end > 0 {
		later, last := r.recorded(end)
		if len(later) == 0 || r.attempt(work, later) != nil {
			return
		}
		end = last
	}
	r.count.refused.Add(uint64(len(batch)))
	for _, m := range batch {
		r.log.Error("alarm not told: refused again and again, look it up in the journal", "receiver", r.label, "alarm", m.Name, "state", m.State, "sequence", m.Sequence, "error", err)
	}
	r.forget(batch, end)
}
