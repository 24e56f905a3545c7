package mqtt

import (
	"encoding/json"
	"time"

	"flowrigd/daq"
)

// settle counts what has been acknowledged and moves the marks.
func (s *session) settle() {
	for _, q := range s.queues {
		n, err := q.settle()
		s.acknowledged(n, err)
	}
	done, err := s.direct.settle()
	s.acknowledged(len(done), err)
	for _, f := range done {
		if f.told != nil {
			s.told.arrived(f.told)
			delete(s.flown, f.told)
		}
	}
}

func (s *session) acknowledged(n int, err error) {
	s.count.acknowledged.Add(uint64(n))
	if err != nil && s.broken == nil {
		s.broken = err
	}
}

// ask puts the most urgent question to the outbox, with the marks that have
// moved. A class is asked for only when those before it have nothing waiting:
// alarms never stand behind a backlog.
func (s *session) ask() {
	if s.feed.busy || s.broken != nil {
		return
	}
	now := time.Now()
	ask := question{session: s, marks: s.moved()}
	for _, q := range s.queues {
		if !q.behind {
			continue
		}
		if room := q.room(now); room > 0 {
			ask.queue, ask.known, ask.after, ask.limit = q, q.known, q.sent, room
		}
		break
	}
	if ask.queue == nil {
		ask.want = s.repair.search()
	}
	if ask.queue != nil || ask.want != nil || len(ask.marks) > 0 {
		s.feed.ask(ask)
	}
}

// moved collects the marks that the outbox does not know yet.
func (s *session) moved() []mark {
	var marks []mark
	for _, q := range s.queues {
		if q.acked != q.stored {
			marks = append(marks, mark{q.class, q.acked})
			q.stored = q.acked
		}
		if q.class == daq.ClassRecord {
			s.count.recorded.Store(q.acked)
		}
	}
	return marks
}

// take publishes what the outbox gave.
func (s *session) take(a answer) {
	s.feed.busy = false
	if a.queue != nil && !a.known && a.err == nil && !a.queue.known {
		a.queue.begin(a.after)
	}
	if a.session != s { // asked over an earlier connection: its window is gone
		return
	}
	switch {
	case a.err != nil:
		s.trouble(a)
	case a.want != nil:
		s.repair.found(a.messages)
	case a.queue != nil:
		s.deliver(a)
	}
}

// outboxPause is how long an outbox that gave an error is left alone.
const outboxPause = time.Second

// trouble leaves the outbox alone for a moment.
func (s *session) trouble(a answer) {
	if time.Since(s.complained) >= remind {
		s.complained = time.Now()
		s.health.log.Warn("outbox gives nothing, trying on", "error", a.err)
	}
	if a.queue == nil {
		s.repair.later()
		return
	}
	a.queue.next = time.Now().Add(outboxPause)
}

// deliver sends one batch of a class.
func (s *session) deliver(a answer) {
	q := a.queue
	q.took(len(a.messages), a.limit, time.Now())
	for _, m := range a.messages {
		f := flight{sequence: m.Sequence}
		if m.Class == daq.ClassAlarm {
			s.told.recorded(m.Name, stamp(m.Body))
			s.sendAlarm(&q.flying, f, m.Name, m.Body)
		} else {
			s.send(&q.flying, f, string(m.Class), m.Body)
		}
		if s.broken != nil {
			return
		}
		q.sent = m.Sequence
	}
}

// stamp is the time of an alarm's message; the zero time when it has none.
func stamp(body []byte) time.Time {
	var m struct {
		Time time.Time `json:"time"`
	}
	if json.Unmarshal(body, &m) != nil {
		return time.Time{}
	}
	return m.Time
}
