package record

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A block holds some thousand inputs of one run, column by column:
//
//	number, time since the start, wall clock - time since the start, synchronised, kind
//	of each clean reading: instrument, age at the step, duration, number, count
//	of everything else: the text of the body
//
// Times are in the largest of 1 µs and 1 ns that loses nothing. What a block gives back is
// compared with what went in before the rows are let go.
const (
	packedRows    = 0 // the rows as JSON: what the columns would not give back
	packedColumns = 1
)

// storedInput is a row of the input table.
type storedInput struct {
	Number       int64
	Mono         int64
	Time         string
	Synchronised bool
	Kind, Body   string
}

// input is what enters the engine.
func (s *storedInput) input() (in daq.Input, err error) {
	in = daq.Input{Number: uint64(s.Number), Mono: time.Duration(s.Mono), Synchronised: s.Synchronised}
	if in.Wall, err = time.Parse(time.RFC3339Nano, s.Time); err != nil {
		return in, fmt.Errorf("input %d: %w", s.Number, err)
	}
	if err := decodeInput(&in, s.Kind, s.Body); err != nil {
		return in, fmt.Errorf("input %d: %w", s.Number, err)
	}
	return in, nil
}

// packInputs makes the data of a block.
func packInputs(rows []storedInput) ([]byte, error) {
	if data := packByColumns(rows); data != nil {
		return data, nil
	}
	text, err := json.Marshal(rows)
	if err != nil {
		return nil, err
	}
	p := packer{out: []byte{packedRows}}
	p.bytes(text)
	return p.out, nil
}

// unpackInputs reads the data of a block.
func unpackInputs(data []byte) ([]daq.Input, error) {
	if len(data) == 0 {
		return nil, errPacked
	}
	u := unpacker{in: data[1:]}
	switch data[0] {
	case packedColumns:
		list := unpackColumns(&u)
		return list, u.err
	case packedRows:
		var rows []storedInput
		if err := errors.Join(json.Unmarshal(u.bytes(), &rows), u.err); err != nil {
			return nil, err
		}
		list := make([]daq.Input, len(rows))
		for i := range rows {
			in, err := rows[i].input()
			if err != nil {
				return nil, err
			}
			list[i] = in
		}
		return list, nil
	}
	return nil, fmt.Errorf("packed by way %d, which this flowrigd does not know", data[0])
}

// packByColumns gives nil where the columns would not give every input back.
func packByColumns(rows []storedInput) []byte {
	list := make([]daq.Input, len(rows))
	for i := range rows {
		in, err := rows[i].input()
		if err != nil {
			return nil
		}
		list[i] = in
	}
	p := packer{out: []byte{packedColumns}}
	packColumns(&p, list, rows)
	back, err := unpackInputs(p.out)
	if err != nil || len(back) != len(rows) {
		return nil
	}
	for i := range back {
		kind, body, err := encodeInput(&back[i])
		same := storedInput{int64(back[i].Number), int64(back[i].Mono), fullTime(back[i].Wall), back[i].Synchronised, kind, body}
		if err != nil || same != rows[i] {
			return nil
		}
	}
	return p.out
}

// isClean says whether a reading stands in the columns.
func isClean(in *daq.Input) bool {
	n := in.Reading.Number
	return in.Kind == daq.KindReading && in.Reading.Reason == "" && in.Reading.Error == "" && !math.IsNaN(n) && !math.IsInf(n, 0)
}

// The kind column holds the kind, and whether the body stands in the columns.
const inColumns = 0x40

