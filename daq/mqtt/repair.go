package mqtt

import (
	"bytes"
	"context"
	"encoding/json"
	"maps"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// repair puts right what the broker retains of alarms, so that it is what the
// rig says of them now. A broker that crashed may have forgotten them or gone
// back to older ones, though it had acknowledged the newer (Mosquitto keeps
// them in memory and saves every half hour by default, mosquitto.conf(5)
// autosave_interval); another recording, or another daemon, may have left
// alarms that ours knows nothing of. So at each connection we look at what it
// retains, and again when somebody else has written there since. What has a
// message in the recording is sent again with its identity; a state without one
// is told without; and of an alarm that is normal and has no message nothing is
// retained. Where all is well nothing is announced anew.
type repair struct {
	s     *session
	asked paho.Token      // of the subscription; what is retained comes after its answer
	due   time.Time       // when the broker has had time to send what it retains; zero before the answer
	names map[string]bool // levels of alarms still to be put right; nil before the search
	below int64           // the search goes on downwards from here
	past  map[string]bool // those whose newest message the search has seen
	pause time.Time       // no search before this
	over  bool            // what the recording does not have is put right too

	mu       sync.Mutex
	retained map[string]retainedAlarm // by the topic's last level
	fresh    map[string]bool          // alarms published since this look began: right already
	sent     map[string][]byte        // what was last published of an alarm on this connection
	meddled  bool                     // somebody else has written to an alarm's topic since
}

// repairStep is how many messages the search reads at once.
const repairStep = 500

// retainedAlarm is what repair reads of a message; the zero value is of
// anything else.
type retainedAlarm struct {
	Recording string    `json:"recording"`
	Sequence  int64     `json:"sequence"`
	State     string    `json:"state"`
	Time      time.Time `json:"time"`
}

func newRepair(s *session) *repair {
	return &repair{s: s, retained: map[string]retainedAlarm{}, fresh: map[string]bool{}, past: map[string]bool{}, sent: map[string][]byte{}}
}

// start asks the broker for what it retains, and for what comes there later.
func (r *repair) start() { r.asked = r.s.link.client.Subscribe(r.s.prefix+"alarm/+", 0, r.saw) }

// ready says whether the broker has answered and had time to send, and the
// engine has said how the alarms are.
func (r *repair) ready() bool {
	if r.due.IsZero() {
		select {
		case <-r.asked.Done():
			r.due = time.Now().Add(r.s.pace.repair)
		default:
		}
	}
	last := r.s.state.Last()
	return !r.due.IsZero() && !time.Now().Before(r.due) && last != nil && last.Input > 0
}

// anew is a second look where somebody else has written since the first, and
// else the first. What was written is retained by then, and comes with the rest.
func (r *repair) anew() *repair {
	if !r.over || r.s.feed.busy || time.Since(r.due) < r.s.pace.again {
		return r
	}
	r.mu.Lock()
	meddled, sent := r.meddled, maps.Clone(r.sent)
	r.mu.Unlock()
	if !meddled {
		return r
	}
	next := newRepair(r.s)
	next.sent = sent
	next.start()
	return next
}

// saw takes what the broker retains, and sees what others write there. It runs
// in paho's goroutine.
func (r *repair) saw(_ paho.Client, m paho.Message) {
	topic := m.Topic()
	level := topic[strings.LastIndexByte(topic, '/')+1:]
	r.mu.Lock()
	defer r.mu.Unlock()
	if !m.Retained() { // the broker gives back what we publish, too
		body, ours := r.sent[level]
		r.meddled = r.meddled || !ours || !bytes.Equal(body, m.Payload())
		return
	}
	if len(m.Payload()) == 0 {
		return
	}
	var a retainedAlarm
	if json.Unmarshal(m.Payload(), &a) != nil {
		a = retainedAlarm{}
	}
	r.retained[level] = a
}

// touched notes what is about to be published of an alarm.
func (r *repair) touched(level string, body []byte) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.fresh[level], r.sent[level] = true, body
}

