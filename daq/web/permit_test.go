package web

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

func TestPermit(t *testing.T) {
	b := testBed(t, nil)
	for _, c := range []struct {
		name, token, body string
		status            int
		verb              daq.Verb // "": the engine hears nothing
	}{
		{"given by an operator", b.operate, `{"action":"give"}`, 200, daq.Give},
		{"withdrawn", b.operate, `{"action":"withdraw"}`, 200, daq.Withdraw},
		{"tested", b.operate, `{"action":"proof-test"}`, 200, daq.ProofTest},
		{"given by a watcher", b.watch, `{"action":"give"}`, 403, ""},
		{"given by nobody", "", `{"action":"give"}`, 401, ""},
		{"nothing said", b.operate, `{}`, 400, ""},
		{"a verb of alarms", b.operate, `{"action":"reset"}`, 400, ""},
		{"withdrawn without an alarm", b.operate, `{"action":"withdraw","without":["head-lost"]}`, 400, ""},
		{"without a word", b.operate, `{"action":"give","without":"head-lost"}`, 400, ""},
	} {
		before := len(b.rig.commands())
		status, _, text := b.ask("POST", "/api/permit", c.token, c.body)
		heard := b.rig.commands()[before:]
		if status != c.status || (c.verb == "") != (len(heard) == 0) || c.verb != "" && (heard[0].Verb() != c.verb || heard[0].Who != "ada") {
			t.Errorf("%s: %d %s, heard %+v", c.name, status, text, heard)
		}
	}
	b.ask("POST", "/api/permit", b.operate, `{"action":"give","without":["head-lost","water-overheat"]}`)
	list := b.rig.commands()
	if got := list[len(list)-1].Ask.(*daq.GiveAsk).Without; !slices.Equal(got, []string{"head-lost", "water-overheat"}) {
		t.Errorf("given without %v", got)
	}
	b.rig.set(func(f *fakeRig) { f.deny = errors.New("permit: a trip stands: water-overheat") })
	if status, _, text := b.ask("POST", "/api/permit", b.operate, `{"action":"give"}`); status != 409 || !strings.Contains(text, "a trip stands") {
		t.Errorf("refused: %d %s", status, text)
	}
}

// TestPermitIsShown: without an output there is nothing to see or to press;
// with a trip there is no button to give it.
func TestPermitIsShown(t *testing.T) {
	on := func(s *daq.State, given, permitted bool) {
		s.Given = given
		s.Values.PutBool(quantity.HeatingPermitted, permitted)
	}
	for _, c := range []struct {
		name    string
		change  func(*daq.State)
		reply   string
		button  string
		without string
	}{
		{"none fitted", func(*daq.State) {}, `{"given":null,"permitted":null,"tripped":[],"proof_test":false,"without":[]}`, "", "Permit to heat"},
		{"off", func(s *daq.State) { on(s, false, false) }, `{"given":false,"permitted":false,"tripped":[],"proof_test":false,"without":[]}`, "permit-give", "permit-withdraw"},
		{"given", func(s *daq.State) { on(s, true, true) }, `{"given":true,"permitted":true,"tripped":[],"proof_test":false,"without":[]}`, "permit-withdraw", "permit-give"},
		{"given, not confirmed", func(s *daq.State) { on(s, true, false) }, `{"given":true,"permitted":false,"tripped":[],"proof_test":false,"without":[]}`, "treat the heater as on", "permit-give"},
		{"proof test", func(s *daq.State) { on(s, true, false); s.ProofTest = true },
			`{"given":true,"permitted":false,"tripped":[],"proof_test":true,"without":[]}`, "permit-withdraw", "permit-give"},
		{"proof test, not to begin twice", func(s *daq.State) { on(s, true, false); s.ProofTest = true },
			`{"given":true,"permitted":false,"tripped":[],"proof_test":true,"without":[]}`, "Given, proof test running", "permit-test"},
		{"an alarm out of service", func(s *daq.State) { on(s, false, false); s.Unwatched = []string{"water-overheat", "head-lost"} },
			`{"given":false,"permitted":false,"tripped":[],"proof_test":false,"without":[]}`, `data-without="water-overheat head-lost" data-sure="Give the heating permit WITHOUT water-overheat, head-lost?`, "permit-withdraw"},
		{"given without one", func(s *daq.State) { on(s, true, true); s.Without = []string{"water-overheat"} },
			`{"given":true,"permitted":true,"tripped":[],"proof_test":false,"without":["water-overheat"]}`, "<strong>Given without water-overheat</strong>: out of service", "permit-give"},
		{"tripped", func(s *daq.State) {
			on(s, false, false)
			s.Tripped = []string{"head-lost"}
		}, `{"given":false,"permitted":false,"tripped":["head-lost"],"proof_test":false,"without":[]}`, "Held off by head-lost", "permit-give"},
		{"tripped by an alarm that is not in the list any more", func(s *daq.State) {
			on(s, false, false)
			s.Tripped, s.Alarms = []string{"instrument-fault-level"}, nil
		}, `{"given":false,"permitted":false,"tripped":["instrument-fault-level"],"proof_test":false,"without":[]}`, `data-alarm="instrument-fault-level" data-verb="reset"`, "permit-give"},
	} {
		b := testBed(t, nil)
		s := steadyState()
		c.change(s)
		b.rig.set(func(f *fakeRig) { f.state = s })
		if _, _, text := b.ask("GET", "/api/permit", "", ""); text != c.reply+"\n" {
			t.Errorf("%s: %s", c.name, text)
		}
		if _, _, page := b.ask("GET", "/", "", ""); !strings.Contains(page, c.button) || strings.Contains(page, c.without) {
			t.Errorf("%s: the page lacks %q or has %q", c.name, c.button, c.without)
		}
	}
}
