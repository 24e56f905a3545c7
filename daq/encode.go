package daq

import (
	"encoding/json"
	"fmt"
	"strconv"
	"time"
)

// TimeLayout is RFC 3339 in UTC with a fixed width, so that text sorts as time.
const TimeLayout = "2006-01-02T15:04:05.000000Z"

// FormatTime writes a time for every interface.
func FormatTime(t time.Time) string { return t.UTC().Format(TimeLayout) }

// Seconds writes a duration for a person: "2.1 s".
func Seconds(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }

// Identity says whose state it is.
type Identity struct {
	Site      string
	Rig       string
	Recording string // the UUID of the database; "" without one
	Sequence  int64  // of the newest recorded row; 0 when there is none
}

// AppendState appends the one JSON object of a state: what /api/now, the
// stream and the MQTT topic `state` carry.
func AppendState(b []byte, s *State, id Identity) []byte {
	b = append(b, `{"site":`...)
	b = appendText(b, id.Site)
	b = append(b, `,"rig":`...)
	b = appendText(b, id.Rig)
	b = append(b, `,"time":"`...)
	b = append(b, FormatTime(s.Time)...)
	b = append(b, `","clock_synchronised":`...)
	b = strconv.AppendBool(b, s.Synchronised)
	b = append(b, `,"recording":`...)
	b = appendNullable(b, id.Recording)
	b = append(b, `,"sequence":`...)
	b = appendSequence(b, id.Sequence)
	b = append(b, `,"quality":`...)
	b = AppendQuality(b, s)
	b = append(b, `,"alarms":`...)
	b = appendJSON(b, nonNil(s.Alarms))
	b = append(b, `,"warnings":`...)
	b = appendJSON(b, nonNil(s.Warnings))
	b = append(b, `,"waits_for":`...)
	b = appendNullable(b, s.WaitsFor)
	b = append(b, `,"experiment":`...)
	b = appendJSON(b, s.Experiment)
	b = append(b, ',')
	b = s.Values.AppendFields(b)
	return append(b, '}')
}

// AppendQuality appends the object instrument → quality.
func AppendQuality(b []byte, s *State) []byte {
	b = append(b, '{')
	for i, id := range s.Instruments {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendText(b, id.Short())
		b = append(b, ':')
		b = appendText(b, s.Quality[id].String())
	}
	return append(b, '}')
}

func nonNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

func appendText(b []byte, text string) []byte { return appendJSON(b, text) }

func appendJSON(b []byte, v any) []byte {
	out, err := json.Marshal(v)
	if err != nil {
		return append(b, "null"...)
	}
	return append(b, out...)
}

func appendNullable(b []byte, text string) []byte {
	if text == "" {
		return append(b, "null"...)
	}
	return appendText(b, text)
}

func appendSequence(b []byte, n int64) []byte {
	if n == 0 {
		return append(b, "null"...)
	}
	return strconv.AppendInt(b, n, 10)
}

// alarmMessage is the MQTT message and journal row of an alarm's transition.
type alarmMessage struct {
	Recording string `json:"recording,omitempty"`
	Sequence  int64  `json:"sequence,omitempty"`
	AlarmEvent
	Time     string `json:"time"` // these two as the journal writes them
	Until    string `json:"until,omitempty"`
	Recorded bool   `json:"recorded"`
}

// AppendAlarm appends the one JSON object of an alarm's transition. Without a
// sequence it is not on disk: it says "recorded":false and names no recording.
func AppendAlarm(b []byte, e *AlarmEvent, recording string, sequence int64) []byte {
	m := alarmMessage{AlarmEvent: *e, Time: FormatTime(e.Time), Until: formatUntil(e.Until), Sequence: sequence, Recorded: sequence > 0}
	if m.Recorded {
		m.Recording = recording
	}
	return appendJSON(b, m)
}

// noteMessage is the message of class event.
type noteMessage struct {
	Recording string `json:"recording,omitempty"`
	Sequence  int64  `json:"sequence,omitempty"`
	Note
	Time     string `json:"time"` // as the journal writes it
	Recorded bool   `json:"recorded"`
}

// AppendNote appends the one JSON object of a note, as AppendAlarm does.
func AppendNote(b []byte, n *Note, recording string, sequence int64) []byte {
	m := noteMessage{Note: *n, Time: FormatTime(n.Time), Sequence: sequence, Recorded: sequence > 0}
	if m.Recorded {
		m.Recording = recording
	}
	return appendJSON(b, m)
}
