package record

import (
	"database/sql"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// rigInputs are n inputs as a rig gives them: ticks, and readings whose numbers are
// decimals, floats of 32 bits and of 64; among them each kind of input. Times are in
// multiples of unit.
func rigInputs(n int, unit time.Duration) []daq.Input {
	random := rand.New(rand.NewPCG(3, 4))
	noise := func(most time.Duration) time.Duration {
		return time.Duration(random.Int64N(int64(most))).Truncate(unit)
	}
	list := everyKind()
	mono := time.Second
	for i := len(list); i < n; i++ {
		mono += noise(20 * time.Millisecond)
		in := daq.Input{Number: uint64(i + 1), Mono: mono, Wall: start.Add(mono + noise(3*unit)), Synchronised: i > n/2, Kind: daq.KindTick}
		if which := random.IntN(5); which > 0 {
			in.Kind = daq.KindReading
			r := daq.Reading{Took: 7*time.Millisecond + noise(time.Millisecond), At: mono - noise(time.Millisecond)}
			switch which {
			case 1:
				r.Instrument, r.Number = quantity.Level, float64(14000+random.IntN(10))
				r.Count = uint64(r.Number)
			case 2:
				r.Instrument, r.Number = quantity.Flow, float64(float32(0.6)+float32(random.IntN(3))/1024)
			case 3:
				r.Instrument, r.Number, r.Count = quantity.Ambient, float64(1600+random.IntN(9))/100, 16
			case 4:
				r.Instrument, r.Number = quantity.Temperature, random.NormFloat64()
			}
			in.Reading = r
		}
		list = append(list, in)
	}
	for i := range list {
		list[i].Mono, list[i].Wall = list[i].Mono.Truncate(unit), list[i].Wall.Truncate(unit)
		list[i].Reading.At, list[i].Reading.Took = list[i].Reading.At.Truncate(unit), list[i].Reading.Took.Truncate(unit)
	}
	return list
}

func storedOf(t testing.TB, list []daq.Input) []storedInput {
	t.Helper()
	rows := make([]storedInput, len(list))
	for i := range list {
		in := &list[i]
		kind, body, err := encodeInput(in)
		if err != nil {
			t.Fatal(err)
		}
		rows[i] = storedInput{int64(in.Number), int64(in.Mono), fullTime(in.Wall), in.Synchronised, kind, body}
	}
	return rows
}

// TestPackedInputsComeBackExactly: to the last bit, in the columns; and what the columns
// cannot hold comes back as well.
func TestPackedInputsComeBackExactly(t *testing.T) {
	for _, unit := range []time.Duration{time.Nanosecond, time.Microsecond} {
		want := rigInputs(3000, unit)
		data, err := packInputs(storedOf(t, want))
		if err != nil || data[0] != packedColumns {
			t.Fatal(data[0], err)
		}
		got, err := unpackInputs(data)
		if err != nil || len(got) != len(want) {
			t.Fatal(len(got), err)
		}
		for i := range got {
			if !reflect.DeepEqual(got[i], want[i]) || math.Float64bits(got[i].Reading.Number) != math.Float64bits(want[i].Reading.Number) {
				t.Fatalf("%v: input %d: %+v, want %+v", unit, i+1, got[i], want[i])
			}
		}
		t.Logf("in whole %v: %.1f bytes an input", unit, float64(len(data))/float64(len(want)))
	}
	minus := []daq.Input{{Number: 1, Kind: daq.KindReading, Wall: start, Reading: daq.Reading{Instrument: quantity.Level, Number: math.Copysign(0, -1)}}}
	if data, err := packInputs(storedOf(t, minus)); err != nil || data[0] != packedColumns {
		t.Errorf("-0 does not stand in the columns: %v", err)
	}
	far := storedOf(t, rigInputs(20, 1))
	far[3].Time = "0001-01-01T00:00:00.000000000Z" // beyond what nanoseconds count
	data, err := packInputs(far)
	if err != nil || data[0] != packedRows {
		t.Fatal(data[0], err)
	}
	if got, err := unpackInputs(data); err != nil || len(got) != 20 || !got[3].Wall.IsZero() {
		t.Errorf("%v, %v", got, err)
	}
}

// TestDamagedBytesAreAnError: whatever bytes are asked for what they hold, nothing
// breaks.
func TestDamagedBytesAreAnError(t *testing.T) {
	data, err := packInputs(storedOf(t, rigInputs(200, 1)))
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(5, 6))
	for range 2000 {
		spoilt := append([]byte(nil), data...)
		for range 1 + random.IntN(3) {
			spoilt[random.IntN(len(spoilt))] ^= byte(1 << random.IntN(8))
		}
		_, _ = unpackInputs(spoilt[:random.IntN(len(spoilt)+1)])
		_, _ = unpackInputs(spoilt)
	}
}

