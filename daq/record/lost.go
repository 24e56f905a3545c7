package record

import (
	"context"
	"errors"
	"slices"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// try opens the recording and journals what was held back meanwhile. Where the
// recording has alarms that the start did not know, the daemon begins anew.
func (j *Journal) try() bool {
	o := j.o.Options
	o.Journalled = j.journalled
	j.mu.Lock()
	o.Retention = j.retention
	j.mu.Unlock()
	o.Start = j.start.Load()
	rec, err := Open(j.o.Directory, o)
	j.mu.Lock()
	defer j.mu.Unlock()
	j.why = err
	if err != nil {
		if errors.Is(err, ErrInUse) && j.started && !j.hangs {
			j.o.Log.Warn("another flowrigd has taken the recording, and with it the rig: the daemon begins anew and stands by")
			j.beginAnew()
		}
		return false
	}
	rec.Adjust(j.retention) // a reload may have changed it while the disk was asked
	switch past := &rec.restored; {
	case j.was == "" && j.started:
		j.adopt(past)
	case j.was != "" && j.was != past.Recording:
		j.replace(past)
	}
	for _, s := range append(j.back, j.held...) {
		rec.put(s)
	}
	j.back, j.held = nil, nil
	j.open.Store(rec)
	if j.lost > 0 {
		j.o.Log.Error("events from the time without a recording are lost", "events", j.lost)
	}
	return true
}

// lose takes back what a lost recording had not told as recorded.
func (j *Journal) lose(rec *Recorder) {
	j.mu.Lock()
	_, _, why := rec.Healthy()
	j.open.Store(nil)
	j.why, j.was, j.back = errors.New("recording: "+why), rec.Recording(), rec.takeBack()
	j.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	if err := rec.Close(ctx); err != nil {
		j.o.Log.Error("recording: the lost one is left behind", "why", err)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.hangs = ctx.Err() != nil
}

// adopt looks at a recording that was opened after the start. A trip in it that
// nobody knew of ends with no event of the time before. The lock is held.
func (j *Journal) adopt(past *Restored) {
	j.follow(past)
	for _, s := range past.Alarms {
		if !unknown(s, j.given) {
			continue
		}
		if s.Tripped {
			holdOn(j.held, s.Name)
		}
		j.o.Log.Warn("the recording has alarms from before this start: the daemon begins anew with them", "alarm", s.Name)
		j.beginAnew()
	}
}

// follow names the recording to the keeper.
func (j *Journal) follow(past *Restored) {
	if j.keeper != nil {
		j.keeper.Recording(past.Recording, past.Newest[daq.ClassAlarm])
	}
}

// replace goes on in another recording than the one that was lost: there is one
// more row of each alarm that stands, and the daemon begins anew with them. The
// lock is held.
func (j *Journal) replace(past *Restored) {
	j.foreign.Store(true)
	j.follow(past)
	events := []daq.Event{{Note: &daq.Note{Kind: "gap", Time: time.Now().UTC(), Text: "the recording " + j.was + " was removed or replaced while it was in use; this one goes on after it"}}}
	for _, a := range j.standing() {
		events = append(events, daq.Event{Alarm: &a})
	}
	for i := range j.back {
		j.back[i].Input = daq.Input{} // of a run whose beginning is not here
	}
	for i := range j.held {
		j.held[i].Input = daq.Input{}
	}
	// Last, for the steps that wait may say something older of the same alarms.
	j.held = append(j.held, j.step(daq.Batch{Events: events}))
	for _, s := range past.Alarms {
		if s.Tripped {
			holdOn(j.back, s.Name)
			holdOn(j.held, s.Name)
		}
	}
	j.o.Log.Warn("recording: goes on in another one, and the daemon begins anew", "recording", past.Recording, "before", j.was)
	j.beginAnew()
}

// standing gives the alarms as they stand, with what only their last event said.
func (j *Journal) standing() []daq.AlarmEvent {
	if j.o.Standing == nil {
		return nil
	}
	list := j.o.Standing()
	for i := range list {
		saved, ok := j.seen.Load(list[i].Name)
		if !ok {
			continue
		}
		s := saved.(daq.SavedAlarm)
		list[i].Raised = s.Raised
		if s.Underlying != nil {
			list[i].Underlying = *s.Underlying
		}
	}
	return list
}

// unknown says whether a start would bring up an alarm that this one did not.
func unknown(s daq.SavedAlarm, given []daq.SavedAlarm) bool {
	plain := !s.Tripped && s.State == alarm.Normal.String()
	return !plain && !slices.ContainsFunc(given, func(g daq.SavedAlarm) bool {
		return g.Name == s.Name && g.State == s.State && (g.Tripped || !s.Tripped)
	})
}

// holdOn makes the events of an alarm keep the trip that stood before them.
func holdOn(held []step, name string) {
	for i := range held {
		for k, e := range held[i].Events {
			if e.Alarm == nil || e.Alarm.Name != name || e.Alarm.Tripped {
				continue
			}
			a := *e.Alarm // it may have been told as it was
			a.Tripped = true
			held[i].Events = slices.Clone(held[i].Events)
			held[i].Events[k].Alarm = &a
		}
	}
}
