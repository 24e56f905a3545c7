package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/hold"
	"flowrigd/daq/record"
)

// restore gives the alarms as they were recorded last, though nothing may be
// written there now, and begins to keep what holds the permit in the file beside
// the tokens. Where recording and file do not belong together, or one cannot be
// read, a trip may be unknown: an alarm of its own then holds the permit until a
// person has acknowledged and reset it.
func (r *recording) restore(cfg *config.Config) []daq.SavedAlarm {
	past, pastErr := r.past()
	if cfg.Trip == nil || r.standsBy() { // nothing to hold, or the file is the other daemon's
		if cfg.Trip != nil {
			pastErr = record.ErrInUse
		}
		return r.begin(hold.Join(nil, fs.ErrNotExist, unbegun(past), pastErr))
	}
	path := hold.Path(cfg.HTTP.TokensFile, cfg.Site, cfg.Rig)
	kept, keptErr := hold.Read(path)
	alarms, why := hold.Join(kept, keptErr, past, pastErr)
	var of hold.Past
	switch {
	case past != nil:
		of = *past
	case kept != nil:
		of = hold.Past{Recording: kept.Recording, Newest: kept.Newest}
	}
	r.keeper = hold.NewKeeper(path, r.log, of.Recording, of.Newest, alarms)
	return r.begin(alarms, why)
}

// unbegun makes a recording one that needs no file beside it.
func unbegun(past *hold.Past) *hold.Past {
	if past != nil {
		past.Begun = false
	}
	return past
}

// begin remembers what the engine begins with.
func (r *recording) begin(alarms []daq.SavedAlarm, why error) []daq.SavedAlarm {
	if why != nil && !errors.Is(why, record.ErrInUse) { // the other daemon has them
		r.log.Error("the alarms before this start are not all known: the heating permit stays off until "+daq.JournalUnread+" is acknowledged and reset", "why", why)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.started, r.given = true, alarms
	for _, s := range alarms {
		r.seen.Store(s.Name, s)
	}
	return alarms
}

// past reads the recording, or past its lock where it could not be opened for
// writing. A directory without a database has none.
func (r *recording) past() (*hold.Past, error) {
	if rec := r.open.Load(); rec != nil {
		return pastOf(rec.Reader)
	}
	dir := r.cfg.Directory
	if _, err := os.Lstat(filepath.Join(dir, record.FileName)); errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return nil, nil
	}
	reader, err := record.OpenReader(dir)
	if err != nil {
		return nil, err
	}
	defer reader.Close()
	return pastOf(reader)
}

func pastOf(reader *record.Reader) (*hold.Past, error) {
	back, err := reader.Restore(context.Background())
	if err != nil {
		return nil, err
	}
	return &hold.Past{Recording: reader.Recording(), Begun: back.Begun, Newest: back.Alarm, Alarms: back.Alarms, Sequences: back.Sequences}, nil
}