// quick packs fifty inputs at once when they are a second old.
var quick = packing{inputs: 50, recent: time.Second, step: 7, every: 20 * time.Millisecond, soon: time.Millisecond}

// record puts inputs, and waits until they are on disk.
func recordInputs(t *testing.T, r *Recorder, list []daq.Input) {
	t.Helper()
	for _, in := range list {
		r.Put(daq.Batch{Input: in})
	}
	r.Hurry()
	await(t, "the inputs on disk", func() bool { return r.Waiting() == 0 })
}

func await(t *testing.T, what string, done func() bool) {
	t.Helper()
	for over := time.Now().Add(20 * time.Second); !done(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(over) {
			t.Fatal(what + ": not within 20 s")
		}
	}
}

func inputsOf(t *testing.T, r *Reader, run int64) (list []daq.Input, lost []error) {
	t.Helper()
	for in, err := range r.Inputs(t.Context(), run, 1) {
		var hole *daq.LostInputs
		if errors.As(err, &hole) {
			lost = append(lost, err)
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, in)
	}
	return list, lost
}

func readerCount(t *testing.T, r *Reader, query string) (n int) {
	t.Helper()
	return count(t, r.history, query)
}

// TestOldInputsArePacked: the newest second stays in rows; a reader finds every input
// once at any moment, and so does the next opening.
func TestOldInputsArePacked(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{packing: quick})
	want := rigInputs(600, time.Microsecond)
	recordInputs(t, r, want)
	newest := want[len(want)-1].Mono
	old := 0
	for _, in := range want {
		if in.Mono <= newest-time.Second {
			old++
		}
	}
	old -= old % 50
	await(t, "packing", func() bool {
		if got, lost := inputsOf(t, r.Reader, 1); !reflect.DeepEqual(got, want) || lost != nil {
			t.Fatalf("while they are packed %d inputs come back, %v", len(got), lost)
		}
		return readerCount(t, r.Reader, `SELECT count(*) FROM input`) == len(want)-old
	})
	if got := readerCount(t, r.Reader, `SELECT sum(count) FROM input_block`); got != old {
		t.Errorf("%d inputs are packed, want %d: those a second old, fifty at a time", got, old)
	}
	for in, err := range r.Inputs(t.Context(), 1, 75) {
		if in.Number != 75 || err != nil {
			t.Errorf("from 75 on: %d, %v", in.Number, err)
		}
		break
	}
	runs, err := r.Runs(t.Context())
	if err != nil || runs[0].First != 1 || runs[0].Inputs != int64(len(want)) {
		t.Errorf("%+v, %v", runs, err)
	}
	shut(t, r)
	again := open(t, dir, Options{packing: quick})
	first, later := begin("x").Input, daq.Input{Number: 2, Kind: daq.KindTick, Mono: quick.recent - 1, Wall: start}
	recordInputs(t, again, []daq.Input{first, later})
	if b, err := again.nextBlock(t.Context(), quick, 2, later.Mono); b != nil || err != nil {
		t.Errorf("the end of the run before is still of the newest, and %v is packed, %v", b, err)
	}
	later.Number, later.Mono = 3, quick.recent
	recordInputs(t, again, []daq.Input{later})
	await(t, "the run that has ended", func() bool {
		return readerCount(t, again.Reader, `SELECT count(*) FROM input WHERE run = 1`) == 0
	})
	if got, lost := inputsOf(t, again.Reader, 1); !reflect.DeepEqual(got, want) || lost != nil {
		t.Errorf("of a run that has ended %d inputs come back, %v", len(got), lost)
	}
}

// TestAClockThatJumpsPacksNothing: a wall clock years ahead makes no input old.
func TestAClockThatJumpsPacksNothing(t *testing.T) {
	r := open(t, t.TempDir(), Options{packing: quick})
	list := rigInputs(200, time.Microsecond)
	for i := range list {
		list[i].Mono = time.Duration(i) * time.Millisecond
		list[i].Wall = list[i].Wall.AddDate(i/100*10, 0, 0)
	}
	recordInputs(t, r, list)
	for range 3 {
		if b, err := r.nextBlock(t.Context(), quick, 1, list[199].Mono); b != nil || err != nil {
			t.Errorf("%+v, %v", b, err)
		}
	}
	if b, err := r.nextBlock(t.Context(), quick, 1, list[49].Mono+quick.recent); b == nil || err != nil {
		t.Errorf("what is a second old: %v, %v", b, err)
	}
}

