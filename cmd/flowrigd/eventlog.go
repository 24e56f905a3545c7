package main

import (
	"context"
	"log/slog"
	"strings"

	"flowrigd/daq"
)

// logEvent says in the log what alarms and the heating permit did: it is
// read where the page and the broker are not.
func logEvent(log *slog.Logger, t daq.Told) {
	switch {
	case t.Alarm != nil:
		logAlarm(log, t.Alarm)
	case t.Note != nil && t.Note.Kind == "permit":
		level := slog.LevelInfo
		if strings.Contains(t.Note.Text, "dropped") {
			level = slog.LevelWarn
		}
		log.Log(context.Background(), level, t.Note.Text, by(t.Note.Who)...)
	case t.Note != nil && t.Note.Kind == "chattering":
		log.Warn(t.Note.Text)
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
