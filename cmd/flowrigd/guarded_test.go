//go:build unix

package main

import (
	"bytes"
	"cmp"
	"database/sql"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// guarded is a simulated rig whose heater stands behind the permit relay, with
// a daemon beside it, each in a process of its own.
type guarded struct {
	t        *testing.T
	dir, at  string
	truthAt  string // the file; "" is truth.jsonl in dir
	config   string
	token    string
	giver    string // of the permit
	sim      *process
	daemon   *process
	truths   []truth
	consumed int64 // of truth.jsonl
}

// truth is the rig's true state at a time.
type truth struct {
	at time.Time
	is map[string]any
}

func (h truth) number(name string) float64 { return number(h.is, name) }

// permitted says whether the relay itself is energised.
func (h truth) permitted() bool { return h.is["heating_permitted"] == true }
func (h truth) heating() bool   { return h.is["heater_on"] == true }

// setUp is how a test's rig differs from the plain one.
type setUp struct {
	scenario string
	program  string // "" is the program as it is built for people
	env      []string
	more     string              // text behind rig.toml
	change   func(string) string // of rig.toml; nil for none
}

// newGuarded starts rig and daemon, and a person gives the permit.
func newGuarded(t *testing.T, s setUp) *guarded {
	t.Helper()
	g := &guarded{t: t, dir: t.TempDir(), at: daqtest.FreeAddress(t), giver: "demonstrator"}
	g.sim = simulated(t, g.dir, "--scenario", s.scenario)
	g.config = rigConfig(t, g.dir, g.at, s.more)
	if s.change != nil {
		write(t, g.config, s.change(read(t, g.config)))
	}
	g.daemon = startWith(t, s.env, cmp.Or(s.program, program), "run", "--config", g.config)
	g.token = addToken(t, g.config, "operate", "demonstrator")
	within(t, 10*time.Second, "the permit is given", func() bool { status, _ := g.permit("give"); return status == 200 })
	within(t, 3*time.Second, "the relay is energised", func() bool { return g.now().permitted() })
	return g
}

// permit asks something of the permit as the demonstrator.
func (g *guarded) permit(action string) (status int, answer string) {
	g.t.Helper()
	status, _, answer = post(g.t, "http://"+g.at+"/api/permit", g.token, `{"action":"`+action+`"}`)
	return status, answer
}

// alarm does something to an alarm as the demonstrator.
func (g *guarded) alarm(name, verb string) {
	g.t.Helper()
	if status, _, answer := post(g.t, "http://"+g.at+"/api/alarms/"+name+"/"+verb, g.token, "{}"); status != 200 {
		g.t.Errorf("%s %s: %d %s", verb, name, status, answer)
	}
}

// now reads what the rig has written since the last time, and gives the newest.
func (g *guarded) now() truth {
	g.t.Helper()
	f, err := os.Open(cmp.Or(g.truthAt, filepath.Join(g.dir, "truth.jsonl")))
	must(g.t, err)
	defer f.Close()
	text, err := io.ReadAll(io.NewSectionReader(f, g.consumed, 1<<30))
	must(g.t, err)
	whole := text[:bytes.LastIndexByte(text, '\n')+1]
	g.consumed += int64(len(whole))
	for line := range bytes.Lines(whole) {
		var h truth
		if err := json.Unmarshal(line, &h.is); err != nil {
			g.t.Fatalf("truth %q: %v", line, err)
		}
		if h.at, err = time.Parse(time.RFC3339Nano, h.is["time"].(string)); err != nil {
			g.t.Fatal(err)
		}
		g.truths = append(g.truths, h)
	}
	return g.truths[len(g.truths)-1]
}

// until waits for a true state and gives the first one that is so.
func (g *guarded) until(limit time.Duration, what string, is func(truth) bool) truth {
	g.t.Helper()
	next := len(g.truths)
	var found *truth
	within(g.t, limit, what, func() bool {
		g.now()
		for ; next < len(g.truths) && found == nil; next++ {
			if is(g.truths[next]) {
				found = &g.truths[next]
			}
		}
		return found != nil
	})
	return *found
}

// first is the first true state of all that is so; the zero truth for none.
func (g *guarded) first(is func(truth) bool) truth {
	for _, h := range g.truths {
		if is(h) {
			return h
		}
	}
	return truth{}
}

// peak is the highest true value so far.
func (g *guarded) peak(name string) float64 {
	most := g.truths[0].number(name)
	for _, h := range g.truths {
		most = max(most, h.number(name))
	}
	return most
}

// dropped is when the relay fell for good after it was first energised; the
// zero time while it has not.
func (g *guarded) dropped() (at time.Time) {
	was := false
	for _, h := range g.truths {
		switch {
		case h.permitted():
			at = time.Time{}
		case was:
			at = h.at
		}
		was = h.permitted()
	}
	return at
}

// journal asks the recording for one text; "" when there is no row.
func (g *guarded) journal(query string, arguments ...any) string {
	g.t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(g.dir, "record", "flowrig.db"))
	must(g.t, err)
	defer db.Close()
	var text sql.NullString
	if err := db.QueryRow(query, arguments...).Scan(&text); err != nil && err != sql.ErrNoRows {
		g.t.Fatalf("%s: %v", query, err)
	}
	return text.String
}

// raised is when an alarm was first raised, by the journal; the zero time when
// it never was.
func (g *guarded) raised(name string) (at time.Time) {
	g.t.Helper()
	text := g.journal(`SELECT time FROM alarm_event WHERE name = ? AND state = 'unacknowledged' ORDER BY sequence LIMIT 1`, name)
	if text == "" {
		return at
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	must(g.t, err)
	return at
}
