package main

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/build"
	"flowrigd/daq/hold"
	"flowrigd/daq/record"
)

// recording is the journal with what keeps the permit beside it.
type recording struct {
	*record.Journal
	log    *slog.Logger
	ran    *daq.Remembered // the experiment of before; nil for none
	keeper *hold.Keeper    // of what holds the permit; nil where there is none, or the file is another daemon's
}

// openRecording opens the recording, or keeps the reason why not.
func openRecording(cfg config.Record, log *slog.Logger, standing func() []daq.AlarmEvent) *recording {
	return &recording{log: log, Journal: record.NewJournal(record.JournalOptions{
		Options:   record.Options{Retention: retentionOf(cfg), Log: log, Build: build.Program()},
		Directory: cfg.Directory, Standing: standing,
	})}
}

func retentionOf(cfg config.Record) record.Retention {
	return record.Retention{DurableWithin: cfg.DurableWithin, Keep: cfg.Keep, KeepInputs: cfg.KeepInputs, MaxSize: cfg.MaxSize}
}

// restore gives the alarms as they were recorded last, though nothing may be
// written there now, and begins to keep what holds the permit in the file beside
// the tokens. Where recording and file do not belong together, or one cannot be
// read, a trip may be unknown: an alarm of its own then holds the permit until a
// person has acknowledged and reset it.
func (r *recording) restore(cfg *config.Config) []daq.SavedAlarm {
	past, pastErr := r.past()
	if cfg.Trip == nil || r.StandsBy() { // nothing to hold, or the file is the other daemon's
		if cfg.Trip != nil {
			pastErr = record.ErrInUse
		}
		if past != nil {
			past.Begun = false // it needs no file beside it
		}
		return r.begin(hold.Join(nil, fs.ErrNotExist, past, pastErr))
	}
	keeper, alarms, why := hold.Restore(hold.Path(cfg.HTTP.TokensFile, cfg.Site, cfg.Rig), past, pastErr, r.log)
	r.keeper = keeper
	r.Keep(r.keeper)
	return r.begin(alarms, why)
}

// past is what the recording knows; nil where there is none.
func (r *recording) past() (*hold.Past, error) {
	back, err := r.Past(context.Background())
	if back == nil {
		return nil, err
	}
	r.ran = back.Running
	sequences := map[string]int64{}
	for name, m := range back.Latest {
		sequences[name] = m.Sequence
	}
	return &hold.Past{Recording: back.Recording, Begun: back.Begun, Newest: back.Newest[daq.ClassAlarm], Alarms: back.Alarms, Sequences: sequences}, err
}

// begin says what the engine begins with.
func (r *recording) begin(alarms []daq.SavedAlarm, why error) []daq.SavedAlarm {
	if why != nil && !errors.Is(why, record.ErrInUse) { // the other daemon has them
		r.log.Error("the alarms before this start are not all known: the heating permit stays off until "+daq.JournalUnread+" is acknowledged and reset", "why", why)
	}
	r.Begin(alarms)
	return alarms
}
