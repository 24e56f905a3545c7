package mqtt

import (
	"bytes"
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
// message in the feed is sent again with its identity; a state without one is told
// without; and of an alarm that is normal and has no message nothing is retained.
// Where all is well nothing is announced anew.
type repair struct {
	s     *session
	asked paho.Token      // of the subscription; what is retained comes after its answer
	due   time.Time       // when the broker has had time to send what it retains; zero before the answer
	names map[string]bool // levels of alarms still to be put right; nil before the first look

	mu       sync.Mutex
	retained map[string]word   // by level: what the broker sent
	sent     map[string][]byte // by level: what was last published of an alarm on this connection
	fresh    map[string]bool   // levels of those published since this look began
	meddled  bool              // somebody else has written to an alarm's topic since
}

// word is what repair reads of an alarm's message; the zero value is of none.
type word struct {
	Recording string `json:"recording"`
	Sequence  int64  `json:"sequence"`
	State     string `json:"state"`
	Time      string `json:"time"`
}

// wordOf reads a message. What cannot be read has a state that no alarm has.
func wordOf(body []byte) (w word) {
	if len(body) > 0 && (json.Unmarshal(body, &w) != nil || w.State == "") {
		return word{State: "unreadable"}
	}
	return w
}

func newRepair(s *session) *repair {
	return &repair{s: s, retained: map[string]word{}, sent: map[string][]byte{}, fresh: map[string]bool{}}
}

// start asks the broker for what it retains, and for what comes there later.
func (r *repair) start() { r.asked = r.s.link.client.Subscribe(r.s.prefix+"alarm/+", 0, r.saw) }

// saw takes what the broker retains, and sees what others write there. It runs
// in paho's goroutine.
func (r *repair) saw(_ paho.Client, m paho.Message) {
	topic := m.Topic()
	level := topic[strings.LastIndexByte(topic, '/')+1:]
	r.mu.Lock()
	defer r.mu.Unlock()
	switch body, ours := r.sent[level]; {
	case !m.Retained(): // the broker gives back what we publish, too
		r.meddled = r.meddled || !ours || !bytes.Equal(body, m.Payload())
	case len(m.Payload()) > 0:
		r.retained[level] = wordOf(m.Payload())
	}
}

// touched notes what is about to be published of an alarm.
func (r *repair) touched(level string, body []byte) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sent[level], r.fresh[level] = body, true
}

// anew is a second look where somebody else has written since the first, and
// else the first. What was written is retained by then, and comes with the rest.
func (r *repair) anew() *repair {
	if r.names == nil || time.Since(r.due) < r.s.pace.again {
		return r
	}
	next := newRepair(r.s)
	r.mu.Lock()
	meddled := r.meddled
	next.sent = maps.Clone(r.sent)
	r.mu.Unlock()
	if !meddled {
		return r
	}
	next.start()
	return next
}

// ready says whether the broker has answered and had time to send, and the
// engine says how the alarms are.
func (r *repair) ready() bool {
	if r.due.IsZero() {
		select {
		case <-r.asked.Done():
			r.due = time.Now().Add(r.s.pace.repair)
		default:
		}
	}
	last := r.s.state.Last()
	return !r.due.IsZero() && !time.Now().Before(r.due) && last != nil && last.Input > 0 && r.s.alive()
}

// look puts right what can be, until all is.
func (r *repair) look() {
	if !r.ready() {
		return
	}
	if r.names == nil {
		r.collect()
	}
	if len(r.names) == 0 {
		return
	}
	newest := map[string]daq.Message{}
	latest, known := r.s.feed.Latest()
	for name, m := range latest {
		newest[plainLevel(name)] = m
	}
	for level := range r.names {
		if r.putRight(level, newest[level]) && known && r.s.queues[0].known {
			delete(r.names, level)
		}
	}
}

// collect names the alarms that the broker retains and those not normal now.
func (r *repair) collect() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.names = map[string]bool{}
	for level := range r.retained {
		r.names[level] = true
	}
	for _, a := range r.s.state.Last().Alarms {
		r.names[plainLevel(a.Name)] = true
	}
}

// putRight sends the alarm's newest message again where the broker retains another.
// One that was not sent before comes by itself, in its order. One that is not the
// alarm's state has a successor on its way, or none: then, once that would have come,
// the state itself is told, or nothing is retained (MQTT 3.1.1, 3.3.1-10). false:
// look again.
func (r *repair) putRight(level string, m daq.Message) bool {
	is, kept, newest := r.now(level), r.kept(level), wordOf(m.Body)
	normal := is.State == alarm.Normal.String()
	ours := kept.Recording == "" || kept.Recording == r.s.state.Recording()
	switch {
	case newest.State == is.State && m.Sequence <= r.queueOf(newest).sent:
		if newest != kept {
			r.send(level, m.Body)
		}
	case time.Since(r.due) < r.s.pace.conclude:
		return false
	case is.State == kept.State && ours, normal && kept == word{}:
	case normal:
		r.send(level, nil)
	default:
		e := is.Event()
		r.send(level, daq.AppendAlarm(nil, &e, "", 0))
	}
	return true
}

// queueOf is the queue that an alarm's message comes from.
func (r *repair) queueOf(w word) *queue {
	if w.Sequence > 0 {
		return r.s.queues[0]
	}
	return r.s.queues[1]
}

func (r *repair) send(level string, body []byte) {
	r.s.direct = r.s.publishTo(r.s.direct, r.s.alarmTopic(level, body), 0, body)
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

// kept is what the broker retains.
func (r *repair) kept(level string) word {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fresh[level] {
		return wordOf(r.sent[level])
	}
	return r.retained[level]
}
