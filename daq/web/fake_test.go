package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// fakeRig stands in for the engine.
type fakeRig struct {
	mu    sync.Mutex
	state *daq.State
	dead  error
	deny  error
	made  []byte // of what it is asked
	done  []daq.Command
}

func (f *fakeRig) Last() *daq.State {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.state
}

func (f *fakeRig) Identity() daq.Identity {
	return daq.Identity{Site: "north-hall", Rig: "bench-3", Recording: "5a9c", Sequence: 7}
}

func (f *fakeRig) Do(_ context.Context, c daq.Command) ([]byte, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.done = append(f.done, c)
	return f.made, f.deny
}

func (f *fakeRig) Alive() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.dead
}

func (f *fakeRig) set(change func(*fakeRig)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change(f)
}

func (f *fakeRig) commands() []daq.Command {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]daq.Command(nil), f.done...)
}

// fakeHistory gives a slow wave, or an error.
type fakeHistory struct{ err error }

func (h fakeHistory) Trend(_ context.Context, id quantity.ID, from, to time.Time, n int) ([]daq.Bucket, error) {
	if h.err != nil {
		return nil, h.err
	}
	base := map[quantity.ID]float64{quantity.Reynolds: 1840, quantity.Flow: 1.89e-5, quantity.Temperature: 42, quantity.Level: 0.2512}[id]
	list := make([]daq.Bucket, n)
	for i := range list {
		v := base * (1 + 0.004*math.Sin(float64(i)/17))
		list[i] = daq.Bucket{Time: from.Add(to.Sub(from) * time.Duration(i) / time.Duration(n)), Min: v * 0.999, Mean: v, Max: v * 1.001, Count: 5}
		if i > n/2 && i < n/2+9 {
			list[i] = daq.Bucket{Time: list[i].Time}
		}
	}
	return list, nil
}

func (h fakeHistory) Occupancy() (daq.Occupancy, bool) {
	return daq.Occupancy{Used: 2e9, MaxSize: 20e9, DiskFree: 60e9, PerDay: 45e6}, h.err == nil
}

func (h fakeHistory) AlarmFigures(_ context.Context, from, to time.Time) (alarm.Figures, error) {
	return alarm.Sum([]alarm.Event{{Name: "head-lost", State: alarm.Unacknowledged, Priority: "high", Time: to}}, from, to), nil
}

// Results are two of each kind, 7 and 4; 4 was struck twice as an observation.
func (h fakeHistory) Results(_ context.Context, what string, last int64, limit int) (list []daq.Message, err error) {
	if what == "strikes" {
		for i, reason := range []string{"the wrong tube", "no dye"} {
			e := daq.Event{Strike: &daq.Strike{Of: daq.KindObservation, Struck: 4, Reason: reason}}
			list = append(list, e.Message("r", int64(9-i)))
		}
		return list, h.err
	}
	for _, n := range []int64{7, 4} {
		if n <= last && len(list) < limit {
			list = append(list, daq.Message{Class: daq.ClassEvent, Sequence: n, Body: fmt.Appendf(nil, `{"sequence":%d,"what":%q}`, n, what)})
		}
	}
	return list, h.err
}

func (h fakeHistory) AlarmHistory(context.Context, int) ([]daq.Message, error) {
	if h.err != nil {
		return nil, h.err
	}
	return []daq.Message{{Class: daq.ClassAlarm, Sequence: 2, Name: "head-lost", Body: []byte(`{"name":"head-lost","state":"normal"}`)}}, nil
}

// steadyState is a calm laminar rig at 42 °C.
func steadyState() *daq.State {
	s := &daq.State{Time: time.Date(2026, 3, 4, 9, 30, 0, 0, time.UTC), Synchronised: true, Tick: true,
		Instruments: []quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level}}
	for _, id := range s.Instruments {
		s.Quality[id] = daq.Quality{Grade: daq.Good}
	}
	for id, v := range map[quantity.ID]float64{
		quantity.Flow: 1.186e-5, quantity.Temperature: 42.03, quantity.Level: 0.2512, quantity.Density: 991.4,
		quantity.DynamicViscosity: 6.28e-4, quantity.KinematicViscosity: 6.335e-7, quantity.Velocity: 0.0894,
		quantity.Reynolds: 1834.2, quantity.ReynoldsUncertainty: 35.7, quantity.ProbabilityBelow: 0.99951,
		quantity.ProbabilityBetween: 0.00049, quantity.ProbabilityAbove: 0, quantity.FrictionFactor: 0.0349,
		quantity.EntranceLength: 1.43, quantity.Head: 1.3512, quantity.TemperatureRate: 0.0001,
		quantity.LaminarLimitFlow: 1.2937e-5, quantity.TurbulentLimitFlow: 2.5874e-5,
	} {
		s.Values.Put(id, v)
	}
	s.Values.Put(quantity.Regime, float64(quantity.Laminar))
	s.Values.PutBool(quantity.Steady, true)
	s.Values.PutBool(quantity.Developed, false)
	return s
}

func number(v float64) *float64 { return &v }

