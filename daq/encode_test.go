package daq

import (
	"encoding/json"
	"testing"
	"time"
)

// A time is the same text in every interface, whatever digits it ends with: the
// journal's row and the message are compared as text.
func TestTimesAreOneText(t *testing.T) {
	at := time.Date(2031, 5, 6, 7, 8, 9, 500000000, time.UTC)
	const want = "2031-05-06T07:08:09.500000Z"
	status, err := json.Marshal([]AlarmStatus{{Name: "a", Since: at}})
	if err != nil {
		t.Fatal(err)
	}
	e := AlarmEvent{Name: "a", Time: at, Until: at}
	tests := []struct {
		name, key string
		body      []byte
	}{
		{"alarm", "time", AppendAlarm(nil, &e, "", 0)},
		{"alarm's shelving", "until", AppendAlarm(nil, &e, "", 0)},
		{"note", "time", AppendNote(nil, &Note{Time: at}, "", 0)},
		{"status", "time", status[1 : len(status)-1]},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got map[string]any
			if err := json.Unmarshal(tt.body, &got); err != nil || got[tt.key] != want || got["name"] == "" {
				t.Errorf("%s, %v: %s is not %s", tt.body, err, tt.key, want)
			}
		})
	}
}
