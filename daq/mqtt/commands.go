package mqtt

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"flowrigd/daq"
	"flowrigd/daq/peer"
)

// The bounds of commands. With them the last of a full queue is still obeyed within the
// time for which a command holds.
const (
	commandsWaiting = 16
	commandPause    = 100 * time.Millisecond // from one command to the next
	commandLife     = 2 * time.Second        // the engine's; what has waited so long here is not obeyed
	commandWait     = 5 * time.Second        // for the engine's answer
	commandLongest  = 16 << 10               // bytes
	repliesWaiting  = 64
	remembered      = time.Minute // for how long an id is answered as it was
	rememberedMost  = 1000
)

// heard is a command as the broker brought it.
type heard struct {
	verb     string
	body     []byte
	retained bool
	at       time.Time
}

// outgoing is a message on its way to the session.
type outgoing struct {
	topic string // below the rig's
	body  []byte
}

// commands obeys what others ask over the broker: one after the other, so many a second
// at most, in a goroutine of its own. It outlives connections, and nothing waits for it:
// neither publishing nor the goroutine that hears.
//
//	hear → queue → obey (the engine, or the feed for resend) → replies → session
type commands struct {
	do      func(context.Context, daq.Command) (made []byte, err error)
	feed    Feed
	queue   chan heard
	replies chan []outgoing
	refused func(why string) // hears of what is refused before the engine sees it
	lost    func()           // hears of a reply for which there was no room
	past    *Past

	mu     sync.Mutex
	closed bool          // what is heard is refused
	ended  chan struct{} // closed once nothing waits any more
}

// Past are the commands of the last minute with their replies. It outlives publishers, for
// what comes twice may come before and after a reload. The zero value is empty.
type Past struct {
	mu   sync.Mutex
	list []answered // the newest last
}

var errEnding = errors.New("the connection ends, with the program or for another configuration: nothing was done; ask again")

// answered is a command that was obeyed or refused, for one that comes again.
type answered struct {
	id    string
	of    [sha256.Size]byte
	at    time.Time
	reply outgoing
}

func newCommands(p *Publisher, do func(context.Context, daq.Command) ([]byte, error), past *Past) *commands {
	return &commands{do: do, feed: p.feed, queue: make(chan heard, commandsWaiting), replies: make(chan []outgoing, repliesWaiting), ended: make(chan struct{}),
		past: past, refused: func(why string) { p.log.Warn("command over MQTT refused", "why", why) },
		lost: func() { p.count.dropped.Add(1) }}
}

// hear takes a command from paho's goroutine, which it never holds up.
func (c *commands) hear(_ paho.Client, m paho.Message) {
	topic := m.Topic()
	h := heard{topic[strings.LastIndexByte(topic, '/')+1:], m.Payload(), m.Retained(), time.Now()}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		c.answer(refusal(h, errEnding))
		return
	}
	select {
	case c.queue <- h:
	default:
		c.answer(refusal(h, fmt.Errorf("too many commands at once: %d wait already; ask again, at most %d a second", commandsWaiting, time.Second/commandPause)))
	}
}

// answer gives a reply to the session where there is room.
func (c *commands) answer(list ...outgoing) {
	select {
	case c.replies <- list:
	default:
		c.lost()
	}
}

// run obeys until the context ends. The command that is under way then has its reply within
// the grace time, and what waits is refused: the broker gives none of them again.
func (c *commands) run(ctx context.Context, grace time.Duration) {
	defer close(c.ended)
	asking, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	defer context.AfterFunc(ctx, func() { peer.Pause(asking, grace); cancel() })()
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case h := <-c.queue:
			list := c.obey(asking, h)
			select {
			case c.replies <- list:
			case <-ctx.Done():
				c.answer(list...)
			}
			peer.Pause(ctx, commandPause)
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.closed = true
	for len(c.queue) > 0 {
		c.answer(refusal(<-c.queue, errEnding))
	}
}

// idle says whether every command that was heard has its reply, and the session took it.
func (c *commands) idle() bool {
	select {
	case <-c.ended:
		return len(c.replies) == 0
	default:
		return false
	}
}

// obey does what is asked, or refuses it: the reply stands last.
func (c *commands) obey(ctx context.Context, h heard) []outgoing {
	w, err := parse(h)
	if err != nil {
		c.refused(err.Error())
		return []outgoing{refusal(h, err)}
	}
	of := sha256.Sum256(append([]byte(h.verb+"\n"), h.body...))
	if before := c.past.find(w.id, h.at); before != nil && before.of != of {
		return []outgoing{refusal(h, fmt.Errorf("id: %q was that of another command within the last minute: give each its own", w.id))}
	} else if before != nil {
		return []outgoing{before.reply}
	}
	list, made, err := c.fulfil(ctx, w, time.Since(h.at))
	reply := refusal(h, err)
	if err == nil {
		reply.body = done(w, made)
	}
	c.past.keep(answered{w.id, of, time.Now(), reply})
	return append(list, reply)
}

// fulfil has the engine obey, or the feed give what is to be sent again.
func (c *commands) fulfil(ctx context.Context, w wish, waited time.Duration) (list []outgoing, made []byte, err error) {
	if waited >= commandLife {
		return nil, nil, fmt.Errorf("it was asked for more than %g s ago: look at the rig, and ask again", commandLife.Seconds())
	}
	if w.resend != nil {
		limited, cancel := context.WithTimeout(ctx, commandLife)
		defer cancel()
		return w.resend.read(limited, c.feed)
	}
	limited, cancel := context.WithTimeout(ctx, commandWait-waited)
	defer cancel()
	made, err = c.do(limited, daq.Command{ID: w.id, Who: w.who(), Ask: w.ask, Waited: waited})
	return nil, made, err
}

// find is what was answered to an id within the last minute; nil for nothing. Brokers
// and clients deliver QoS 1 at least once (MQTT 3.1.1, 4.3.2), and do not say who sent it.
func (p *Past) find(id string, now time.Time) *answered {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.list) > 0 && (now.Sub(p.list[0].at) > remembered || len(p.list) > rememberedMost) {
		p.list = p.list[1:]
	}
	for i := range p.list {
		if p.list[i].id == id {
			return &p.list[i]
		}
	}
	return nil
}

func (p *Past) keep(a answered) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.list = append(p.list, a)
}

// done is the reply to what was obeyed, with the message of what was made.
func done(w wish, made []byte) []byte {
	all := map[string]any{}
	_ = json.Unmarshal(made, &all)
	maps.Copy(all, map[string]any{"id": w.id, "done": true, "who": w.who()})
	return encode(all)
}

// refusal is the reply to what was not obeyed. Its id is the sender's where it can be read.
func refusal(h heard, why error) outgoing {
	var head struct {
		ID string `json:"id"`
	}
	if len(h.body) <= commandLongest && json.Unmarshal(h.body, &head) != nil || checkID(head.ID) != nil {
		head.ID = ""
	}
	return outgoing{"reply/" + h.verb, encode(map[string]any{"id": head.ID, "refused": fmt.Sprint(why)})}
}

func encode(v map[string]any) []byte {
	b, err := json.Marshal(v)
	if err != nil { // texts and numbers alone
		return []byte("{}")
	}
	return b
}
