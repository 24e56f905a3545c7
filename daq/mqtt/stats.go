package mqtt

import (
	"sync/atomic"
	"time"

	"flowrigd/daq/peer"
)

var said = peer.Words{Kind: "broker", Up: "broker connected", Down: "broker not connected, trying on",
	NoFeed: "recording gives nothing to publish, trying on"}

// Connected says whether the broker is connected, since when it is so, and why
// not.
func (p *Publisher) Connected() (bool, time.Time, string) {
	is := p.health.Now()
	return is.Trouble == "", is.Since, is.Trouble
}

// counters count since the start of the process.
type counters struct {
	published, acknowledged, retried, dropped, connections atomic.Uint64

	recorded atomic.Int64 // the mark of class record
}

// Stats are figures for metrics, counted since the start.
type Stats struct {
	Connected    bool
	Connections  uint64 // made so far
	Published    uint64 // messages handed to the connection, all qualities of service
	Acknowledged uint64 // of those with QoS 1
	Retried      uint64 // messages sent again because no acknowledgement came
	Backlog      int64  // recorded rows that have not arrived at the broker
	Dropped      uint64 // states and replies that could not be sent
}

// Stats gives the figures of this moment.
func (p *Publisher) Stats() Stats {
	up, _, _ := p.Connected()
	return Stats{
		Connected:    up,
		Connections:  p.count.connections.Load(),
		Published:    p.count.published.Load(),
		Acknowledged: p.count.acknowledged.Load(),
		Retried:      p.count.retried.Load(),
		Backlog:      max(0, p.state.Newest()-p.count.recorded.Load()),
		Dropped:      p.count.dropped.Load(),
	}
}
