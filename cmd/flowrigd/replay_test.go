//go:build unix

package main

import (
	"database/sql"
	"encoding/json"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/build"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
	"flowrigd/daq/record"
)

// tapedRig is the configuration of the recordings made here.
var tapedRig = daqtest.Rig("measuring")

var tapeBegin = time.Date(2031, 5, 6, 7, 0, 0, 0, time.UTC)

// tape records runs of an engine as the loop of the daemon does, at once. What
// it leaves out never reaches the recording.
type tape struct {
	t      *testing.T
	dir    string
	rec    *record.Recorder
	wall   time.Time
	leave  func(run int, number uint64) bool // nil: nothing
	keep   int                               // ticks between two checkpoints; 0: none are made
	runs   int
	alarms []daq.SavedAlarm // with which the next run begins
	states [][]string       // of each run, as replay prints them

	engine *engine.Engine
	digest *engine.Digest
	in     daq.Input
}

func newTape(t *testing.T) *tape {
	t.Helper()
	p := &tape{t: t, dir: t.TempDir(), wall: tapeBegin}
	var err error
	if p.rec, err = record.Open(p.dir, record.Options{Build: programOf(t)}); err != nil {
		t.Fatal(err)
	}
	return p
}

// programOf is how the program under test names itself.
func programOf(t *testing.T) string {
	t.Helper()
	out, diag, code := call(t, program, "version", "--json")
	var b build.Info
	if err := json.Unmarshal([]byte(out), &b); err != nil || code != 0 || b.Program == "" {
		t.Fatalf("version: %v, %d: %s%s", err, code, out, diag)
	}
	return b.Program
}

func (p *tape) step(in daq.Input) {
	p.in.Number++
	in.Number, in.Mono, in.Wall, in.Synchronised = p.in.Number, p.in.Mono, p.wall.Add(p.in.Mono), true
	state, events := p.engine.Step(in)
	b := daq.Batch{Input: in, Events: events, Digest: p.digest.Add(&state)}
	if p.keep > 0 && state.Tick && len(p.states[p.runs-1])%p.keep == p.keep-1 {
		var err error
		b.Checkpoint, err = p.engine.Checkpoint(p.digest)
		must(p.t, err)
	}
	for _, e := range events {
		if a := e.Alarm; a != nil {
			p.alarms = append(slices.DeleteFunc(slices.Clone(p.alarms), func(s daq.SavedAlarm) bool { return s.Name == a.Name }), a.Saved())
		}
	}
	if state.Sample {
		b.State = &state
	}
	if p.leave == nil || !p.leave(p.runs, in.Number) {
		p.rec.Put(b)
	}
	if state.Tick {
		line := daq.AppendState(nil, &state, daq.Identity{Site: "north-hall", Rig: "bench-3", Recording: p.rec.Recording()})
		p.states[p.runs-1] = append(p.states[p.runs-1], string(line))
	}
}

// run records minutes of a run that warms up and once is too hot; half way it
// takes up another configuration.
func (p *tape) run(minutes int, text string) {
	p.t.Helper()
	cfg := daqtest.Config(p.t, text)
	var err error
	if p.engine, err = engine.New(cfg, p.alarms); err != nil {
		p.t.Fatal(err)
	}
	p.runs, p.states = p.runs+1, append(p.states, nil)
	p.digest, p.in = engine.NewDigest(), daq.Input{}
	p.step(p.engine.Begin())
	ticks := minutes * int(time.Minute/cfg.Interval)
	for n := range ticks {
		p.in.Mono += cfg.Interval
		p.read(quantity.Flow, 2+0.01*float64(n%7))
		p.read(quantity.Temperature, 400+400*float64(n)/float64(ticks))
		p.read(quantity.Level, 14100+float64(n%5))
		p.step(daq.Input{Kind: daq.KindTick})
		if n == ticks/2 {
			other := daqtest.Config(p.t, strings.Replace(text, `"1.10 m"`, `"1.20 m"`, 1))
			p.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Configuration: other.SHA256, Config: other}})
		}
	}
	p.wall = p.wall.Add(time.Duration(minutes+1) * time.Minute)
}

func (p *tape) read(id quantity.ID, number float64) {
	p.step(daq.Input{Kind: daq.KindReading, Reading: daq.Reading{Instrument: id, Number: number, At: p.in.Mono, Took: time.Millisecond}})
}

