package mqtt

import (
	"context"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"flowrigd/daq"
)

// session is the work over one connection: a single goroutine that publishes,
// counts acknowledgements and moves the marks.
type session struct {
	*Publisher
	link   *link
	direct window          // presence, repairs
	again  window          // replies, and what is sent again
	asks   paho.Token      // of the subscription to commands; nil where none are taken, or once it was looked at
	wake   <-chan struct{} // of the feed
	polled time.Time       // when the feed was last looked at without a wake
	said   bool            // presence was said on this connection
	up     bool            // and what it said
	ending bool
	broken error
	repair *repair
}

func newSession(p *Publisher, l *link) *session {
	p.count.connections.Add(1)
	s := &session{Publisher: p, link: l, wake: p.feed.Wake(), polled: time.Now()}
	for _, q := range p.queues {
		p.count.retried.Add(uint64(q.restart()))
	}
	s.repair = newRepair(s)
	return s
}

// run works until the connection or the context ends; the error says why the
// connection is no longer any good.
func (s *session) run(ctx context.Context) error {
	every := time.NewTicker(max(s.config.Every, 10*time.Millisecond))
	defer every.Stop()
	check := time.NewTicker(s.pace.check)
	defer check.Stop()
	s.begin()
	var over <-chan time.Time
	stop := ctx.Done()
	for {
		s.settle()
		s.publishNew()
		s.reply()
		if s.broken != nil {
			return s.broken
		}
		if s.ending && s.idle() {
			return nil
		}
		select {
		case <-stop:
			stop, over = nil, time.After(s.pace.grace)
			s.end()
		case <-over:
			s.log.Info("not everything was sent before the end; the recording keeps it for the next start")
			return nil
		case err := <-s.link.lost:
			return fmt.Errorf("connection lost: %w", err)
		case a := <-s.backlog.answers:
			s.take(a)
		case <-s.wake:
			s.feedChanged()
		case <-s.queues[0].flying.oldest():
		case <-s.queues[1].flying.oldest():
		case <-s.queues[2].flying.oldest():
		case <-s.queues[3].flying.oldest():
		case <-s.direct.oldest():
		case <-s.again.oldest():
		case s.out = <-s.replies():
		case <-every.C:
			s.publishState()
		case <-check.C:
			s.check(time.Now())
		}
	}
}

// begin says what a fresh subscriber needs first.
func (s *session) begin() {
	s.presence(s.alive(), silent)
	s.publishState()
	s.repair.start()
	if s.commands != nil {
		s.asks = s.link.client.Subscribe(s.prefix+"command/+", 1, s.commands.hear)
	}
}

// repliesFlying is how many replies, and messages that are sent again, are on their way.
const repliesFlying = 32

// replies gives the next ones to send, once those of before are sent; nil, which never
// does, until then and where no commands are taken.
func (s *session) replies() <-chan []outgoing {
	if s.commands == nil || len(s.out) > 0 {
		return nil
	}
	return s.commands.replies
}

// reply sends what fits into its window, behind everything that is new.
func (s *session) reply() {
	for len(s.out) > 0 && len(s.again) < repliesFlying && s.broken == nil {
		s.again = s.publish(s.again, s.out[0].topic, 0, s.out[0].body, false)
		s.out = s.out[1:]
	}
}

// silent is why presence is down while the connection is up.
const silent = "the engine gives no fresh state: readings are old"

// presence says whether the rig is up, when that has changed.
func (s *session) presence(up bool, why string) {
	if s.said && s.up == up {
		return
	}
	s.said, s.up = true, up
	s.direct = s.publishTo(s.direct, "presence", 0, presenceBody(up, why, s.now()))
}

// publishTo publishes with QoS 1 and puts the flight into its window. All but
// records and events are retained.
func (s *session) publishTo(w window, topic string, sequence int64, body []byte) window {
	return s.publish(w, topic, sequence, body, topic != "record" && topic != "event")
}

