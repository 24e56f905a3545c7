package web

import (
	"errors"
	"strings"
	"testing"

	"flowrigd/daq"
)

func TestStillThread(t *testing.T) {
	b := testBed(t, nil)
	for _, c := range []struct {
		name, token, body string
		status            int
	}{
		{"by an operator", b.operate, `{"action":"still"}`, 200},
		{"by a watcher", b.watch, `{"action":"still"}`, 403},
		{"by nobody", "", `{"action":"still"}`, 401},
		{"nothing said", b.operate, `{}`, 400},
		{"another verb", b.operate, `{"action":"give"}`, 400},
		{"more than is asked", b.operate, `{"action":"still","for":"10 s"}`, 400},
	} {
		before := len(b.rig.commands())
		status, _, text := b.ask("POST", "/api/dye", c.token, c.body)
		heard := b.rig.commands()[before:]
		if status != c.status || (c.status == 200) != (len(heard) == 1) || len(heard) == 1 && (heard[0].Verb() != daq.Still || heard[0].Who != "ada") {
			t.Errorf("%s: %d %s, heard %+v", c.name, status, text, heard)
		}
	}
	b.rig.set(func(f *fakeRig) { f.deny = errors.New("still thread: refused: no water flows") })
	if status, _, text := b.ask("POST", "/api/dye", b.operate, `{"action":"still"}`); status != 409 || !strings.Contains(text, "no water flows") {
		t.Errorf("refused: %d %s", status, text)
	}
	if status, _, _ := b.ask("GET", "/api/dye", b.operate, ""); status != 405 {
		t.Errorf("GET: %d", status)
	}
}
