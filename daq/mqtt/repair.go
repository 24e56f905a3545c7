package mqtt

import (
	"context"
	"encoding/json"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"flowrigd/daq"
)

// repair puts right what the broker retains of alarms. A broker that crashed
// may have forgotten them or gone back to older ones, though it had
// acknowledged the newer (Mosquitto keeps them in memory and saves every half
// hour by default, mosquitto.conf(5) autosave_interval). So at each connection
// we look at what it retains and send again what is not our newest
// acknowledged message; where all is well nothing is announced anew.
type repair struct {
	s     *session
	asked paho.Token      // of the subscription; what is retained comes after its answer
	due   time.Time       // when the broker has had time to send what it retains; zero before the answer
	names map[string]bool // alarms still to be looked up; nil before the search
	below int64           // the search goes on downwards from here

	mu       sync.Mutex
	retained map[string]retainedAlarm
	fresh    map[string]bool // alarms published on this connection: right already
}

// repairStep is how many messages the search reads at once.
const repairStep = 500

// retainedAlarm is what repair reads of a message.
type retainedAlarm struct {
	Name      string `json:"name"`
	Recording string `json:"recording"`
	Sequence  int64  `json:"sequence"`
}

func newRepair(s *session) *repair {
	return &repair{s: s, retained: map[string]retainedAlarm{}, fresh: map[string]bool{}}
}

// start asks the broker for what it retains.
func (r *repair) start() { r.asked = r.s.link.client.Subscribe(r.s.prefix+"alarm/+", 0, r.saw) }

// ready says whether the broker has answered and had time to send.
func (r *repair) ready() bool {
	if r.due.IsZero() {
		select {
		case <-r.asked.Done():
			r.due = time.Now().Add(r.s.pace.repair)
		default:
		}
	}
	return !r.due.IsZero() && !time.Now().Before(r.due)
}

// saw takes what the broker retains. It runs in paho's goroutine.
func (r *repair) saw(_ paho.Client, m paho.Message) {
	var a retainedAlarm
	if !m.Retained() || json.Unmarshal(m.Payload(), &a) != nil || a.Name == "" {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.retained[a.Name] = a
}

// touched notes that an alarm is published on this connection.
func (r *repair) touched(name string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.fresh[name] = true
}

// search gives the next step of looking for the newest messages, from the
// newest downwards; nil when there is nothing to look for.
func (r *repair) search() func(context.Context, Outbox) ([]daq.Message, error) {
	alarms := r.s.queues[0]
	if !alarms.known || r.s.state.Last() == nil || !r.ready() {
		return nil
	}
	if r.names == nil {
		r.below = alarms.sent
		r.collect()
		r.s.link.client.Unsubscribe(r.s.prefix + "alarm/+")
	}
	r.settle()
	if len(r.names) == 0 || r.below <= 0 {
		return nil
	}
	after := max(0, r.below-repairStep)
	return func(ctx context.Context, o Outbox) ([]daq.Message, error) {
		return o.Pending(ctx, daq.ClassAlarm, after, repairStep)
	}
}

// collect names the alarms that the broker retains and those not normal now.
func (r *repair) collect() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.names = map[string]bool{}
	for name := range r.retained {
		r.names[name] = true
	}
	for _, a := range r.s.state.Last().Alarms {
		r.names[a.Name] = true
	}
}

// settle drops the alarms that are right: published on this connection,
// retained with nothing newer above the search, or told without the disk (their
// recorded successor is still to come).
func (r *repair) settle() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for name := range r.names {
		kept, ok := r.retained[name]
		ours := ok && kept.Recording == r.s.state.Recording()
		untold := ok && kept.Sequence == 0
		if r.fresh[name] || untold || ours && kept.Sequence > r.below {
			delete(r.names, name)
		}
	}
}

// found sends again the newest message of each alarm that the broker does not
// retain.
func (r *repair) found(messages []daq.Message) {
	r.settle()
	for i := len(messages) - 1; i >= 0; i-- {
		m := messages[i]
		if m.Sequence > r.below || !r.names[m.Name] {
			continue
		}
		delete(r.names, m.Name)
		if !r.has(m) {
			r.s.sendAlarm(&r.s.direct, flight{}, m.Name, m.Body)
		}
	}
	r.below = max(0, r.below-repairStep)
}

// has says whether the broker retains this very message.
func (r *repair) has(m daq.Message) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	kept, ok := r.retained[m.Name]
	return ok && kept.Sequence == m.Sequence && kept.Recording == r.s.state.Recording()
}

// later puts the search off after an error of the outbox.
func (r *repair) later() { r.due = time.Now().Add(outboxPause) }
