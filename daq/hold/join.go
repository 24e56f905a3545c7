package hold

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"slices"
	"strings"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// Past is what a recording says at a start.
type Past struct {
	Recording string
	Begun     bool  // anything was ever recorded in it
	Newest    int64 // the newest alarm's sequence
	Alarms    []daq.SavedAlarm
	Sequences map[string]int64 // of each alarm's last state
}

// Restore joins the file at path with what a recording says (Join), and gives the
// keeper of the file from now on beside the alarms that a start begins with.
func Restore(path string, past *Past, pastErr error, log *slog.Logger) (k *Keeper, alarms []daq.SavedAlarm, why error) {
	kept, keptErr := Read(path)
	alarms, why = Join(kept, keptErr, past, pastErr)
	var of Past
	switch {
	case past != nil:
		of = *past
	case kept != nil:
		of = Past{Recording: kept.Recording, Newest: kept.Newest}
	}
	return NewKeeper(path, log, of.Recording, of.Newest, alarms), alarms, why
}

// Join gives the alarms that a start begins with. kept is what the file says,
// or keptErr why it could not be read; past is what the recording says, nil
// where there is none, or pastErr why it could not be read. Where the two do
// not belong together a trip may be unknown: why says so, and an alarm of its
// own holds the permit.
func Join(kept *Memory, keptErr error, past *Past, pastErr error) (alarms []daq.SavedAlarm, why error) {
	why = doubt(kept, keptErr, past, pastErr)
	if past != nil {
		alarms = slices.Clone(past.Alarms)
	}
	if kept != nil {
		for _, e := range kept.Alarms {
			alarms = admit(alarms, e, kept, past)
		}
	}
	if why != nil {
		alarms = Unread(alarms)
	}
	return alarms, why
}

// doubt says why the alarms before this start are not all known; nil where they
// are, and at a very first start.
func doubt(kept *Memory, keptErr error, past *Past, pastErr error) error {
	first := errors.Is(keptErr, fs.ErrNotExist)
	begun := past != nil && past.Begun
	switch {
	case pastErr != nil:
		return pastErr
	case keptErr != nil && !first:
		return keptErr
	case first && begun:
		return fmt.Errorf("%w; the recording %s is older than this file, or it was removed", keptErr, past.Recording)
	case first:
		return nil
	case past == nil && kept.Recording == "":
		return errors.New("there is no recording, and there was none at the last start")
	case past == nil:
		return fmt.Errorf("the recording %s of the last start is not there", kept.Recording)
	case past.Recording != kept.Recording:
		return fmt.Errorf("the recording is %s, and at the last start it was %s", past.Recording, cmp.Or(kept.Recording, "none"))
	case past.Newest < kept.Newest:
		return fmt.Errorf("the recording %s ends with alarm %d, and had alarm %d before: it is an older copy", past.Recording, past.Newest, kept.Newest)
	}
	return nil
}

// Unread adds the alarm that stands for trips which are not known.
func Unread(alarms []daq.SavedAlarm) []daq.SavedAlarm {
	alarms = slices.DeleteFunc(slices.Clone(alarms), func(s daq.SavedAlarm) bool { return s.Name == daq.JournalUnread })
	return append(alarms, daq.SavedAlarm{
		Name: daq.JournalUnread, State: alarm.LatchedUnacknowledged.String(), Since: time.Now().UTC(), Tripped: true,
	})
}

// admit takes an alarm of the file in: where the file knows it better than the
// recording in its place, else not. Another recording's word ends no trip.
func admit(alarms []daq.SavedAlarm, e Entry, kept *Memory, past *Past) []daq.SavedAlarm {
	i := slices.IndexFunc(alarms, func(s daq.SavedAlarm) bool { return s.Name == e.Name })
	same := past != nil && past.Recording == kept.Recording
	switch {
	case i < 0 && e.Tripped:
		return append(alarms, e.SavedAlarm)
	case i < 0, same && knownBetter(e, alarms[i], past.Sequences[e.Name]):
		return alarms
	case same, e.Tripped:
		alarms[i] = e.SavedAlarm
	}
	return alarms
}

// knownBetter says whether the recording's word on an alarm is the newer one or
// the same. The order in which alarms came and the time decide only where the alarm
// came into the recording while the file was being written; the clock may have jumped.
func knownBetter(e Entry, s daq.SavedAlarm, sequence int64) bool {
	switch {
	case e.Sequence > 0:
		return sequence >= e.Sequence
	case sequence <= e.After, e.Raised > s.Raised:
		return false
	}
	// Texts of times, for the recording keeps no more of them.
	return strings.Compare(daq.FormatTime(s.Since), daq.FormatTime(e.Since)) >= 0
}
