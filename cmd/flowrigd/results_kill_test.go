//go:build unix

package main

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// farPlan is a plan whose condition no rig of these tests meets by itself.
const farPlan = `{"plan":{"name":"far","points":[{"temperature":"55 Cel","reynolds":[1500]}]}}`

// writtenDown is what a person writes down before the kill, as the API lists it:
// list → part of the one entry.
type writtenDown map[string][]string

// writer is a person with a way to post.
type writer struct {
	t    *testing.T
	at   string
	post func(path, body string) (status int, answer string)
}

// byToken posts with a token.
func byToken(t *testing.T, at, token string) writer {
	return writer{t, at, func(path, body string) (int, string) {
		status, _, answer := post(t, "http://"+at+path, token, body)
		return status, answer
	}}
}

// byLink posts with the cookie of a demo's one-time link.
func byLink(t *testing.T, at, page string) writer {
	o := operatorOf(t, page, at)
	return writer{t, at, func(path, body string) (int, string) {
		a, err := o.c.Post("http://"+at+path, "application/json", strings.NewReader(body))
		if err != nil {
			return 0, err.Error()
		}
		defer a.Body.Close()
		var text json.RawMessage
		_ = json.NewDecoder(a.Body).Decode(&text)
		return a.StatusCode, string(text)
	}}
}

func (w writer) write(path, body string) {
	w.t.Helper()
	if status, answer := w.post(path, body); status/100 != 2 {
		w.t.Fatalf("%s %s: %d %s", path, body, status, answer)
	}
}

// stamp is the rig's time now.
func (w writer) stamp() time.Time {
	text, _ := now(w.at)["time"].(string)
	at, _ := time.Parse(time.RFC3339Nano, text)
	return at
}

// begin writes down an experiment, an observation, a note and a timed collection.
func (w writer) begin() writtenDown {
	w.t.Helper()
	from := w.stamp()
	w.write("/api/experiments", farPlan)
	w.write("/api/observations", `{"seen":"laminar","note":"a still thread"}`)
	w.write("/api/notes", `{"kind":"other","text":"the door was open"}`)
	var to time.Time
	within(w.t, 20*time.Second, "two seconds of the rig's", func() bool { to = w.stamp(); return to.Sub(from) > 2*time.Second })
	w.write("/api/collections", fmt.Sprintf(`{"volume":"85 mL","start":%q,"stop":%q}`, from.Format(time.RFC3339Nano), to.Format(time.RFC3339Nano)))
	return writtenDown{"experiments": {`"name":"far"`, `"started"`}, "observations": {`"a still thread"`}, "notes": {"the door was open"}, "collections": {`"volume_cubic_meters":0.000085`}}
}

// capture takes a test point by hand, as soon as the last seconds are enough.
func (w writer) capture(all writtenDown) {
	w.t.Helper()
	within(w.t, 20*time.Second, "a captured test point", func() bool {
		status, answer := w.post("/api/test-points", `{"point":"by hand"}`)
		if status/100 != 2 && !strings.Contains(answer, "are known yet") {
			w.t.Fatalf("capture: %d %s", status, answer)
		}
		return status/100 == 2
	})
	all["test-points"] = []string{`"point":"by hand"`}
}

// listed holds that each is there once.
func (all writtenDown) listed(t *testing.T, at string) {
	t.Helper()
	for list, parts := range all {
		status, body := get("http://" + at + "/api/" + list)
		var answer map[string][]json.RawMessage
		if status != http.StatusOK || json.Unmarshal([]byte(body), &answer) != nil {
			t.Fatalf("%s: %d %s", list, status, body)
		}
		var fit []string
		for _, one := range answer[strings.ReplaceAll(list, "-", "_")] {
			if !slices.ContainsFunc(parts, func(part string) bool { return !strings.Contains(string(one), part) }) {
				fit = append(fit, string(one))
			}
		}
		if len(fit) != 1 {
			t.Errorf("%d of %s have %q, want one: %s", len(fit), list, parts, body)
		}
	}
}

// eventTables hold what is of class event, beside `note`.
var eventTables = []string{"test_point", "observation", "collection", "experiment", "strike", "note"}

