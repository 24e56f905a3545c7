package notify

import (
	"sync/atomic"
	"time"

	"flowrigd/daq/peer"
)

var said = peer.Words{Kind: "receiver", Up: "receiver of alarms takes them again", Down: "receiver of alarms is not told, trying on",
	NoFeed: "recording gives no alarms, trying on"}

// counters count since the start of the process.
type counters struct {
	attempts, failed, delivered, refused atomic.Uint64

	waiting atomic.Int64
}

// Stats are figures of one receiver, counted since the start.
type Stats struct {
	Receiver  string // host of a webhook, or mail and its server; unique
	Attempts  uint64 // deliveries tried
	Failed    uint64 // of those
	Delivered uint64 // alarm messages that have arrived
	Refused   uint64 // alarm messages set aside
	Waiting   int    // alarm messages known and not delivered
	Trouble   string // why it is not told; "" while it is
	Since     time.Time
}

// Stats gives the figures of this moment, one row for each receiver.
func (n *Notifier) Stats() []Stats {
	list := make([]Stats, len(n.receivers))
	for i, r := range n.receivers {
		is := r.health.Now()
		list[i] = Stats{
			Receiver: r.label, Trouble: is.Trouble, Since: is.Since,
			Attempts: r.count.attempts.Load(), Failed: r.count.failed.Load(),
			Delivered: r.count.delivered.Load(), Refused: r.count.refused.Load(),
			Waiting: int(r.count.waiting.Load()),
		}
	}
	return list
}