func packColumns(p *packer, list []daq.Input, rows []storedInput) {
	n := len(list)
	unit := unitOf(list)
	number, mono, offset, flags := make([]int64, n), make([]int64, n), make([]int64, n), make([]int64, n)
	kinds := make([]byte, n)
	var bodies []byte
	var clean []*daq.Input
	for i := range list {
		in := &list[i]
		number[i], mono[i] = int64(in.Number), int64(in.Mono)/unit
		offset[i] = (in.Wall.UnixNano() - int64(in.Mono)) / unit
		if in.Synchronised {
			flags[i] = 1
		}
		kinds[i] = byte(in.Kind)
		switch {
		case isClean(in):
			kinds[i] |= inColumns
			clean = append(clean, in)
		case inputKinds[in.Kind].body != nil:
			bodies = append(append(bodies, rows[i].Body...), '\n') // JSON has no line break of its own
		}
	}
	p.number(int64(n))
	p.number(unit)
	p.differences(number)
	p.differences(mono)
	p.differences(offset)
	p.column(flags)
	p.bytes(kinds)
	p.bytes(bodies)
	packReadings(p, clean, unit)
}

// unitOf is the microsecond where no time needs more.
func unitOf(list []daq.Input) int64 {
	for i := range list {
		in := &list[i]
		if (int64(in.Mono) | in.Wall.UnixNano() | int64(in.Reading.At) | int64(in.Reading.Took)) == 0 {
			continue
		}
		for _, v := range []int64{int64(in.Mono), in.Wall.UnixNano(), int64(in.Reading.At), int64(in.Reading.Took)} {
			if v%1000 != 0 {
				return 1
			}
		}
	}
	return 1000
}

// packReadings packs what belongs to clean readings, the values of each instrument by
// themselves.
func packReadings(p *packer, clean []*daq.Input, unit int64) {
	var instruments []quantity.ID
	which := make([]byte, len(clean))
	age, took := make([]int64, len(clean)), make([]int64, len(clean))
	for i, in := range clean {
		k := slices.Index(instruments, in.Reading.Instrument)
		if k < 0 {
			k = len(instruments)
			instruments = append(instruments, in.Reading.Instrument)
		}
		which[i] = byte(k)
		age[i], took[i] = int64(in.Mono-in.Reading.At)/unit, int64(in.Reading.Took)/unit
	}
	p.number(int64(len(clean)))
	p.number(int64(len(instruments)))
	for _, id := range instruments {
		p.bytes([]byte(id.Short()))
	}
	p.bytes(which)
	for k := range instruments {
		var of []*daq.Input
		var ages, tooks []int64
		for i, in := range clean {
			if int(which[i]) == k {
				of, ages, tooks = append(of, in), append(ages, age[i]), append(tooks, took[i])
			}
		}
		p.aboutMiddle(ages)
		p.aboutMiddle(tooks)
		packValues(p, of)
	}
}

// aboutMiddle packs integers by what each differs from the middle one by size.
func (p *packer) aboutMiddle(list []int64) {
	sorted := slices.Sorted(slices.Values(list))
	middle := sorted[len(sorted)/2]
	p.number(middle)
	rest := make([]int64, len(list))
	for i, v := range list {
		rest[i] = v - middle
	}
	p.column(rest)
}

func (u *unpacker) aboutMiddle(want int) []int64 {
	middle := u.number()
	list := u.column(want)
	for i := range list {
		list[i] += middle
	}
	return list
}

// Ways to store the numbers of one instrument.
const (
	asDoubles = 20 // the bits of 64; below: so many decimals
	asFloats  = 21 // the bits of 32
)

// packValues packs the numbers and counts of one instrument.
func packValues(p *packer, of []*daq.Input) {
	way := wayOf(of)
	values, counts := make([]int64, len(of)), make([]int64, len(of))
	for i, in := range of {
		n := in.Reading.Number
		switch way {
		case asDoubles:
			values[i] = int64(math.Float64bits(n))
		case asFloats:
			values[i] = int64(math.Float32bits(float32(n)))
		default:
			values[i] = int64(math.Round(n * math.Pow10(way)))
		}
		counts[i] = int64(in.Reading.Count - whole(n))
	}
	p.number(int64(way))
	p.differences(values)
	p.differences(counts)
}

// whole is the count that a plain number has: its whole part, where that is one.
func whole(n float64) uint64 {
	if n >= 0 && n < 1<<53 {
		return uint64(n)
	}
	return 0
}

