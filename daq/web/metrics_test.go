package web

import (
	"flag"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

var update = flag.Bool("update", false, "write the goldens anew")

func statsBed(t *testing.T) *bed {
	return testBed(t, func(o *Options) {
		o.Checks = func() map[string]error { return map[string]error{"recording": nil, "broker": errFake} }
		o.Stats = func() []Stat {
			published, rows := counter("flowrig_mqtt_published_total", "Messages handed to the broker."), counter("flowrig_record_rows_total", "Rows on disk.")
			return []Stat{published.Of(12), rows.Of(7), QueueDropped.Of(3, "record")}
		}
	})
}

// TestPromtoolFindsNothing: promtool (of Debian's prometheus) is the oracle
// for names and form.
func TestPromtoolFindsNothing(t *testing.T) {
	path := daqtest.Program(t, "promtool", "prometheus")
	b := statsBed(t)
	full := hotState()
	for id := range quantity.Count {
		if _, known := full.Values.Get(id); !known {
			full.Values.Put(id, 1)
		}
	}
	b.rig.set(func(f *fakeRig) { f.state = full })
	b.ObserveReading(daq.Reading{Instrument: quantity.Flow, Took: time.Millisecond})
	_, _, text := b.ask("GET", "/metrics", "", "")
	if !strings.Contains(text, "flowrig_seconds_to_overheat{") {
		t.Fatalf("not every name is there: %s", text)
	}
	command := exec.Command(path, "check", "metrics")
	command.Stdin = strings.NewReader(text)
	if out, err := command.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v: %s", err, out)
	}
}

// golden keeps the metrics of ours whose values do not change by themselves.
var golden = regexp.MustCompile(`(?m)^(# HELP |# TYPE )?flowrig_.*\n`)

func TestMetricsGolden(t *testing.T) {
	b := statsBed(t)
	s := badState()
	b.rig.set(func(f *fakeRig) { f.state = s })
	b.ObserveReading(daq.Reading{Instrument: quantity.Temperature, Reason: daq.ReasonTimeout, Error: "no answer", Took: 200 * time.Millisecond})
	_, _, text := b.ask("GET", "/metrics", "", "")
	text = strings.Join(golden.FindAllString(text, -1), "")
	text = regexp.MustCompile(`goversion="[^"]*"`).ReplaceAllString(text, `goversion="…"`)
	const file = "testdata/metrics.txt"
	if *update {
		must(t, os.WriteFile(file, []byte(text), 0o644))
	}
	want, err := os.ReadFile(file)
	must(t, err)
	if text != string(want) {
		t.Errorf("metrics differ from %s; if that is meant, run with -update\n%s", file, text)
	}
}

func TestUnknownIsAbsent(t *testing.T) {
	b := testBed(t, nil)
	b.rig.set(func(f *fakeRig) { f.state = badState() })
	_, _, text := b.ask("GET", "/metrics", "", "")
	for _, c := range []struct {
		line  string
		there bool
	}{
		{"flowrig_reynolds_number{", false},
		{"flowrig_temperature_celsius{", false},
		{`flowrig_flow_cubic_meters_per_second{rig="bench-3",site="north-hall"} 1.186e-05`, true},
		{`flowrig_regime{regime="unknown",rig="bench-3",site="north-hall"} 1`, true},
		{`flowrig_regime{regime="laminar",rig="bench-3",site="north-hall"} 0`, true},
		{`flowrig_alarm_active{alarm="instrument-fault-temperature",priority="medium"} 1`, true},
		{`flowrig_alarm_unacknowledged{alarm="instrument-fault-temperature",priority="medium"} 1`, true},
		{`flowrig_alarm_active{alarm="water-overheat",priority="high"} 0`, true},
		{`flowrig_instrument_usable{instrument="temperature"} 0`, true},
	} {
		if strings.Contains(text, "\n"+c.line) != c.there {
			t.Errorf("%s: want %v", c.line, c.there)
		}
	}
}

// TestOpenMetricsOnlyWhenAsked follows OpenMetrics 1.0, section 4.
func TestOpenMetricsOnlyWhenAsked(t *testing.T) {
	b := testBed(t, nil)
	_, header, text := b.ask("GET", "/metrics", "", "", func(r *http.Request) {
		r.Header.Set("Accept", "application/openmetrics-text; version=1.0.0")
	})
	if !strings.HasPrefix(header.Get("Content-Type"), "application/openmetrics-text; version=1.0.0; charset=utf-8") || !strings.HasSuffix(text, "# EOF\n") {
		t.Errorf("%s … %.40q", header.Get("Content-Type"), text[len(text)-40:])
	}
	if _, header, _ := b.ask("GET", "/metrics", "", ""); !strings.HasPrefix(header.Get("Content-Type"), "text/plain; version=0.0.4") {
		t.Errorf("without asking: %s", header.Get("Content-Type"))
	}
}

func BenchmarkObserveReading(b *testing.B) {
	m := newMeters([]quantity.ID{quantity.Flow})
	r := daq.Reading{Instrument: quantity.Flow, Took: 8 * time.Millisecond}
	now := time.Now()
	b.ReportAllocs()
	for b.Loop() {
		m.observe(r, now)
	}
}

func BenchmarkPageParts(b *testing.B) {
	s, err := New(Options{Listen: "127.0.0.1:0", Facts: testFacts(), Rig: &fakeRig{state: hotState()}, Log: quiet})
	must(b, err)
	b.ReportAllocs()
	for b.Loop() {
		s.render(s.current())
	}
}
