package snapshot

import (
	"bytes"
	"math"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"
)

type part struct {
	number float64
	flag   bool
	text   string
}

type gap struct { // seven bytes lie between its fields
	flag   bool
	number int64
}

type whole struct {
	plain   [3]int64
	gaps    []gap
	nothing []float64
	empty   []float64
	list    []float64
	parts   []part
	one     *part
	same    *part
	other   *part
	at      time.Time
	pattern *regexp.Regexp
	names   map[string]*part
	numbers map[int]string
	scratch []float64 `snapshot:"length"`
	known   *config
	part
}

type config struct{ Do func() }

func example(cfg *config) *whole {
	one := &part{math.NaN(), true, "shared"}
	return &whole{
		plain: [3]int64{1, -2, 3}, gaps: []gap{{true, 5}, {false, -5}}, empty: []float64{}, list: []float64{0, math.Copysign(0, -1), math.Inf(-1)},
		parts: []part{{1, true, ""}, {2, false, "°C"}}, one: one, same: one,
		at: time.Date(2031, 5, 6, 7, 8, 9, 10, time.FixedZone("", 3600)), pattern: regexp.MustCompile(`^T=(?P<value>[0-9]+)$`),
		names: map[string]*part{"b": one, "a": {text: "of its own"}}, numbers: map[int]string{3: "c", -1: "a"},
		scratch: []float64{9, 9}, known: cfg, part: part{text: "embedded"},
	}
}

func take(t *testing.T, root any, known ...any) []byte {
	t.Helper()
	b, err := Take(root, known...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestEverythingComesBack(t *testing.T) {
	cfg := &config{}
	in, out := example(cfg), whole{}
	data := take(t, in, cfg)
	if err := Restore(data, &out, cfg); err != nil {
		t.Fatal(err)
	}
	if again := take(t, &out, cfg); len(again) != len(data) {
		t.Errorf("what came back is written in %d bytes, and was in %d", len(again), len(data))
	}
	if out.one != out.same || out.names["b"] != out.one || out.known != cfg {
		t.Error("what was shared is not any more")
	}
	if out.nothing != nil || out.empty == nil || out.other != nil {
		t.Error("nil and empty are not kept apart")
	}
	if !math.IsNaN(out.one.number) || math.Signbit(out.list[0]) || !math.Signbit(out.list[1]) {
		t.Errorf("numbers differ: %v, %v", out.one, out.list)
	}
	if !out.at.Equal(in.at) || out.at.Format(time.RFC3339) != in.at.Format(time.RFC3339) {
		t.Errorf("%v came back as %v", in.at, out.at)
	}
	if len(out.scratch) != 2 || out.scratch[0] != 0 {
		t.Errorf("of the scratch came back %v", out.scratch)
	}
	in.one.number, out.one.number, in.at, out.at = 0, 0, time.Time{}, time.Time{} // NaN equals nothing
	in.scratch = out.scratch
	if !reflect.DeepEqual(in, &out) {
		t.Errorf("%+v came back as %+v", in, &out)
	}
}

// Equal values give equal bytes: neither the order of a map nor what lies between two
// fields shows.
func TestEqualValuesGiveEqualBytes(t *testing.T) {
	cfg := &config{}
	first := take(t, example(cfg), cfg)
	for range 20 {
		if again := take(t, example(cfg), cfg); !bytes.Equal(first, again) {
			t.Fatal("the same value gave other bytes")
		}
	}
}

func TestWhatCannotBeWrittenIsNamed(t *testing.T) {
	for want, v := range map[string]any{
		".F": struct{ F func() }{}, ".In.C": struct{ In struct{ C chan int } }{}, ".E": struct{ E []error }{}, ".U": struct{ U uintptr }{},
		".K": struct{ K map[*part]int }{},
	} {
		if err := Check(reflect.TypeOf(v)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%T: %v, want %s in it", v, err, want)
		}
	}
	if err := Check(reflect.TypeFor[whole](), reflect.TypeFor[config]()); err != nil {
		t.Error(err)
	}
	if err := Check(reflect.TypeFor[whole]()); err == nil {
		t.Error("a function in a configuration that is not known passes")
	}
}

func TestAPointerIntoSomethingIsRefused(t *testing.T) {
	var v struct {
		list []float64
		into *float64
	}
	v.list = []float64{1, 2, 3}
	v.into = &v.list[1]
	if _, err := Take(&v); err == nil || !strings.Contains(err.Error(), ".into") {
		t.Errorf("a pointer into a slice: %v", err)
	}
	var w struct {
		number float64
		into   *float64
	}
	w.into = &w.number
	if _, err := Take(&w); err == nil || !strings.Contains(err.Error(), ".into") {
		t.Errorf("a pointer to a field: %v", err)
	}
}

func TestAnotherConfigurationIsRefused(t *testing.T) {
	if _, err := Take(example(&config{}), &config{}); err == nil || !strings.Contains(err.Error(), "known") {
		t.Errorf("a configuration that is not the known one: %v", err)
	}
}

// Bytes that are cut off, or of something else, are an error and never a panic.
func TestBrokenBytesAreAnError(t *testing.T) {
	cfg := &config{}
	data := take(t, example(cfg), cfg)
	for n := range data {
		if err := Restore(data[:n], &whole{}, cfg); err == nil {
			t.Fatalf("%d of %d bytes are taken for all", n, len(data))
		}
	}
	if err := Restore(append(data, 0), &whole{}, cfg); err == nil {
		t.Error("a byte too many is taken")
	}
	if err := Restore(data, &part{}); err == nil {
		t.Error("the bytes of something else are taken")
	}
}

func FuzzRestore(f *testing.F) {
	cfg := &config{}
	data, _ := Take(example(cfg), cfg)
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) { _ = Restore(data, &whole{}, cfg) })
}