// gapFree holds that the sequences of class event are 1 to n over all its tables, and
// that each thing was written once; it gives n.
func (all writtenDown) gapFree(t *testing.T, data string) int {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(data, "flowrig.db"))
	must(t, err)
	defer db.Close()
	var sequences []int64
	for _, table := range eventTables {
		rows, err := db.Query(`SELECT sequence FROM ` + table)
		must(t, err)
		for rows.Next() {
			var n int64
			must(t, rows.Scan(&n))
			sequences = append(sequences, n)
		}
		must(t, rows.Err())
	}
	slices.Sort(sequences)
	for i, n := range sequences {
		if n != int64(i+1) {
			t.Fatalf("the sequences of class event are %v", sequences)
		}
	}
	for list := range all {
		query := `SELECT count(*) FROM ` + strings.TrimSuffix(strings.ReplaceAll(list, "-", "_"), "s") + ` WHERE who NOT IN ('', 'simulated demonstrator')`
		if list == "notes" {
			query += ` AND kind <> 'refused'`
		}
		var n int
		must(t, db.QueryRow(query).Scan(&n))
		if n != 1 {
			t.Errorf("%d %s are a person's, want 1", n, list)
		}
	}
	return len(sequences)
}

// replays holds that a recording replays to the same states, and gives what is said of it.
func replays(t *testing.T, data string) string {
	t.Helper()
	_, diag, code := call(t, program, "replay", "--data", data)
	if code != exitDone || !strings.Contains(diag, "0 differ") {
		t.Errorf("replay ends with %d: %s", code, diag)
	}
	return diag
}

// TestResultsOutliveAKill kills a demo right after the answer to the last of what a
// person wrote down, and starts it again on the same recording: all of it is there,
// once, and the recording replays.
func TestResultsOutliveAKill(t *testing.T) {
	t.Parallel()
	at, data := daqtest.FreeAddress(t), t.TempDir()
	demo := func() *process {
		return start(t, program, "demo", "--scenario", "steady", "--speed", "60", "--listen", at, "--data", data)
	}
	d := demo()
	page, _ := demoLines(t, d)
	within(t, 20*time.Second, "a good state", func() bool { return allGood(now(at)) })
	w := byLink(t, at, page)
	all := w.begin()
	w.capture(all)
	d.signal(syscall.SIGKILL)
	d.code(20 * time.Second)
	all.gapFree(t, data)

	d = demo()
	within(t, 20*time.Second, "a good state after the kill", func() bool { return allGood(now(at)) })
	if x, _ := now(at)["experiment"].(map[string]any); x["name"] != "far" {
		t.Errorf("after the kill the experiment is %v", x)
	}
	all.listed(t, at)
	began := w.stamp()
	within(t, 30*time.Second, "a minute of the rig's, and with it a digest", func() bool { return w.stamp().Sub(began) > 65*time.Second })
	d.ends(exitDone)
	all.gapFree(t, data)
	if said := replays(t, data); strings.Contains(said, " 0 digests") {
		t.Errorf("replay checked nothing: %s", said)
	}
}

// TestEventsOutliveAKill does so with a daemon at a broker that lives on: what was told
// there of class event is in order, without a gap or a change, and in the end all of it.
func TestEventsOutliveAKill(t *testing.T) {
	t.Parallel()
	dir, at, w := t.TempDir(), daqtest.FreeAddress(t), callWitness(t)
	simulated(t, dir)
	file := rigConfig(t, dir, at, mqttTable(w.url))
	d := running(t, file, at)
	p := byToken(t, at, addToken(t, file, "operate", "ada"))
	all := p.begin()
	d.signal(syscall.SIGKILL)
	d.code(20 * time.Second)

	d = running(t, file, at)
	all.listed(t, at)
	p.write("/api/notes", `{"kind":"air","text":"after the kill"}`)
	d.ends(exitDone)
	data := filepath.Join(dir, "record")
	delete(all, "notes") // there are two
	recorded := all.gapFree(t, data)
	k := killTest{t: t, told: map[string]map[int64]string{"event": {}}}
	within(t, 20*time.Second, "all events are told", func() bool { return slices.Max(append(w.sequences("event"), 0)) >= int64(recorded) })
	for _, h := range w.all() {
		if h.topic == "event" {
			k.once("event", h, h.text)
		}
	}
	if told := len(k.told["event"]); told != recorded {
		t.Errorf("%d events are recorded, %d were told", recorded, told)
	}
	replays(t, data)
}

// sequences are those of a topic's messages, in the order in which they came.
func (w *witness) sequences(topic string) (list []int64) {
	for _, h := range w.all() {
		if h.topic == topic {
			list = append(list, h.sequence())
		}
	}
	return list
}