// TestADamagedBlockCostsItselfAlone names it by its time, and gives all others.
func TestADamagedBlockCostsItselfAlone(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{packing: quick})
	want := rigInputs(600, time.Microsecond)
	recordInputs(t, r, want)
	await(t, "packing", func() bool { return readerCount(t, r.Reader, `SELECT count(*) FROM input_block`) > 4 })
	shut(t, r)
	execute(t, dir, `UPDATE input_block SET data = CAST(substr(data, 1, 100) || 'x' || substr(data, 102) AS BLOB) WHERE first = 101`)
	reader, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	got, lost := inputsOf(t, reader, 1)
	if rest := append(append([]daq.Input(nil), want[:100]...), want[150:]...); !reflect.DeepEqual(got, rest) {
		t.Errorf("%d inputs come back, want %d", len(got), len(rest))
	}
	if len(lost) != 1 || !strings.Contains(lost[0].Error(), "inputs 101 to 150, from "+fullTime(want[100].Wall)+" to "+fullTime(want[149].Wall)) || !strings.Contains(lost[0].Error(), "checksum") {
		t.Errorf("%v", lost)
	}
}

// TestAFullCardLosesNoInput: while no block goes to disk the rows stay; afterwards they
// are packed.
func TestAFullCardLosesNoInput(t *testing.T) {
	var full atomic.Bool
	r := open(t, t.TempDir(), Options{packing: packing{inputs: 50, recent: time.Second, step: 7, every: 5 * time.Millisecond, soon: time.Millisecond},
		Commit: func(commit func() error) error {
			if full.Load() {
				return errors.New("no space left on device")
			}
			return commit()
		}})
	want := rigInputs(600, time.Microsecond)
	full.Store(true)
	for _, in := range want {
		r.Put(daq.Batch{Input: in})
	}
	full.Store(false)
	await(t, "inputs", func() bool { return r.Waiting() == 0 })
	for round := range 20 {
		full.Store(round%2 == 0)
		for range 5 {
			if got, lost := inputsOf(t, r.Reader, 1); !reflect.DeepEqual(got, want) || lost != nil {
				t.Fatalf("%d inputs come back, %v", len(got), lost)
			}
		}
	}
	full.Store(false)
	await(t, "packing", func() bool { return readerCount(t, r.Reader, `SELECT count(*) FROM input_block`) > 4 })
}

// TestPackingGoesOnAfterAKill: whichever part of a packing is on disk, every input is
// there once, and the next opening finishes it.
func TestPackingGoesOnAfterAKill(t *testing.T) {
	for gone := range 4 {
		dir := t.TempDir()
		r := open(t, dir, Options{})
		want := rigInputs(150, time.Microsecond)
		recordInputs(t, r, want)
		b, err := r.nextBlock(t.Context(), quick, 1, time.Hour)
		if err != nil {
			t.Fatal(err)
		}
		shut(t, r)
		putBlock(t, dir, b, gone*20)
		again := open(t, dir, Options{packing: quick})
		if got, lost := inputsOf(t, again.Reader, 1); !reflect.DeepEqual(got, want) || lost != nil {
			t.Errorf("%d rows gone: %d inputs come back, %v", gone*20, len(got), lost)
		}
		await(t, "the rest", func() bool { return readerCount(t, again.Reader, `SELECT count(*) FROM input WHERE number <= 50`) == 0 })
		if got, lost := inputsOf(t, again.Reader, 1); !reflect.DeepEqual(got, want) || lost != nil {
			t.Errorf("afterwards: %d inputs come back, %v", len(got), lost)
		}
	}
}

func putBlock(t *testing.T, dir string, b *block, gone int) {
	t.Helper()
	db, err := sql.Open("sqlite", databasePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`INSERT INTO input_block VALUES (?,?,?,?,?,?,?,?)`, b.run, b.first, b.last, b.count, b.begin, b.end, b.sha256, b.data); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(fmt.Sprintf(`DELETE FROM input WHERE number <= min(%d, %d)`, gone, b.last)); err != nil {
		t.Fatal(err)
	}
}
