package hold

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

var noon = time.Date(2031, 5, 6, 12, 0, 0, 123456789, time.UTC)

func saved(name string, tripped bool, at time.Duration) daq.SavedAlarm {
	return daq.SavedAlarm{Name: name, State: "acknowledged", Since: noon.Add(at), Tripped: tripped}
}

// came is an alarm with its place in the order in which alarms came.
func came(s daq.SavedAlarm, raised int64) daq.SavedAlarm {
	s.Raised = raised
	return s
}

// names of the alarms that hold the permit, and of the others behind them.
func names(list []daq.SavedAlarm) string {
	var held, free []string
	for _, s := range list {
		if s.Tripped {
			held = append(held, s.Name)
		} else {
			free = append(free, s.Name)
		}
	}
	slices.Sort(held)
	slices.Sort(free)
	return strings.Join(held, " ") + "|" + strings.Join(free, " ")
}

// TestJoin judges by the rule alone: no trip is lost, a reset stays, and what is
// not known holds the permit. In recording A the alarms a and b stand, a trips.
func TestJoin(t *testing.T) {
	past := func(of string, newest int64, alarms ...daq.SavedAlarm) *Past {
		p := &Past{Recording: of, Begun: true, Newest: newest, Alarms: alarms, Sequences: map[string]int64{}}
		for i, s := range alarms {
			p.Sequences[s.Name] = newest - int64(i)
		}
		return p
	}
	kept := func(of string, newest int64, alarms ...Entry) *Memory {
		return &Memory{Recording: of, Newest: newest, Written: noon, Alarms: alarms}
	}
	const second = time.Second
	a, freed := saved("a", true, 0), saved("a", false, second)
	damaged := errors.New("damaged")
	for _, c := range []struct {
		name    string
		kept    *Memory
		keptErr error
		past    *Past
		pastErr error
		want    string
	}{
		{"very first start", nil, fs.ErrNotExist, nil, nil, "|"},
		{"very first start, the database made", nil, fs.ErrNotExist, &Past{Recording: "A"}, nil, "|"},
		{"the first start ended at once", kept("A", 0), nil, &Past{Recording: "A"}, nil, "|"},
		{"no file", nil, fs.ErrNotExist, past("A", 9, a), nil, "a journal-unread|"},
		{"a damaged file", nil, damaged, past("A", 9, a), nil, "a journal-unread|"},
		{"a damaged file, a fresh recording", nil, damaged, &Past{Recording: "A"}, nil, "journal-unread|"},
		{"a damaged recording", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, nil, damaged, "a journal-unread|"},
		{"a damaged recording, no file", nil, fs.ErrNotExist, nil, damaged, "journal-unread|"},
		{"no recording", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, nil, nil, "a journal-unread|"},
		{"no recording twice", kept("", 0, Entry{SavedAlarm: a}), nil, nil, nil, "a journal-unread|"},
		{"the first recording", kept("", 0), nil, &Past{Recording: "A"}, nil, "journal-unread|"},
		{"another recording, fresh", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, &Past{Recording: "B"}, nil, "a journal-unread|"},
		{"another recording ends no trip", kept("A", 2, Entry{SavedAlarm: a, Sequence: 2}), nil, past("B", 9, freed), nil, "a journal-unread|"},
		{"another recording has a trip", kept("A", 2, Entry{SavedAlarm: freed}), nil, past("B", 9, a), nil, "a journal-unread|"},
		{"an older copy", kept("A", 9), nil, past("A", 8), nil, "journal-unread|"},
		{"both agree", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, past("A", 9, a), nil, "a|"},
		{"the recording has one more", kept("A", 9), nil, past("A", 10, a), nil, "a|"},
		{"only the file has it", kept("A", 9, Entry{SavedAlarm: a, After: 9}), nil, past("A", 9), nil, "a|"},
		{"the recording has an older word", kept("A", 9, Entry{SavedAlarm: a, After: 9}), nil, past("A", 9, freed), nil, "a|"},
		{"it came into the recording later", kept("A", 9, Entry{SavedAlarm: a, After: 9}), nil, past("A", 10, a), nil, "a|"},
		{"it was reset later", kept("A", 9, Entry{SavedAlarm: a, After: 9}), nil, past("A", 11, freed), nil, "|a"},
		{"it was reset, with numbers", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, past("A", 11, freed), nil, "|a"},
		{"what was reset is lost", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, past("A", 9, freed), nil, "|a"},
		{"the recording lost the trip", kept("A", 9, Entry{SavedAlarm: a, Sequence: 9}), nil, past("A", 9, saved("b", false, 0), freed), nil, "a|b"},
		{"reset without a disk", kept("A", 9, Entry{SavedAlarm: freed, After: 9}), nil, past("A", 9, a), nil, "|a"},
		{"tripped again on the way", kept("A", 9, Entry{SavedAlarm: freed, After: 9}), nil, past("A", 12, saved("a", true, 2*second)), nil, "a|"},
		{"tripped, and an older word by a clock that was ahead", kept("A", 9, Entry{SavedAlarm: came(a, 8), After: 9}), nil, past("A", 10, came(saved("a", false, time.Hour), 7)), nil, "a|"},
		{"reset later by a clock that was set back", kept("A", 9, Entry{SavedAlarm: came(a, 8), After: 9}), nil, past("A", 10, came(saved("a", false, -time.Hour), 8)), nil, "a|"},
		{"tripped, and an older word on the way", kept("A", 9, Entry{SavedAlarm: a, After: 9}), nil, past("A", 10, saved("a", false, -second)), nil, "a|"},
	} {
		alarms, why := Join(c.kept, c.keptErr, c.past, c.pastErr)
		if got := names(alarms); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		if (why != nil) != strings.Contains(c.want, daq.JournalUnread) {
			t.Errorf("%s: %v", c.name, why)
		}
	}
}

