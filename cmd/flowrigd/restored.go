package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/alarm"
	"flowrigd/daq/record"
)

// restored are the alarms as they were recorded last, though nothing may be
// written there now. Where there is a journal that cannot be read a trip may
// stand in it: an alarm of its own then holds the permit until a person has
// acknowledged and reset it.
func (r *recording) restored() []daq.SavedAlarm {
	saved, err := r.saved()
	if err == nil {
		return saved
	}
	r.log.Error("the alarms before this start are not known: the permit stays off until "+daq.JournalUnread+" is acknowledged and reset", "why", err)
	return []daq.SavedAlarm{{Name: daq.JournalUnread, State: alarm.LatchedUnacknowledged.String(), Since: time.Now().UTC(), Tripped: true}}
}

// saved reads the alarms from the recording, or past it where it could not be
// opened for writing. A directory without a database has none.
func (r *recording) saved() ([]daq.SavedAlarm, error) {
	if rec := r.open.Load(); rec != nil {
		back, err := rec.Restore(context.Background())
		return back.Alarms, err
	}
	dir := r.cfg.Directory
	if _, err := os.Stat(filepath.Join(dir, record.FileName)); errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return nil, nil
	}
	reader, err := record.OpenReader(dir)
	if err != nil {
		return nil, err
	}
	defer reader.Close()
	back, err := reader.Restore(context.Background())
	return back.Alarms, err
}
