// Package notify owns the telling of alarms to people who are not at the bench:
// webhooks and e-mail.
//
//	feed → reader → queue ───────┐
//	feed, told without the disk ─┴→ receiver (pace, retry) → webhook or mail → mark back to the feed
//
// Each receiver has its own goroutines, queue and mark: one that answers slowly,
// with errors or not at all delays nobody else, and nothing here is ever waited
// for by the engine. What must arrive is read from the recording by sequence
// and counts as told when the receiver has accepted it, so it is told at least
// once, in order, through outages of receiver, network and daemon.
//
// A receiver that refuses is tried for ever. One message is set aside only when
// it has been refused refusals times and a later one is accepted: then it is the
// message and not the receiver. It is counted, logged and stays in the journal.
//
// It deliberately does not decide what an alarm is, keeps no copy of any on
// disk, and takes no commands.
package notify

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/peer"
)

// Options are what a notifier needs.
type Options struct {
	Notify []config.Notify
	Site   string
	Rig    string
	Feed   daq.Feed
	Log    *slog.Logger // nil: silent
}

// Notifier tells all receivers.
type Notifier struct {
	receivers []*receiver
	grace     time.Duration // for the end
}

// New checks the options, and reads password, token and CA files once so that a
// missing one is known at the start. A receiver that has never been told begins
// with the first alarm from now on.
func New(o Options) (*Notifier, error) {
	if o.Feed == nil {
		return nil, errors.New("notify: a feed is needed")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	n := &Notifier{grace: 2 * time.Second}
	labels := map[string]int{}
	for _, c := range o.Notify {
		for _, address := range c.Addresses() {
			s, err := newSender(c, address)
			if err != nil {
				return nil, fmt.Errorf("notify: %s: %w", c.Host(), err)
			}
			r := newReceiver(o, c, address, s)
			if labels[r.label]++; labels[r.label] > 1 {
				r.label = fmt.Sprintf("%s %d", r.label, labels[r.label])
			}
			r.health = peer.NewHealth(o.Log, said, r.label, "")
			n.receivers = append(n.receivers, r)
		}
	}
	return n, nil
}

// sender hands messages to one receiver in one go: all of them have arrived, or
// there is an error. It ends with the context.
type sender interface {
	send(ctx context.Context, batch []*message) error
}

func newSender(c config.Notify, address string) (sender, error) {
	if c.Mail != nil {
		return newMailer(c, address)
	}
	return newWebhook(c)
}

// destination is the name under which the recording keeps a receiver's mark. An
// address may be a secret, and the recording is handed out.
func destination(host, address string) string {
	sum := sha256.Sum256([]byte(address))
	return "notify " + host + " " + hex.EncodeToString(sum[:8])
}

// Run tells until the context ends, then once more what waits, within a grace
// time. A receiver that is away is not an error.
func (n *Notifier) Run(ctx context.Context) error {
	// Readers and senders outlive the context by the grace time.
	work, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	end := make(chan struct{})
	var senders, readers sync.WaitGroup
	for _, r := range n.receivers {
		readers.Go(func() { r.read(work) })
		senders.Go(func() { r.tell(ctx, work) })
	}
	go func() {
		senders.Wait()
		stop()
		readers.Wait()
		close(end)
	}()
	<-ctx.Done()
	return n.finish(stop, end)
}

// finish waits for everybody, but not for a hung disk.
func (n *Notifier) finish(stop func(), end <-chan struct{}) error {
	timer := time.NewTimer(n.grace)
	defer timer.Stop()
	select {
	case <-end:
		return nil
	case <-timer.C:
		stop()
	}
	timer.Reset(n.grace / 4)
	select {
	case <-end:
		return nil
	case <-timer.C:
		return errors.New("notify: recording: no answer at the end; the disk may be hung")
	}
}
