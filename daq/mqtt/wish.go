package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"flowrigd/daq"
	"flowrigd/daq/request"
)

// wish is a command once it is read: something for the engine, or a resend.
type wish struct {
	id     string
	ask    daq.Ask
	resend *resend
}

// who names the sender in the journal. MQTT 3.1.1 does not say who published.
func (w *wish) who() string { return "mqtt " + w.id }

// commandVerbs are what may be asked. The heating permit is not among them: who gives it
// stands at the rig.
const commandVerbs = "acknowledge, shelve, observe, capture, resend"

// idLongest is the most characters of an id.
const idLongest = 64

// parse reads a command strictly, as its HTTP counterpart is read.
func parse(h heard) (w wish, err error) {
	switch {
	case h.retained:
		return w, errors.New("the message is retained, and would be obeyed again at each connection: clear it at the broker, and publish without the retain flag")
	case len(h.body) > commandLongest:
		return w, fmt.Errorf("the message has %d bytes: send %d at most", len(h.body), commandLongest)
	}
	switch h.verb {
	case "acknowledge", "shelve":
		err = w.readAlarm(daq.Verb(h.verb), h.body)
	case "observe":
		var body struct{ ID, Seen, Note string }
		ask := &daq.ObserveAsk{}
		if err = request.Decode(h.body, &body); err == nil {
			w.id, w.ask, ask.Seen, ask.Note = body.ID, ask, body.Seen, body.Note
			err = errors.Join(request.Seen(ask.Seen), request.Texts(map[string]*string{"note": &ask.Note}))
		}
	case "capture":
		var body struct{ ID, Point string }
		if err = request.Decode(h.body, &body); err == nil {
			w.id, w.ask = body.ID, &daq.CaptureAsk{Point: body.Point}
			err = request.Texts(map[string]*string{"point": &body.Point})
		}
	case "resend":
		var body struct {
			ID string
			resend
		}
		if err = request.Decode(h.body, &body); err == nil {
			w.id, w.resend = body.ID, &body.resend
			err = w.resend.check()
		}
	default:
		return w, fmt.Errorf("%q is not a command over MQTT; there are %s", h.verb, commandVerbs)
	}
	if err == nil {
		err = checkID(w.id)
	}
	return w, err
}

func (w *wish) readAlarm(verb daq.Verb, text []byte) error {
	var body struct{ ID, Alarm, For, Reason string }
	if err := request.Decode(text, &body); err != nil {
		return err
	}
	if body.Alarm == "" {
		return errors.New(`alarm: which one? write {"id":"…","alarm":"water-overheat"}`)
	}
	length, err := request.ShelvedFor(verb, body.For, body.Reason)
	if err != nil {
		return err
	}
	w.id, w.ask = body.ID, daq.AskAlarm(verb, body.Alarm, body.Reason, length)
	return request.Texts(map[string]*string{"reason": &body.Reason})
}

func checkID(id string) error {
	n := utf8.RuneCountInString(id)
	if n < 1 || n > idLongest || strings.ContainsFunc(id, func(c rune) bool { return !unicode.IsPrint(c) }) {
		return fmt.Errorf(`id: give each command its own, of 1 to %d printable characters, such as {"id":"bench-7 12"}`, idLongest)
	}
	return nil
}

// resend asks for recorded messages once more, by their sequences.
type resend struct {
	Class daq.Class `json:"class"`
	From  int64     `json:"from"`
	To    int64     `json:"to"`
}

// resendMost is how many messages are sent again at once.
const resendMost = 1000

func (r *resend) check() error {
	switch {
	case r.Class != daq.ClassRecord && r.Class != daq.ClassAlarm && r.Class != daq.ClassEvent:
		return fmt.Errorf(`class: %q is not one; write "record", "alarm" or "event"`, r.Class)
	case r.From < 1 || r.To < r.From:
		return fmt.Errorf(`from and to: %d to %d are not sequences of messages; write such as {"class":"record","from":1,"to":100}`, r.From, r.To)
	case r.To-r.From >= resendMost:
		return fmt.Errorf("from and to: %d messages are more than are sent at once; ask for %d at most", r.To-r.From+1, resendMost)
	}
	return nil
}

// read gives the messages, not retained, and what the reply says of them. Behind old
// alarms each one's newest comes again, so that a display does not go on with an old one.
func (r *resend) read(ctx context.Context, feed Feed) (list []outgoing, said []byte, err error) {
	messages, err := feed.Pending(ctx, r.Class, r.From-1, int(r.To-r.From)+1)
	if err != nil {
		return nil, nil, fmt.Errorf("the recording does not answer: %w", err)
	}
	newest, _ := feed.Latest()
	var last []outgoing
	for _, m := range messages {
		if m.Sequence > r.To {
			break
		}
		topic := string(m.Class)
		if m.Class == daq.ClassAlarm {
			topic = "alarm/" + plainLevel(m.Name)
			if now, known := newest[m.Name]; known && now.Sequence != m.Sequence {
				last = append(last, outgoing{topic, now.Body})
				delete(newest, m.Name)
			}
		}
		list = append(list, outgoing{topic, m.Body})
	}
	if len(list) == 0 {
		return nil, nil, fmt.Errorf("of class %s nothing is recorded from %d to %d", r.Class, r.From, r.To)
	}
	said, err = json.Marshal(map[string]any{"class": r.Class, "from": r.From, "to": r.To, "sent": len(list)})
	return append(list, last...), said, err
}
