package notify

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"flowrigd/daq"
)

// message is one transition of an alarm on its way to a receiver.
type message struct {
	daq.AlarmEvent
	Recording string `json:"recording"`
	Sequence  int64  `json:"sequence"` // 0: told without the disk
	Recorded  bool   `json:"recorded"`

	number int64 // in place of the sequence, of one told without the disk
	from   place
	came   time.Time // when this program had it
	body   []byte    // the JSON object for a webhook
	skip   bool      // not for this receiver
}

// place is where the alarms come from.
type place struct{ Site, Rig string }

// decode reads an alarm's message and adds site and rig to it.
func (p place) decode(body []byte) (*message, error) {
	m := &message{from: p, came: time.Now()}
	if err := json.Unmarshal(body, m); err != nil {
		return nil, fmt.Errorf("alarm message: %w", err)
	}
	if len(body) == 0 || body[0] != '{' || m.Name == "" {
		return nil, errors.New("alarm message: no object with a name")
	}
	head, err := json.Marshal(struct {
		Site string `json:"site"`
		Rig  string `json:"rig"`
	}{p.Site, p.Rig})
	if err != nil {
		return nil, fmt.Errorf("alarm message: %w", err)
	}
	head[len(head)-1] = ','
	m.body = append(head, body[1:]...)
	return m, nil
}

// key is the same for the transition told without the disk and its recorded
// successor.
func (m *message) key() string {
	return m.Name + " " + m.State + " " + daq.FormatTime(m.Time)
}
