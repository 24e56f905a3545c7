package notify

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"flowrigd/daq"
)

// Whatever the outbox gives, there is an error, or a JSON object with the rig
// and all that was in it.
func FuzzDecode(f *testing.F) {
	e := daq.AlarmEvent{Name: "water-overheat", State: "unacknowledged", Priority: "high", Time: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}
	f.Add(daq.AppendAlarm(nil, &e, testRecording, 7))
	f.Add(daq.AppendAlarm(nil, &e, "", 0))
	for _, text := range []string{"", "{}", "[]", "null", `{"name":"a"}`, ` {"name":"a"}`, `{"name":"a"}x`, `{"name":"a","time":"x"}`} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		before := bytes.Clone(body)
		m, err := place{"north-hall", "bench-3"}.decode(body)
		if !bytes.Equal(before, body) {
			t.Fatal("the body was changed")
		}
		if err != nil {
			return
		}
		var got map[string]json.RawMessage
		if err := json.Unmarshal(m.body, &got); err != nil || got["site"] == nil || got["rig"] == nil {
			t.Fatalf("%s: %v", m.body, err)
		}
	})
}

// RFC 9110, 10.2.3.
func FuzzRetryAfter(f *testing.F) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for _, text := range []string{"", "0", "120", "-1", "1e3", "Sun, 01 Mar 2026 12:00:30 GMT", "Sun, 01 Mar 2026 11:00:00 GMT"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if d := retryAfter(text, now); d < 0 {
			t.Fatalf("%q: %s", text, d)
		}
	})
}

func TestRetryAfter(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for text, want := range map[string]time.Duration{
		"": 0, "120": 2 * time.Minute, "-1": 0, "soon": 0,
		"Sun, 01 Mar 2026 12:00:30 GMT": 30 * time.Second, "Sun, 01 Mar 2026 11:00:00 GMT": 0,
	} {
		equal(t, text, retryAfter(text, now), want)
	}
}