// end closes the recording and lets change spoil it.
func (p *tape) end(change ...string) {
	p.t.Helper()
	must(p.t, p.rec.Close(p.t.Context()))
	db, err := sql.Open("sqlite", filepath.Join(p.dir, record.FileName))
	must(p.t, err)
	defer db.Close()
	for _, statement := range change {
		if r, err := db.Exec(statement); err != nil {
			p.t.Fatal(err)
		} else if n, _ := r.RowsAffected(); n == 0 {
			p.t.Fatalf("%s changed nothing: the test shows nothing", statement)
		}
	}
}

// replayed calls the verb and gives the lines of its output.
func (p *tape) replayed(more ...string) (lines []string, diag string, code int) {
	p.t.Helper()
	out, diag, code := call(p.t, program, append([]string{"replay", "--data", p.dir}, more...)...)
	return strings.FieldsFunc(out, func(r rune) bool { return r == '\n' }), diag, code
}

func sameStates(t *testing.T, what string, got, want []string) {
	t.Helper()
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Fatalf("%s: state %d of %d:\n%s\nwant\n%s", what, i, len(want), got[i], want[i])
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%s: %d states, want %d", what, len(got), len(want))
	}
}

// TestReplayIsTheLiveRun: byte for byte, over a reload and an alarm, held
// against every digest that was stored.
func TestReplayIsTheLiveRun(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(3, tapedRig)
	p.run(2, tapedRig)
	p.end()
	got, diag, code := p.replayed()
	sameStates(t, "both runs", got, append(append([]string(nil), p.states[0]...), p.states[1]...))
	if code != exitDone || !strings.Contains(diag, "5 digests of the live run checked, 0 differ") {
		t.Errorf("code %d: %s", code, diag)
	}
	if !strings.Contains(p.states[0][len(p.states[0])-1], `"water-overheat"`) || !strings.Contains(p.states[1][0], `"water-overheat"`) {
		t.Error("no alarm stands from the first run to the second: it shows little")
	}
	from, to := tapeBegin.Add(30*time.Second), tapeBegin.Add(90*time.Second)
	got, _, code = p.replayed("--from", from.Format(time.RFC3339), "--to", to.Format(time.RFC3339))
	var want []string
	for n, line := range p.states[0] {
		if at := tapeBegin.Add(time.Duration(n+1) * 200 * time.Millisecond); !at.Before(from) && at.Before(to) {
			want = append(want, line)
		}
	}
	sameStates(t, "--from --to", got, want)
	if code != exitDone {
		t.Errorf("--from --to: code %d", code)
	}
	narrow := write(t, filepath.Join(p.dir, "narrow.toml"), strings.Replace(tapedRig, "13.00 mm", "12.00 mm", 1))
	got, diag, code = p.replayed("--config", narrow)
	if code != exitDone || len(got) != len(p.states[0])+len(p.states[1]) || got[100] == p.states[0][100] || !strings.Contains(diag, "0 digests") {
		t.Errorf("--config: code %d, %d states, %s", code, len(got), diag)
	}
}