func (s *session) publish(w window, topic string, sequence int64, body []byte, retained bool) window {
	if s.broken != nil {
		return w
	}
	token := s.link.client.Publish(s.prefix+topic, 1, retained, body)
	s.note(token)
	return append(w, flight{token, time.Now(), sequence})
}

// alarmTopic is the topic of an alarm whose message is published now.
func (s *session) alarmTopic(name string, body []byte) string {
	level := plainLevel(name)
	s.repair.touched(level, body)
	return "alarm/" + level
}

// note counts a publication, and sees a connection that takes no more before a
// whole batch runs into it.
func (s *session) note(t paho.Token) {
	s.count.published.Add(1)
	select {
	case <-t.Done():
		if err := t.Error(); err != nil {
			s.broken = fmt.Errorf("publish: %w", err)
		}
	default:
	}
}

// publishState gives the last state, unless the engine is silent: an old state
// that comes anew would look alive.
func (s *session) publishState() {
	last := s.state.Last()
	if s.ending || s.broken != nil || last == nil || !s.alive() {
		return
	}
	t := s.link.client.Publish(s.prefix+"state", 0, true, daq.AppendState(nil, last, daq.Identity{
		Site: s.site, Rig: s.rig, Recording: s.state.Recording(), Sequence: s.state.Newest()}))
	s.note(t)
	if s.broken != nil {
		s.count.dropped.Add(1)
	}
}

// feedChanged notes that the feed has something new to read.
func (s *session) feedChanged() {
	// Taken before the next reading: what comes after it wakes us again.
	s.wake, s.polled = s.feed.Wake(), time.Now()
	for _, q := range s.queues {
		q.behind = true
	}
}

// check looks at everything that happens by waiting.
func (s *session) check(now time.Time) {
	if !s.ending {
		s.presence(s.alive(), silent)
		s.repair.look()
		s.repair = s.repair.anew()
	}
	if now.Sub(s.polled) >= s.pace.poll {
		s.feedChanged()
	}
	s.checkSubscription()
	late := s.direct.overdue(now, s.pace.ack) || s.again.overdue(now, s.pace.ack)
	for _, q := range s.queues {
		late = late || q.flying.overdue(now, s.pace.ack)
	}
	if late {
		// MQTT 3.1.1 section 4.4 allows sending again only on a new connection.
		s.broken = fmt.Errorf("no acknowledgement within %s", s.pace.ack)
	}
}

// checkSubscription says once where the broker lets us hear no commands.
func (s *session) checkSubscription() {
	t, ok := s.asks.(*paho.SubscribeToken)
	if !ok {
		return
	}
	select {
	case <-t.Done():
		s.asks = nil
		for topic, granted := range t.Result() {
			if granted > 2 { // MQTT 3.1.1, 3.9.3: 0x80 is a refusal
				s.log.Error("the broker does not let this client hear commands: allow it to read there, or write mqtt.commands = false", "topic", topic)
			}
		}
	default:
	}
}

// end says that the rig is down and has what was recorded last read once more.
func (s *session) end() {
	s.ending = true
	s.presence(false, "the program was stopped")
	s.feedChanged()
}

// idle says whether nothing is on its way or to be fetched.
func (s *session) idle() bool {
	busy := s.backlog.busy || len(s.direct) > 0 || len(s.again) > 0 || len(s.out) > 0 || s.commands != nil && !s.commands.idle()
	for _, q := range s.queues {
		busy = busy || q.behind || len(q.flying) > 0
	}
	return !busy
}

// presenceBody is the JSON of presence.
func presenceBody(up bool, why string, now time.Time) []byte {
	if up {
		return fmt.Appendf(nil, `{"up":true,"time":%q}`, daq.FormatTime(now))
	}
	return fmt.Appendf(nil, `{"up":false,"time":%q,"why":%q}`, daq.FormatTime(now), why)
}