// search gives the next step of looking for the newest messages, from the
// newest downwards; nil when there is nothing to look for.
func (r *repair) search() func(context.Context, Outbox) ([]daq.Message, error) {
	alarms := r.s.queues[0]
	if !alarms.known || !r.ready() || time.Now().Before(r.pause) {
		return nil
	}
	if r.names == nil {
		r.collect()
	}
	if r.below < 0 {
		r.below = alarms.sent
	}
	r.settle()
	if len(r.names) == 0 || r.below == 0 {
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
	r.names, r.below = map[string]bool{}, -1
	for level := range r.retained {
		r.names[level] = true
	}
	for _, a := range r.s.state.Last().Alarms {
		r.names[plainLevel(a.Name)] = true
	}
}

// settle drops the alarms that are right: published on this connection, or
// retained with nothing newer above the search.
func (r *repair) settle() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for level := range r.names {
		kept := r.retained[level]
		ours := kept.Sequence > 0 && kept.Recording == r.s.state.Recording()
		if r.fresh[level] || ours && kept.Sequence > r.below && kept.State == r.now(level).State {
			delete(r.names, level)
		}
	}
}

// now is the alarm as the rig says it is.
func (r *repair) now(level string) daq.AlarmStatus {
	for _, a := range r.s.state.Last().Alarms {
		if plainLevel(a.Name) == level {
			return a
		}
	}
	return daq.AlarmStatus{State: alarm.Normal.String()}
}

// found sends again the newest message of each alarm that the broker does not
// retain. One that is not the alarm's state any more has a successor on its
// way, or none: see conclude.
func (r *repair) found(messages []daq.Message) {
	r.settle()
	for i := len(messages) - 1; i >= 0; i-- {
		m, level := messages[i], plainLevel(messages[i].Name)
		if m.Sequence > r.below || !r.names[level] || r.past[level] {
			continue
		}
		r.past[level] = true
		var is retainedAlarm
		kept := r.kept(level)
		if json.Unmarshal(m.Body, &is) != nil || is.State != r.now(level).State {
			continue
		}
		newer := kept.Sequence == 0 && kept.State == is.State && kept.Time.After(is.Time)
		if same := kept.Recording == is.Recording && kept.Sequence == is.Sequence && kept.State == is.State; !same && !newer {
			r.s.sendAlarm(&r.s.direct, flight{}, m.Name, m.Body)
		}
		delete(r.names, level)
	}
	r.below = max(0, r.below-repairStep)
}

func (r *repair) kept(level string) retainedAlarm {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.retained[level]
}

// conclude puts right, once on each connection, what the recording had no
// message for in time: a state told without the disk before this connection,
// or one that a stranger left. What is on its way has come by then.
func (r *repair) conclude() {
	if r.over || !r.ready() || !r.s.alive() || time.Since(r.due) < r.s.pace.conclude {
		return
	}
	r.over = true
	if r.names == nil {
		r.collect()
	}
	r.settle()
	for level := range r.names {
		is, kept := r.now(level), r.kept(level)
		ours := kept.Recording == "" || kept.Recording == r.s.state.Recording()
		var body []byte // none: the broker retains nothing (MQTT 3.1.1, 3.3.1-10)
		switch {
		case is.State == kept.State && ours:
			continue
		case is.State != alarm.Normal.String():
			body = daq.AppendAlarm(nil, &daq.AlarmEvent{Name: is.Name, State: is.State, Priority: is.Priority, Time: is.Since,
				Value: is.Value, Limit: is.Limit, Cause: is.Cause, Consequence: is.Consequence, Action: is.Action,
				Until: is.Until, Tripped: is.Tripped}, "", daq.Receipt{})
		}
		r.replace(level, body)
		r.s.send(&r.s.direct, flight{}, "alarm/"+level, body)
	}
}

// replace notes what will be retained, for a search that is still to come.
func (r *repair) replace(level string, body []byte) {
	var a retainedAlarm
	_ = json.Unmarshal(body, &a)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.retained[level], r.sent[level] = a, body
}

// later puts the search off after an error of the outbox.
func (r *repair) later() { r.pause = time.Now().Add(outboxPause) }
