package mqtt

import (
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"flowrigd/daq"
)

// flight is a message on its way: published and not yet acknowledged.
type flight struct {
	token    paho.Token
	at       time.Time
	sequence int64 // in its class; 0 for presence and repairs
}

// window is the messages in flight, oldest first. A broker acknowledges in
// order, MQTT 3.1.1 section 4.6, so waiting for the oldest is enough.
type window []flight

// oldest becomes ready when the oldest message is acknowledged or has failed;
// nil, which never does, when none is in flight.
func (w window) oldest() <-chan struct{} {
	if len(w) == 0 {
		return nil
	}
	return w[0].token.Done()
}

// settle takes off the acknowledged messages from the front.
func (w *window) settle() (done []flight, err error) {
	for len(*w) > 0 {
		f := (*w)[0]
		select {
		case <-f.token.Done():
		default:
			return done, nil
		}
		if err := f.token.Error(); err != nil {
			return done, fmt.Errorf("publish: %w", err)
		}
		done = append(done, f)
		*w = (*w)[1:]
	}
	return done, nil
}

// overdue says whether the oldest has waited longer than patience.
func (w window) overdue(now time.Time, patience time.Duration) bool {
	return len(w) > 0 && now.Sub(w[0].at) > patience
}

// provisional is the class of the alarms told without the disk, in the order in which
// the feed numbers them: no recording has it, and its mark is kept here alone.
const provisional daq.Class = "provisional"

// queue is how far one class has come at the broker. It outlives connections.
type queue struct {
	class   daq.Class
	limit   int           // messages in flight
	spacing time.Duration // kept on average between messages of a backlog

	known  bool  // whether the mark is known
	acked  int64 // everything up to here has arrived
	sent   int64 // the newest published on this connection
	flying window
	behind bool      // there may be more in the feed than was sent
	next   time.Time // not before this for the next question
}

// restart forgets what is in flight: it is read from the feed again. It
// gives how many messages that are.
func (q *queue) restart() int {
	_, _ = q.settle()
	n := len(q.flying)
	q.flying, q.sent, q.behind, q.next = nil, q.acked, true, time.Time{}
	return n
}

// room is how many messages may be asked for: none while the window is more
// than half full, so that questions to the disk stay few.
func (q *queue) room(now time.Time) int {
	if len(q.flying) > q.limit/2 || now.Before(q.next) {
		return 0
	}
	return q.limit - len(q.flying)
}

// begin sets the mark that the recording kept.
func (q *queue) begin(mark int64) {
	q.known, q.acked, q.sent = true, mark, mark
}

// took notes that the feed gave n of limit messages. The spacing leaves
// time for the broker to pass a backlog on: brokers drop QoS 1 messages beyond
// a subscriber's queue (Mosquitto by default beyond 1000, mosquitto.conf(5)
// max_queued_messages), though they had acknowledged them.
func (q *queue) took(n, limit int, now time.Time) {
	q.behind = n >= limit
	q.next = now.Add(time.Duration(n) * q.spacing)
}

// settle moves the mark over what has been acknowledged in order.
func (q *queue) settle() (int, error) {
	done, err := q.flying.settle()
	if len(done) > 0 {
		q.acked = max(q.acked, done[len(done)-1].sequence)
	}
	return len(done), err
}
