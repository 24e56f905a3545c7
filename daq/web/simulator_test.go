package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"

	"flowrigd/daq"
)

// fakeHands stand in for the simulated rig.
type fakeHands struct {
	mu   sync.Mutex
	now  daq.Simulator
	deny error
	done []daq.Hands
}

func (f *fakeHands) Hand(h daq.Hands) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.done = append(f.done, h)
	return f.deny
}

func (f *fakeHands) Simulator() daq.Simulator { return f.now }

func TestSimulatorIsSetByHand(t *testing.T) {
	t.Parallel()
	hands := &fakeHands{now: daq.Simulator{Valve: 0.40004, Opening: 0.3, Supply: 3.5e-3 / 60, Heater: 45, Dye: true, Scenario: "sweep", Speed: 10,
		Scenarios: []daq.Scenario{{Name: "sweep", About: "Four temperatures.", Mishap: false}}}}
	b := testBed(t, func(o *Options) { o.Simulator = hands })
	code, _, body := b.ask("GET", "/api/simulator", "", "")
	var now map[string]any
	must(t, json.Unmarshal([]byte(body), &now))
	if code != http.StatusOK || now["valve"] != 0.4 || now["valve_now"] != 0.3 || now["supply"] != "3.5 L/min" || now["heater"] != "45 Cel" || now["dye"] != true ||
		now["scenario"] != "sweep" || now["speed"] != 10.0 || now["pause"] != false || !strings.Contains(body, `{"name":"sweep","about":"Four temperatures.","mishap":false}`) ||
		!strings.Contains(body, "begins from the present state") {
		t.Errorf("%d %s", code, body)
	}
	code, _, body = b.ask("POST", "/api/simulator", b.operate, `{"valve":0.25,"supply":"60 mL/s","heater":"45 Cel","dye":false,"scenario":"steady","speed":2,"pause":true}`)
	if code != http.StatusOK || len(hands.done) != 1 {
		t.Fatalf("%d %s", code, body)
	}
	h := hands.done[0]
	if *h.Valve != 0.25 || *h.Supply < 5.9999e-5 || *h.Supply > 6.0001e-5 || *h.Heater != 45 || *h.Dye || *h.Scenario != "steady" || *h.Speed != 2 || !*h.Pause {
		t.Errorf("%+v", h)
	}
	if b.ask("POST", "/api/simulator", b.operate, `{"dye":true}`); len(hands.done) != 2 || hands.done[1].Valve != nil || hands.done[1].Supply != nil || !*hands.done[1].Dye {
		t.Errorf("%+v", hands.done)
	}
}

// Whatever is wrong is a problem with its remedy, and none of it is done.
func TestSimulatorRefuses(t *testing.T) {
	t.Parallel()
	hands := &fakeHands{}
	b := testBed(t, func(o *Options) { o.Simulator = hands })
	for _, c := range []struct{ body, says string }{
		{`{"valve":0.5,"knob":1}`, `unknown key \"knob\"`},
		{`{"valve":0.5,"supply":"3.5 kg"}`, `supply: \"3.5 kg\": kg is not the unit of a volume flow`},
		{`{"valve":0.5,"heater":"45"}`, `heater: \"45\": `},
		{`{"supply":"3 L/min ± 1 L/min"}`, `write the value alone`},
		{`{"valve":0.5,"speed":0}`, `write {\"pause\":true}`},
		{`{"valve":"half"}`, `valve: string in place of float64`},
		{`{}`, `nothing is asked for`},
	} {
		code, head, body := b.ask("POST", "/api/simulator", b.operate, c.body)
		if code != http.StatusBadRequest || head.Get("Content-Type") != problemType || !strings.Contains(body, c.says) {
			t.Errorf("%s: %d %s", c.body, code, body)
		}
	}
	if len(hands.done) > 0 {
		t.Errorf("done %+v", hands.done)
	}
	hands.deny = errors.New("valve: 2 is out of range\nspeed: 5000 is out of range")
	if code, _, body := b.ask("POST", "/api/simulator", b.operate, `{"valve":2}`); code != http.StatusBadRequest || !strings.Contains(body, "out of range; speed") {
		t.Errorf("%d %s", code, body)
	}
	if code, _, _ := b.ask("POST", "/api/simulator", b.watch, `{"valve":1}`); code != http.StatusForbidden || len(hands.done) != 1 {
		t.Errorf("a watcher: %d", code)
	}
	if code, _, _ := b.ask("POST", "/api/simulator", "", `{"valve":1}`); code != http.StatusUnauthorized || len(hands.done) != 1 {
		t.Errorf("nobody: %d", code)
	}
}

// A real rig has no such thing, for anybody.
func TestNoSimulatorAtARealRig(t *testing.T) {
	t.Parallel()
	b := testBed(t, nil)
	for _, token := range []string{"", b.operate} {
		for _, method := range []string{"GET", "POST"} {
			code, head, body := b.ask(method, "/api/simulator", token, "")
			if code != http.StatusNotFound || head.Get("Content-Type") != problemType || !strings.Contains(body, "`flowrigd demo` alone") {
				t.Errorf("%s: %d %s", method, code, body)
			}
		}
	}
}
