package mqtt

import (
	"time"

	"flowrigd/daq"
)

// settle counts what has been acknowledged and moves the marks.
func (s *session) settle() {
	for _, q := range s.queues {
		before := q.acked
		n, err := q.settle()
		s.acknowledged(n, err)
		if q.acked != before && q.class != provisional {
			s.feed.Mark(s.destination, q.class, q.acked)
		}
		if q.class == daq.ClassRecord {
			s.count.recorded.Store(q.acked)
		}
	}
	done, err := s.direct.settle()
	s.acknowledged(len(done), err)
}

func (s *session) acknowledged(n int, err error) {
	s.count.acknowledged.Add(uint64(n))
	if err != nil && s.broken == nil {
		s.broken = err
	}
}

// publishNew sends what is to be sent, the most urgent class first. The next one
// waits until nothing of it is left: alarms never stand behind a backlog. Those told
// without the disk wait for nothing.
func (s *session) publishNew() {
	waits := false
	for _, q := range s.queues {
		switch {
		case q.class == provisional:
			s.publishProvisional(q)
		case !waits:
			s.publish(q)
			waits = q.behind
		}
	}
}

// publish sends what is at hand of a class, and asks the disk for what is not.
func (s *session) publish(q *queue) {
	for q.behind && s.broken == nil {
		room := q.room(time.Now())
		if room == 0 {
			return
		}
		list, ok := []daq.Message(nil), false
		if q.known {
			list, ok = s.feed.AtHand(q.class, q.sent, room)
		}
		if !ok && !s.backlog.busy {
			s.backlog.ask(question{s, q, q.known, q.sent, room})
		}
		if !ok {
			return
		}
		s.deliver(q, list, room)
	}
}

// publishProvisional sends the alarms told without the disk.
func (s *session) publishProvisional(q *queue) {
	if room := q.room(time.Now()); q.behind && room > 0 {
		list := s.feed.Provisional(q.sent)
		q.behind = len(list) > room
		for _, m := range list[:min(room, len(list))] {
			s.send(q, m)
		}
	}
}

// take publishes what the disk gave.
func (s *session) take(a answer) {
	s.backlog.busy = false
	q := a.queue
	if a.err == nil && !q.known {
		q.begin(a.after)
	}
	switch {
	case a.session != s: // asked over an earlier connection: its window is gone
	case a.err != nil:
		s.health.NoFeed(a.err)
		q.next = time.Now().Add(troublePause)
	case a.after == q.sent:
		s.deliver(q, a.messages, a.limit)
	}
}

// troublePause is how long a recording that gave an error is left alone.
const troublePause = time.Second

// deliver sends one batch of a class.
func (s *session) deliver(q *queue, list []daq.Message, limit int) {
	q.took(len(list), limit, time.Now())
	for _, m := range list {
		if s.send(q, m); s.broken != nil {
			return
		}
	}
	if q.class == daq.ClassAlarm && len(list) > 0 {
		s.repeatNewer(list)
	}
}

// repeatNewer sends once more what was told without the disk of an alarm of which
// something older has just been sent: the broker retains the last.
func (s *session) repeatNewer(older []daq.Message) {
	q := s.queues[1]
	for _, p := range s.feed.Provisional(0) {
		for _, m := range older {
			if p.Name == m.Name && p.Sequence <= q.sent {
				q.sent, q.behind = p.Sequence-1, true
				return
			}
		}
	}
}

// send publishes a message of a class.
func (s *session) send(q *queue, m daq.Message) {
	topic := string(m.Class)
	if m.Class == daq.ClassAlarm {
		topic = s.alarmTopic(m.Name, m.Body)
	}
	q.flying = s.publishTo(q.flying, topic, m.Sequence, m.Body)
	q.sent = m.Sequence
}
