package web

import (
	"errors"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/request"
)

func TestNotebook(t *testing.T) {
	b := testBed(t, nil)
	long := strings.Repeat("ä", request.LongestText)
	for _, c := range []struct {
		path, body string
		status     int
		want       string // of what the engine hears, as it is recorded; of the answer where it hears nothing
	}{
		{"test-points", ``, 201, `"verb":"capture"`},
		{"test-points", `{"point":"25 Cel laminar"}`, 201, `"point":"25 Cel laminar"`},
		{"test-points", `{"point":"` + long + `"}`, 201, `"point":"ää`},
		{"test-points", `{"point":"` + long + `x"}`, 400, "up to 1000"},
		{"test-points", `{"point":"\u001b[2J"}`, 400, "U+001B"},
		{"test-points", `{"place":"25"}`, 400, "it takes point"},
		{"observations", `{"seen":"laminar","note":"a thread"}`, 201, `"seen":"laminar","note":"a thread"`},
		{"observations", `{"seen":"no-flow"}`, 400, `\"no-flow\" is not what a dye thread shows`},
		{"observations", `{}`, 400, `write {\"seen\":\"laminar\"}`},
		{"collections", `{"volume":"200 mL ± 2 mL","time":"30 s"}`, 201, `"volume":{"X":0.0002,"U":0.000001,"Shape":0},"seconds":30`},
		{"collections", `{"mass":"199 g","start":"2026-03-04T09:29:00Z","stop":"2026-03-04T09:29:30Z"}`, 201, `"mass":{"X":0.199,"U":0,"Shape":0},"start":"2026-03-04T09:29:00Z","stop":"2026-03-04T09:29:30Z"`},
		{"collections", `{"volume":"200 mL","time":"30 s","vessel":{"material":"steel","temperature":"55 Cel"}}`, 201, `"vessel":"steel","vessel_temperature":{"X":55,`},
		{"collections", `{"volume":"200 g","time":"30 s"}`, 400, "volume: "},
		{"collections", `{"mass":"200 mL","time":"30 s"}`, 400, "mass: "},
		{"collections", `{"volume":"200 mL","mass":"200 g","time":"30 s"}`, 400, "give one of them"},
		{"collections", `{"time":"30 s"}`, 400, "give one of them"},
		{"collections", `{"volume":"200 mL","start":"nine","stop":"ten"}`, 400, "start: \\\"nine\\\" is not a time"},
		{"notes", `{"kind":"valve","text":"a quarter turn"}`, 201, `"kind":"valve","text":"a quarter turn"`},
		{"notes", `{"kind":"weather","text":"rain"}`, 400, `\"weather\" is not one`},
		{"notes", `{"kind":"other"}`, 400, `needs a text`},
		{"observations/4/strike", `{"reason":"the wrong tube"}`, 200, `"of":"observation","struck":4,"reason":"the wrong tube"`},
		{"test-points/7/strike", `{"reason":"x"}`, 200, `"of":"test-point","struck":7`},
		{"collections/7/strike", `{"reason":"x"}`, 200, `"of":"collection","struck":7`},
		{"observations/5/strike", `{"reason":"x"}`, 404, "there is no observation 5"},
		{"observations/x/strike", `{"reason":"x"}`, 404, "lists them"},
		{"observations/4/strike", `{"reason":" "}`, 400, "striking needs one"},
		{"notes/4/strike", `{"reason":"x"}`, 404, "nothing at"},
	} {
		before := len(b.rig.commands())
		status, _, text := b.ask("POST", "/api/"+c.path, b.operate, c.body)
		heard := b.rig.commands()[before:]
		if len(heard) > 0 {
			text = string(encode(heard[0]))
		}
		if status != c.status || (status < 300) != (len(heard) == 1) || !strings.Contains(text, c.want) {
			t.Errorf("%s %.60s: %d %s, want %q", c.path, c.body, status, text, c.want)
		}
		b.answers(403, "POST", "/api/"+strings.Replace(c.path, "notes/4/strike", "notes", 1), b.watch, c.body)
	}
	b.rig.set(func(f *fakeRig) { f.deny = errors.New("capture: refused: only 2.0 s are known yet") })
	if status, _, text := b.ask("POST", "/api/test-points", b.operate, ""); status != 409 || !strings.Contains(text, "only 2.0 s") {
		t.Errorf("refused: %d %s", status, text)
	}
}

// What is written down is listed, the newest first, and what was struck stays and
// says so.
// The answer holds what was made, as it is told, beside what was done; a request that
// nothing could obey is wrong itself.
func TestNotebookAnswersWithWhatWasMade(t *testing.T) {
	b := testBed(t, nil)
	b.rig.set(func(f *fakeRig) {
		f.made = daq.Event{Observation: &daq.Observation{Who: "ada", Seen: "laminar", Time: time.Unix(1e9, 0).UTC()}}.Message("5a9c", 12).Body
	})
	status, _, text := b.ask("POST", "/api/observations", b.operate, `{"seen":"laminar"}`)
	for _, part := range []string{`"done":"observe"`, `"who":"ada"`, `"recording":"5a9c"`, `"sequence":12`, `"recorded":true`, `"time":"2001-09-09T01:46:40`, `"seen":"laminar"`} {
		if status != 201 || !strings.Contains(text, part) {
			t.Errorf("%d %s: want %s", status, text, part)
		}
	}
	b.rig.set(func(f *fakeRig) {
		f.deny = daq.Wrong{Err: errors.New("start-experiment: refused: plan \"x\": there is none")}
	})
	if status, _, text := b.ask("POST", "/api/experiments", b.operate, `{"plan":"x"}`); status != 400 || !strings.Contains(text, "there is none") {
		t.Errorf("a wrong plan: %d %s", status, text)
	}
}

func TestNotebookLists(t *testing.T) {
	b := testBed(t, nil)
	for path, want := range map[string]string{
		"observations":        `{"observations":[{"sequence":7,"what":"observations"},{"sequence":4,"what":"observations","struck":"the wrong tube"}]}`,
		"test-points":         `{"test_points":[{"sequence":7,"what":"test-points"},{"sequence":4,"what":"test-points"}]}`,
		"collections?limit=1": `{"collections":[{"sequence":7,"what":"collections"}]}`,
		"notes":               `{"notes":[{"sequence":7,"what":"notes"},{"sequence":4,"what":"notes"}]}`,
	} {
		if status, _, text := b.ask("GET", "/api/"+path, "", ""); status != 200 || text != want+"\n" {
			t.Errorf("%s: %d %s", path, status, text)
		}
	}
	for _, query := range []string{"limit=0", "limit=1001", "limit=x", "from=now"} {
		b.answers(400, "GET", "/api/notes?"+query, "", "")
	}
	gone := testBed(t, func(o *Options) { o.History = fakeHistory{errFake} })
	gone.answers(503, "GET", "/api/observations", "", "")
	gone.answers(503, "POST", "/api/observations/4/strike", gone.operate, `{"reason":"x"}`)
	none := testBed(t, func(o *Options) { o.History = nil })
	none.answers(503, "GET", "/api/observations", "", "")
}
