package logging

import (
	"context"
	"encoding/json"
	"log/slog"
	"strings"

	"flowrigd/daq"
)

// Event says in the log what alarms and the heating permit did: it is
// read where the page and the broker are not.
func Event(log *slog.Logger, m daq.Message) {
	var a daq.AlarmEvent
	var n daq.Note
	switch {
	case m.Class == daq.ClassAlarm && json.Unmarshal(m.Body, &a) == nil:
		logAlarm(log, &a)
	case m.Class != daq.ClassEvent || json.Unmarshal(m.Body, &n) != nil:
	case n.Kind == "permit":
		level := slog.LevelInfo
		if strings.Contains(n.Text, "dropped") {
			level = slog.LevelWarn
		}
		log.Log(context.Background(), level, n.Text, by(n.Who)...)
	case n.Kind == "chattering":
		log.Warn(n.Text)
	}
}

func logAlarm(log *slog.Logger, a *daq.AlarmEvent) {
	level := slog.LevelInfo
	if a.State == "unacknowledged" || a.Tripped {
		level = slog.LevelWarn
	}
	more := []any{"name", a.Name, "state", a.State, "priority", a.Priority}
	if a.Value != nil && a.Limit != nil {
		more = append(more, "value", *a.Value, "limit", *a.Limit)
	}
	if a.Tripped {
		more = append(more, "trips", true)
	}
	if a.State == "unacknowledged" {
		more = append(more, "cause", a.Cause)
	}
	log.Log(context.Background(), level, "alarm", append(more, by(a.Who)...)...)
}

func by(who string) []any {
	if who == "" {
		return nil
	}
	return []any{"who", who}
}
