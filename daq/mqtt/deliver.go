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
	for _, w := range [...]*window{&s.direct, &s.again} {
		done, err := w.settle()
		s.acknowledged(len(done), err)
	}
}

func (s *session) acknowledged(n int, err error) {
	s.count.acknowledged.Add(uint64(n))
	if err != nil && s.broken == nil {
		s.broken = err
	}
}

// publishNew sends what is at hand, the most urgent class first, and asks the disk
// for what is not. The next class waits until nothing of one is left: alarms never
// stand behind a backlog. Those told without the disk wait for nothing.
func (s *session) publishNew() {
	waits := false
	for _, q := range s.queues {
		urgent := q.class == provisional
		for (urgent || !waits) && q.behind && s.broken == nil {
			room := q.room(time.Now())
			if room == 0 {
				break
			}
			list, ok := s.atHand(q, room)
			if !ok && !s.backlog.busy {
				s.backlog.ask(question{s, q, q.known, q.sent, room})
			}
			if !ok {
				break
			}
			s.deliver(q, list, room)
		}
		waits = waits || !urgent && q.behind
	}
}

// atHand gives up to room messages of a class that the feed has without the disk;
// false where the disk has to be asked.
func (s *session) atHand(q *queue, room int) ([]daq.Message, bool) {
	switch {
	case q.class == provisional:
		list := s.feed.Provisional(q.sent)
		return list[:min(room, len(list))], true
	case q.known:
		return s.feed.AtHand(q.class, q.sent, room)
	}
	return nil, false
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
		topic := string(m.Class)
		if m.Class == daq.ClassAlarm {
			topic = s.alarmTopic(m.Name, m.Body)
		}
		q.flying, q.sent = s.publishTo(q.flying, topic, m.Sequence, m.Body), m.Sequence
		if s.broken != nil {
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