// wayOf is the shortest way that loses no bit of any number.
func wayOf(of []*daq.Input) int {
	fits := func(give func(float64) float64) bool {
		return !slices.ContainsFunc(of, func(in *daq.Input) bool {
			return math.Float64bits(give(in.Reading.Number)) != math.Float64bits(in.Reading.Number)
		})
	}
	for decimals := range 7 {
		if fits(func(n float64) float64 { return decimal(math.Round(n*math.Pow10(decimals)), decimals) }) {
			return decimals
		}
	}
	if fits(func(n float64) float64 { return float64(float32(n)) }) {
		return asFloats
	}
	return asDoubles
}

// decimal is a number by its digits; NaN where they are too many for an integer.
func decimal(digits float64, decimals int) float64 {
	if math.Abs(digits) >= 1<<53 {
		return math.NaN()
	}
	return float64(int64(digits)) / math.Pow10(decimals)
}

// inputsMost bounds a block, so that damaged bytes take no memory.
const inputsMost = 1 << 20

func unpackColumns(u *unpacker) []daq.Input {
	n := u.size(inputsMost)
	unit := u.number()
	number, mono, offset, flags := u.differences(n), u.differences(n), u.differences(n), u.column(n)
	kinds, bodies := u.plane(n), u.bytes()
	list := make([]daq.Input, len(kinds))
	var clean []*daq.Input
	for i, kind := range kinds {
		in := &list[i]
		in.Number, in.Mono = uint64(number[i]), time.Duration(mono[i]*unit)
		in.Wall = time.Unix(0, offset[i]*unit+int64(in.Mono)).UTC()
		in.Synchronised, in.Kind = flags[i] != 0, daq.Kind(kind&^inColumns)
		switch {
		case kind&inColumns != 0:
			clean = append(clean, in)
		case int(in.Kind) < len(inputKinds):
			bodies = u.body(in, bodies)
		default:
			u.fail()
		}
	}
	unpackReadings(u, clean, unit)
	return list
}

// body decodes what does not stand in the columns, and gives the bodies behind it.
func (u *unpacker) body(in *daq.Input, bodies []byte) []byte {
	k := inputKinds[in.Kind]
	if k.body == nil {
		return bodies
	}
	end := slices.Index(bodies, '\n')
	if end < 0 {
		u.fail()
		return nil
	}
	if err := decodeInput(in, k.name, string(bodies[:end])); err != nil && u.err == nil {
		u.err = err
	}
	return bodies[end+1:]
}

func unpackReadings(u *unpacker, clean []*daq.Input, unit int64) {
	if u.size(inputsMost) != len(clean) {
		u.fail()
		return
	}
	instruments := make([]quantity.ID, u.size(int(quantity.Count)))
	for k := range instruments {
		name := string(u.bytes())
		id, ok := quantity.ByShort(name)
		if !ok && u.err == nil {
			u.err = fmt.Errorf("%q is not a quantity of this flowrigd", name)
		}
		instruments[k] = id
	}
	which := u.plane(len(clean))
	for k, id := range instruments {
		var of []*daq.Input
		for i, w := range which {
			if int(w) == k {
				clean[i].Reading.Instrument = id
				of = append(of, clean[i])
			}
		}
		unpackValues(u, of, unit)
	}
}

func unpackValues(u *unpacker, of []*daq.Input, unit int64) {
	age, took := u.aboutMiddle(len(of)), u.aboutMiddle(len(of))
	way := u.size(asFloats)
	values, counts := u.differences(len(of)), u.differences(len(of))
	for i, in := range of {
		r := &in.Reading
		r.At, r.Took = in.Mono-time.Duration(age[i]*unit), time.Duration(took[i]*unit)
		switch way {
		case asDoubles:
			r.Number = math.Float64frombits(uint64(values[i]))
		case asFloats:
			r.Number = float64(math.Float32frombits(uint32(values[i])))
		default:
			r.Number = decimal(float64(values[i]), way)
		}
		r.Count = uint64(counts[i]) + whole(r.Number)
	}
}

func scanStored(rows *sql.Rows) (s storedInput, err error) {
	return s, rows.Scan(&s.Number, &s.Mono, &s.Time, &s.Synchronised, &s.Kind, &s.Body)
}
