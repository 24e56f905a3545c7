// Package mqtt owns the conversation with the broker (MQTT 3.1.1): the retained
// state and presence, and the delivery of every recorded record, alarm and
// event at least once. It is the only import of paho.
//
//	feed and last State → session (one connection, windows in flight) → broker → marks back to the feed
//
// What must arrive is read from the feed by sequence; nothing is stored
// here a second time. Each connection starts with a clean session and sends
// again whatever was not acknowledged: with the feed behind it a session kept
// by the broker would only be a second memory that can disagree. For the same
// reason reconnection is a loop of this package, a fresh paho client for each
// connection, and not paho's own, which keeps messages of its own meanwhile.
//
// Where the configuration says so it takes commands, and gives them to the engine as
// the page does.
//
// It deliberately does not decide what is recorded, and does not judge the rig.
package mqtt

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/peer"
)

// Feed is daq's, with what is known without the disk.
type Feed interface {
	daq.Feed
	// AtHand gives what Pending does without the disk; false where that has to be asked.
	AtHand(class daq.Class, after int64, limit int) ([]daq.Message, bool)
	// Latest gives the newest message of each alarm; false before the recording
	// could be read.
	Latest() (map[string]daq.Message, bool)
}

// Rig is what the engine and the recording say of themselves. No method may
// wait.
type Rig interface {
	Last() *daq.State  // nil before the first
	Recording() string // the UUID of the database; "" without one
	Newest() int64     // sequence of the newest recorded row
}

// Options are what a publisher needs.
type Options struct {
	Config config.MQTT // Broker is a URL; where Embedded is set, the URL of the started broker
	Site   string
	Rig    string
	Feed   Feed
	State  Rig
	Alive  func() bool  // whether the engine still gives states; must not wait
	Log    *slog.Logger // nil: silent
	// Do has the engine obey a command, and gives the message of what was made; only
	// asked where the configuration allows commands.
	Do   func(context.Context, daq.Command) (made []byte, err error)
	Past *Past            // of the publishers before; nil: there was none
	Now  func() time.Time // the rig's wall time; nil: the machine's
}

// Publisher speaks to one broker for one rig.
type Publisher struct {
	config      config.MQTT
	site, rig   string
	prefix      string // of every topic, with a slash at the end
	destination string // the name under which the recording keeps our marks
	target      *target
	feed        Feed
	state       Rig
	now         func() time.Time
	alive       func() bool
	pace        pace
	log         *slog.Logger
	health      *peer.Health
	count       counters
	backlog     *backlog
	queues      []*queue   // in the order of their priority
	commands    *commands  // nil where none are taken
	out         []outgoing // replies, and what is sent again; of the session's goroutine
}

// pace holds the times of a conversation.
type pace struct {
	connect  time.Duration // for dialling and the handshake
	write    time.Duration // for one write to the socket
	ack      time.Duration // for an acknowledgement while connected
	check    time.Duration // between looks at presence and deadlines
	poll     time.Duration // between looks at the feed without a wake
	grace    time.Duration // for the end
	repair   time.Duration // for the broker to send what it retains
	conclude time.Duration // after that, for the feed to give what belongs there
	again    time.Duration // from one look at what it retains to the next, at least
	shortest time.Duration // first wait before another connection
	longest  time.Duration
}

func usualPace() pace {
	return pace{
		connect: 5 * time.Second, write: 2 * time.Second, ack: 10 * time.Second,
		check: 100 * time.Millisecond, poll: 5 * time.Second, grace: 2 * time.Second,
		repair: time.Second, conclude: 2 * time.Second, again: 5 * time.Second, shortest: 250 * time.Millisecond, longest: 10 * time.Second,
	}
}

// New checks the options, and reads the password and CA files once so that a
// missing one is known at the start.
func New(o Options) (*Publisher, error) {
	if o.Feed == nil || o.State == nil || o.Alive == nil {
		return nil, errors.New("mqtt: a feed, a state and a sign of life are needed")
	}
	for _, level := range append(strings.Split(o.Config.Topic, "/"), o.Site, o.Rig) {
		if level == "" || level != plainLevel(level) {
			return nil, fmt.Errorf("mqtt: topic level %q: must be text without / + # and control characters; change mqtt.topic, site or rig", level)
		}
	}
	t, err := newTarget(o.Config, "flowrigd-"+o.Site+"-"+o.Rig)
	if err != nil {
		return nil, fmt.Errorf("mqtt: %w", err)
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	p := &Publisher{
		config: o.Config, site: o.Site, rig: o.Rig, target: t,
		prefix:      o.Config.Topic + "/" + o.Site + "/" + o.Rig + "/",
		destination: t.name(o.Config.Embedded),
		feed:        o.Feed, state: o.State, now: o.Now, alive: o.Alive,
		pace: usualPace(), log: o.Log, health: peer.NewHealth(o.Log, said, t.address, "not connected yet"),
	}
	p.backlog = newBacklog(o.Feed, p.destination)
	if o.Config.Commands {
		if o.Do == nil {
			return nil, errors.New("mqtt: commands need an engine that obeys them")
		}
		p.commands = newCommands(p, o.Do, cmp.Or(o.Past, &Past{}))
	}
	p.queues = []*queue{
		{class: daq.ClassAlarm, limit: 32},
		{class: provisional, limit: 32, known: true},
		{class: daq.ClassEvent, limit: 32},
		{class: daq.ClassRecord, limit: 100, spacing: time.Millisecond},
	}
	return p, nil
}

// plainLevel replaces what a topic level may not hold, MQTT 3.1.1 sections 4.7.1
// and 1.5.3: a broker closes the connection on it, and would again at each
// redelivery.
func plainLevel(level string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || strings.ContainsRune("/+#\uFFFD", r) {
			return '_'
		}
		return r
	}, level)
}

// Run connects, and connects again, until the context ends. Then it says that
// the rig is down, sends what is still to be sent within a grace time, and
// disconnects. A broker that is away is not an error.
func (p *Publisher) Run(ctx context.Context) error {
	// The backlog is read during the grace time too.
	reading, stop := context.WithCancel(context.WithoutCancel(ctx))
	go p.backlog.run(reading)
	obeying := make(chan struct{})
	go func() {
		defer close(obeying)
		if p.commands != nil {
			p.commands.run(ctx, p.pace.grace)
		}
	}()
	var wait peer.Backoff
	for ctx.Err() == nil {
		began := time.Now()
		err := p.converse(ctx)
		if ctx.Err() != nil {
			break
		}
		p.health.Down(err)
		if time.Since(began) > p.pace.longest {
			wait = peer.Backoff{}
		}
		peer.Pause(ctx, wait.Next(p.pace.shortest, p.pace.longest))
	}
	p.health.End("disconnected at the end of the program")
	stop()
	<-obeying // its asking ends within the grace time
	return p.backlog.finish(p.pace.grace)
}

// converse holds one connection, from the handshake to its end.
func (p *Publisher) converse(ctx context.Context) error {
	l, err := p.target.open(ctx, p.pace, will{topic: p.prefix + "presence", body: `{"up":false}`})
	if err != nil {
		return err
	}
	p.health.Up()
	s := newSession(p, l)
	err = s.run(ctx)
	l.close(s.broken, time.Second)
	return err
}
