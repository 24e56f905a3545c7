package daq

import (
	"encoding/json"
	"reflect"
	"testing"
	"time"
)

// A command comes back from a recording as it was, and so does one that an earlier
// build recorded with all its fields in one row.
func TestCommandIsRecorded(t *testing.T) {
	for _, c := range []struct {
		name, recorded string
		want           Command
	}{
		{"acknowledge", `{"id":"1","verb":"acknowledge","alarm":"head-lost","who":"dana"}`,
			Command{ID: "1", Who: "dana", Ask: &AlarmAsk{Do: Acknowledge, Alarm: "head-lost"}}},
		{"shelve", `{"id":"2","verb":"shelve","alarm":"head-lost","who":"dana","for":1800000000000,"reason":"\"q\" <b>","until":5}`,
			Command{ID: "2", Who: "dana", Until: 5, Ask: &ShelveAsk{Alarm: "head-lost", For: 30 * time.Minute, Reason: `"q" <b>`}}},
		{"give", `{"id":"3","verb":"give","who":"dana","left":true,"without":["water-overheat"]}`,
			Command{ID: "3", Who: "dana", Left: true, Ask: &GiveAsk{Without: []string{"water-overheat"}}}},
		{"still", `{"id":"6","verb":"still","who":"dana"}`, Command{ID: "6", Who: "dana", Ask: &StillAsk{}}},
		{"withdraw", `{"id":"4","verb":"withdraw","who":""}`, Command{ID: "4", Ask: &PermitAsk{Do: Withdraw}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var old, back Command
			if err := json.Unmarshal([]byte(c.recorded), &old); err != nil || !reflect.DeepEqual(old, c.want) {
				t.Errorf("%+v, %v, want %+v", old, err, c.want)
			}
			text, err := json.Marshal(c.want)
			if err == nil {
				err = json.Unmarshal(text, &back)
			}
			if err != nil || !reflect.DeepEqual(back, c.want) {
				t.Errorf("%s comes back as %+v, %v", text, back, err)
			}
		})
	}
	if err := json.Unmarshal([]byte(`{"id":"5","verb":"boil"}`), &Command{}); err == nil {
		t.Error("a verb that nobody knows is taken")
	}
}