// TestReplayOfWhatIsNotWhole: each recording lacks something; replay names it,
// plays every other run, and says by its exit code whether all was well.
func TestReplayOfWhatIsNotWhole(t *testing.T) {
	t.Parallel()
	second := daqtest.Config(t, strings.Replace(tapedRig, `"1.10 m"`, `"1.20 m"`, 1)).SHA256
	for name, c := range map[string]struct {
		leave  func(run int, number uint64) bool
		change string
		args   []string
		code   int
		says   []string
		not    string
		states [2]int // the live run's that are printed of each run; {-1} where the output is not compared
	}{
		"a digest differs": {change: `UPDATE digest SET sha256 = 'f00' WHERE run = 1 AND number = (SELECT min(number) FROM digest WHERE run = 1)`, code: exitFailed,
			says: []string{"states up to here differ", "4 digests of the live run checked, 1 differ", "states differ from those of the live run"}, states: [2]int{600, 600}},
		"a digest differs before the time asked for": {change: `UPDATE digest SET sha256 = 'f00' WHERE run = 1`, args: []string{"--from", "2031-05-06T07:03:00.1Z"}, code: exitDone,
			says: []string{"2 digests of the live run checked, 0 differ"}, states: [2]int{0, 600}},
		"what is purged is after the time asked for": {change: `DELETE FROM input WHERE run = 2 AND number < 100`, args: []string{"--to", "2031-05-06T07:03:00Z"}, code: exitDone,
			says: []string{"2 digests of the live run checked, 0 differ"}, not: "purged", states: [2]int{600, 0}},
		"the first inputs are purged": {change: `DELETE FROM input WHERE run = 1 AND number < 100`, code: exitDone,
			says: []string{"run 1: its first inputs are purged", "2 digests of the live run checked, 0 differ"}, states: [2]int{0, 600}},
		"all that is left is purged in part": {change: `DELETE FROM input WHERE number < 100`, code: exitFailed,
			says: []string{"run 2: its first inputs are purged", "nothing was played", "record.keep_inputs"}},
		"the configuration of the reload is missing": {change: `DELETE FROM configuration WHERE sha256 = '` + second + `'`, code: exitFailed,
			says: []string{"run 1: not played to its end: ", second, "not in this recording", "2 of 2 runs are not whole"}, not: "1 differ", states: [2]int{301, 301}},
		"it was opened late": {leave: func(run int, n uint64) bool { return run == 1 && n >= 2 && n <= 312 }, code: exitFailed,
			says: []string{"run 1: inputs 2 to 312, before 2031-05-06T07:00:15.", "opened later than the run began", "cannot be compared",
				"2 digests of the live run checked, 0 differ", "1 of 2 runs are not whole"}, not: "differ from", states: [2]int{-1}},
		"the disk dropped inputs": {leave: func(run int, n uint64) bool { return run == 1 && (n >= 1500 && n < 1600 || n == 1700) }, code: exitFailed,
			says: []string{"run 1: inputs 1500 to 1599, before 2031-", "nor are 1 later ones", "3 digests of the live run checked, 0 differ", "1 of 2 runs are not whole"}, not: "differ from", states: [2]int{-1}},
		"an input that cannot be read": {change: `UPDATE input SET kind = 'nonsense' WHERE run = 1 AND number = 41`, code: exitFailed,
			says: []string{"run 1: not played to its end: ", "input 41", "1 of 2 runs are not whole"}, states: [2]int{9, 600}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := newTape(t)
			p.leave = c.leave
			p.run(2, tapedRig)
			p.run(2, tapedRig)
			if c.change != "" {
				p.end(c.change)
			} else {
				p.end()
			}
			got, diag, code := p.replayed(c.args...)
			if code != c.code {
				t.Errorf("code %d, want %d", code, c.code)
			}
			says(t, "it", diag, c.says...)
			if c.not != "" && strings.Contains(diag, c.not) {
				t.Errorf("it says %q:\n%s", c.not, diag)
			}
			if c.states[0] >= 0 {
				sameStates(t, "both runs", got, append(append([]string(nil), p.states[0][:c.states[0]]...), p.states[1][:c.states[1]]...))
			}
		})
	}
}

// What another build has recorded is compared with its rows, what both know, to
// 1e-9, and a difference is listed and no failure (contract of the recording).
func TestReplayOfAnotherBuild(t *testing.T) {
	const rows = " of its rows compared to 1e-09, of what both know\n"
	for _, c := range []struct {
		name   string
		change []string
		want   []string // of what is said
	}{
		{"the same values", nil, []string{"by another build, old 1: 121" + rows}},
		{"a build without a name", []string{`UPDATE run SET build = NULL`}, []string{"by another build, which it does not name: 121" + rows}},
		{"a value within the last digits", []string{`UPDATE sample_row SET reynolds_number = reynolds_number * (1 + 5e-10) WHERE sequence = 40`}, []string{"121" + rows}},
		{"a value beyond them", []string{`UPDATE sample_row SET reynolds_number = reynolds_number * (1 + 2e-9) WHERE sequence >= 40`},
			[]string{"121" + rows, "reynolds_number differs in 82 rows, first at 2031-05-06T07:00:3"}},
		{"a value that was not known", []string{`UPDATE sample_row SET head_meters = NULL WHERE sequence = 7`},
			[]string{"head_meters differs in 1 rows, first at 2031-05-06T07:00:0", "where nothing was recorded and 1."}},
		{"a quantity that the build did not have", []string{`DROP VIEW sample`, `ALTER TABLE sample_row DROP COLUMN head_meters`}, []string{"121" + rows}},
		{"digests that are its own", []string{`UPDATE digest SET sha256 = 'other'`}, []string{"121" + rows, "0 digests of the live run checked"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := newTape(t)
			p.wall = p.wall.Add(700 * time.Nanosecond) // rows have microseconds, inputs have more
			p.run(2, tapedRig)
			p.end(append([]string{`UPDATE run SET build = 'old 1'`}, c.change...)...)
			lines, diag, code := p.replayed()
			if code != 0 || len(lines) != len(p.states[0]) {
				t.Errorf("exit %d with %d states: %s", code, len(lines), diag)
			}
			says(t, "it", diag, c.want...)
			if strings.Count(diag, "differs in") != len(c.want)-1 && !strings.Contains(c.name, "digests") && !strings.Contains(c.name, "not known") {
				t.Errorf("it says of other differences:\n%s", diag)
			}
		})
	}
}
