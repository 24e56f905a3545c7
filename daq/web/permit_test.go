package web

import (
	"errors"
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
	} {
		before := len(b.rig.commands())
		status, _, text := b.ask("POST", "/api/permit", c.token, c.body)
		heard := b.rig.commands()[before:]
		if status != c.status || (c.verb == "") != (len(heard) == 0) || c.verb != "" && (heard[0].Verb != c.verb || heard[0].Who != "ada") {
			t.Errorf("%s: %d %s, heard %+v", c.name, status, text, heard)
		}
	}
	b.rig.set(func(f *fakeRig) { f.deny = errors.New("permit: a trip stands: water-overheat") })
	if status, _, text := b.ask("POST", "/api/permit", b.operate, `{"action":"give"}`); status != 409 || !strings.Contains(text, "a trip stands") {
		t.Errorf("refused: %d %s", status, text)
	}
}

// TestPermitIsShown: without an output there is nothing to see or to press;
// with a trip there is no button to give it.
func TestPermitIsShown(t *testing.T) {
	for _, c := range []struct {
		name    string
		change  func(*daq.State)
		reply   string
		button  string
		without string
	}{
		{"none fitted", func(*daq.State) {}, `{"heating_permitted":null,"tripped":[]}`, "", "Heating permit"},
		{"off", func(s *daq.State) { s.Values.PutBool(quantity.HeatingPermitted, false) }, `{"heating_permitted":false,"tripped":[]}`, "permit-give", "permit-withdraw"},
		{"given", func(s *daq.State) { s.Values.PutBool(quantity.HeatingPermitted, true) }, `{"heating_permitted":true,"tripped":[]}`, "permit-withdraw", "permit-give"},
		{"tripped", func(s *daq.State) {
			s.Values.PutBool(quantity.HeatingPermitted, false)
			s.Tripped = []string{"head-lost"}
		}, `{"heating_permitted":false,"tripped":["head-lost"]}`, "Held off by head-lost", "permit-give"},
		{"tripped by an alarm that is not in the list any more", func(s *daq.State) {
			s.Values.PutBool(quantity.HeatingPermitted, false)
			s.Tripped, s.Alarms = []string{"instrument-fault-level"}, nil
		}, `{"heating_permitted":false,"tripped":["instrument-fault-level"]}`, `data-alarm="instrument-fault-level" data-verb="reset"`, "permit-give"},
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