// TestJoinSaysWhy: a person who finds journal-unread reads in the log which of the
// two is not what it was.
func TestJoinSaysWhy(t *testing.T) {
	of := func(recording string, newest int64) *Memory { return &Memory{Recording: recording, Newest: newest} }
	past := func(recording string, newest int64) *Past {
		return &Past{Recording: recording, Newest: newest, Begun: true}
	}
	damaged := errors.New("damaged")
	for _, c := range []struct {
		kept    *Memory
		keptErr error
		past    *Past
		pastErr error
		want    string
	}{
		{of("A", 9), nil, nil, damaged, "damaged"},
		{nil, damaged, past("A", 9), nil, "damaged"},
		{nil, fs.ErrNotExist, past("A", 9), nil, "file does not exist; the recording A is older than this file, or it was removed"},
		{of("", 0), nil, nil, nil, "there is no recording, and there was none at the last start"},
		{of("A", 9), nil, nil, nil, "the recording A of the last start is not there"},
		{of("A", 9), nil, past("B", 9), nil, "the recording is B, and at the last start it was A"},
		{of("", 0), nil, past("B", 9), nil, "the recording is B, and at the last start it was none"},
		{of("A", 9), nil, past("A", 8), nil, "the recording A ends with alarm 8, and had alarm 9 before: it is an older copy"},
	} {
		if _, why := Join(c.kept, c.keptErr, c.past, c.pastErr); why == nil || why.Error() != c.want {
			t.Errorf("%v, want %s", why, c.want)
		}
	}
}

// TestPathsOfTwoRigs: rigs of one machine may have their tokens in one file.
func TestPathsOfTwoRigs(t *testing.T) {
	seen := map[string]string{}
	for _, of := range [][2]string{{"a", "b"}, {"a-b", "c"}, {"a", "b-c"}, {"a,b", "c"}, {"a", "b,c"}, {"a b", "c"}, {"a+b", "c"}, {"a%2Cb", "c"}, {"..", "c"}, {"a/b", "c"}} {
		path := Path("/etc/rig/tokens", of[0], of[1])
		if before, twice := seen[path]; twice || !strings.HasPrefix(path, "/etc/rig/permit-") {
			t.Errorf("%q: %s, as %s", of, path, before)
		}
		seen[path] = fmt.Sprint(of)
	}
	// The longest names that a configuration may have, of characters with an escape.
	long := strings.Repeat("実", 33)
	path := Path(filepath.Join(t.TempDir(), "tokens"), long, long)
	if path == Path("tokens", long, long+"x") {
		t.Error("two rigs have one file")
	}
	if err := write(path, Memory{Written: noon}); err != nil {
		t.Error(err)
	}
}