// hotState is turbulent, above the overheat limit and above the scald limit.
func hotState() *daq.State {
	s := steadyState()
	s.Values.Put(quantity.Regime, float64(quantity.Turbulent))
	for id, v := range map[quantity.ID]float64{quantity.Temperature: 76.4, quantity.Flow: 6.1e-5, quantity.Reynolds: 15890,
		quantity.ReynoldsUncertainty: 302, quantity.ProbabilityBelow: 0, quantity.ProbabilityBetween: 0, quantity.ProbabilityAbove: 1,
		quantity.SecondsToOverheat: 0.4, quantity.LaminarLimitFlow: 7.7e-6, quantity.TurbulentLimitFlow: 1.54e-5, quantity.Level: 0.2261} {
		s.Values.Put(id, v)
	}
	s.Values.PutBool(quantity.Steady, false)
	s.Values.PutBool(quantity.HeatingPermitted, false)
	s.Tripped = []string{"water-overheat", "head-lost"}
	s.Alarms = []daq.AlarmStatus{
		{Name: "head-lost", State: "latched-acknowledged", Priority: "high", Since: s.Time.Add(-time.Hour), Value: number(0.226), Limit: number(0.230),
			Cause: "The level is too far below the overflow lip.", Consequence: "The head is not constant and readings do not count.",
			Action: "Open the supply until water runs over the lip.", Active: true, Acknowledged: true},
		{Name: "water-overheat", State: "unacknowledged", Priority: "high", Since: s.Time, Value: number(76.4), Limit: number(75),
			Cause: "The water is above its limit.", Consequence: "It scalds, and it strains the glass.",
			Action: "Switch the heater off and keep the water running.", Active: true},
	}
	return s
}

// badState has no thermocouple.
func badState() *daq.State {
	s := steadyState()
	s.Values = quantity.Set{}
	s.Values.Put(quantity.Flow, 1.186e-5)
	s.Values.Put(quantity.Level, 0.2512)
	s.Quality[quantity.Temperature] = daq.Quality{Grade: daq.Bad, Why: "no answer from /dev/ttyUSB1 for 4 s; see that the cable is plugged in"}
	s.Quality[quantity.Level] = daq.Quality{Grade: daq.Uncertain, Why: "the last good value is 1.2 s old"}
	s.Alarms = []daq.AlarmStatus{{Name: "instrument-fault-temperature", State: "unacknowledged", Priority: "medium", Since: s.Time,
		Cause: "There is no good reading of temperature.", Consequence: "The Reynolds number cannot be computed.",
		Action: "See that the cable and the supply of the instrument are sound.", Active: true}}
	return s
}

func testFacts() Facts {
	return Facts{LaminarBelow: 2000, TurbulentAbove: 4000, Lip: 0.250, HeadLost: number(0.230), Overheat: number(75),
		Alarms: []config.Alarm{
			{Name: "water-overheat", Priority: "high", On: []quantity.ID{quantity.Temperature}, Above: number(75), Deadband: 2, OnDelay: 2 * time.Second, Latch: true, Trip: true, Action: "Switch off."},
			{Name: "head-lost", Priority: "high", On: []quantity.ID{quantity.Level}, Below: number(0.230), Deadband: 0.005, OnDelay: 2 * time.Second, Latch: true, Trip: true},
			{Name: "instrument-fault-temperature", Priority: "medium"},
		},
		Instruments: []quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level}}
}

var quiet = slog.New(slog.NewTextHandler(io.Discard, nil))

// bed is a server on loopback with an operator's and a watcher's token.
type bed struct {
	*testing.T
	*Server
	rig            *fakeRig
	base           string
	operate, watch string
	file           string
	halt           func() // ends the server and waits for it
}

// testBed starts a server; change may adapt its options.
func testBed(t *testing.T, change func(*Options)) *bed {
	t.Helper()
	b := &bed{T: t, rig: &fakeRig{state: steadyState()}, file: filepath.Join(t.TempDir(), "tokens")}
	var err error
	b.operate = added(t, b.file, "ada", RoleOperate)
	b.watch = added(t, b.file, "wes", RoleWatch)
	opt := Options{Listen: "127.0.0.1:0", TokensFile: b.file, Facts: testFacts(), Rig: b.rig, History: fakeHistory{}, Log: quiet, Version: "test"}
	if change != nil {
		change(&opt)
	}
	if b.Server, err = New(opt); err != nil {
		t.Fatal(err)
	}
	b.start()
	return b
}

func (b *bed) start() {
	b.Helper()
	must(b, b.Listen())
	b.base = "http://" + b.Addr()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.Server.Run(ctx) }()
	b.halt = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			b.Errorf("run: %v", err)
		}
	})
	b.Cleanup(b.halt)
}

// ask sends a request; token "" sends none.
func (b *bed) ask(method, path, token, body string, change ...func(*http.Request)) (int, http.Header, string) {
	b.Helper()
	r, err := http.NewRequestWithContext(b.Context(), method, b.base+path, strings.NewReader(body))
	must(b, err)
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	for _, c := range change {
		c(r)
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	must(b, err)
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	must(b, err)
	return answer.StatusCode, answer.Header, string(text)
}

// answers holds the status of an answer.
func (b *bed) answers(want int, method, path, token, body string, change ...func(*http.Request)) {
	b.Helper()
	if status, _, text := b.ask(method, path, token, body, change...); status != want {
		b.Errorf("%s %s %s: %d, want %d: %s", method, path, body, status, want, text)
	}
}

// remote asks the handler as another machine would.
func (b *bed) remote(method, path, token string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://rig.example"+path, nil)
	r.RemoteAddr = "192.0.2.7:5000"
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	w := httptest.NewRecorder()
	b.Handler().ServeHTTP(w, r)
	return w
}

func decode[T any](t *testing.T, text string) (v T) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return v
}

var errFake = errors.New("no answer for 3 s")
