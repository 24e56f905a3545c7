//go:build unix

package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

var (
	clientsFor  = flag.Duration("clients.for", 12*time.Second, "how long TestThreeClients plays")
	clientsSeed = flag.Uint64("clients.seed", 1, "of what its clients do")
)

// TestThreeClients lets two operators and a technician do to one daemon whatever
// comes to their minds, all at once, while sensors fail, the water overheats, the
// head and the supply are lost, and the daemon is killed and started again. What
// reaches the relay, what the API says and what the journal holds is judged by the
// rules of the heating permit (DEVELOPERS.md, "What the alarms catch"):
//
//	go test ./cmd/flowrigd -race -run TestThreeClients -clients.for 10m -clients.seed 7 -timeout 15m
func TestThreeClients(t *testing.T) {
	t.Parallel()
	f := newFree(t)
	end := time.Now().Add(*clientsFor)
	f.during(end,
		f.actor("operator", 1, f.operate),
		f.actor("second operator", 2, f.operate),
		f.actor("technician", 3, f.meddle),
		f.actor("rig", 4, f.endanger),
		f.sample,
	)
	f.daemon.signal(syscall.SIGTERM)
	if code := f.daemon.code(20 * time.Second); code != exitDone {
		t.Errorf("the daemon ended with %d", code)
	}
	f.judgeRelay()
	f.judgeJournal()
	t.Logf("seed %d: %d requests, %d of them obeyed, %d reloads, %d kills, %d samples, %d writes to the relay (%d on), %d gives obeyed",
		*clientsSeed, f.asked, f.obeyed, f.reloads, f.kills, f.samples, len(f.writes), f.on, len(f.gives))
	if f.on == 0 || len(f.gives) == 0 {
		t.Error("the permit was never on: nothing was judged")
	}
}

// span is when a request was sent and when its answer was there.
type span struct{ sent, answered time.Time }

// free is a bench with a relay, on which everybody may do everything.
type free struct {
	*relayBench
	at, file string
	tokens   [2]string

	mu      sync.Mutex
	daemon  *process
	gives   []span            // obeyed
	offs    []span            // withdrawals, trips that were seen, deaths of the daemon
	resets  map[string][]span // asked for, by alarm
	away    map[string][]span // out of service at most from sent to answered, by alarm; open at the end: zero
	perils  []peril
	tripped map[string]time.Time // what holds the permit by the last sample, and since when
	sampled time.Time
	killed  time.Time

	asked, obeyed, reloads, kills, samples, on int
}

// peril is a true danger of the rig, and by when the permit must be down.
type peril struct {
	name     string
	watches  string // the alarm that sees it
	from, to time.Time
	allowed  time.Duration
}

// slack is what a loaded machine and the lines may add to a time that the rules
// give: a write to the relay may stand behind polls that time out.
const slack = 1500 * time.Millisecond

func newFree(t *testing.T) *free {
	f := &free{relayBench: newRelayBench(t), at: daqtest.FreeAddress(t), resets: map[string][]span{}, away: map[string][]span{}}
	f.file = f.config(f.at, relayTables)
	f.tokens = [2]string{addToken(t, f.file, "operate", "first"), addToken(t, f.file, "operate", "second")}
	f.daemon = start(t, program, "run", "--config", f.file)
	within(t, 20*time.Second, "a good state", func() bool { return allGood(now(f.at)) })
	return f
}

// during runs actors side by side until the end.
func (f *free) during(end time.Time, actors ...func(end time.Time)) {
	var all sync.WaitGroup
	for _, act := range actors {
		all.Go(func() { act(end) })
	}
	all.Wait()
}

// actor does one thing after the other, by a random stream of its own.
func (f *free) actor(name string, stream uint64, act func(r *rand.Rand, name string)) func(time.Time) {
	return func(end time.Time) {
		r := rand.New(rand.NewPCG(*clientsSeed, stream))
		for time.Now().Before(end) && !f.t.Failed() {
			act(r, name)
		}
	}
}

// freeAlarms are those that the operators play with.
var freeAlarms = []string{"water-overheat", "head-lost", "heating-without-supply", "instrument-fault-temperature", "instrument-fault-level", "trip-ineffective"}

// operate does one thing to the permit or to an alarm.
func (f *free) operate(r *rand.Rand, name string) {
	token := f.tokens[0]
	if strings.HasPrefix(name, "second") {
		token = f.tokens[1]
	}
	alarm := freeAlarms[r.IntN(len(freeAlarms))]
	switch n := r.IntN(20); {
	case n < 8:
		f.putRight(token)
		f.give(token, r)
	case n == 8:
		f.permit(token, "withdraw")
	case n == 9:
		f.permit(token, "proof-test")
	case n < 13:
		f.alarm(token, alarm, "acknowledge", "{}")
	case n < 16:
		f.reset(token, alarm)
	case n == 16:
		f.alarm(token, alarm, "shelve", fmt.Sprintf(`{"for":"%d s","reason":"try"}`, 1+r.IntN(5)))
	case n == 17:
		f.alarm(token, alarm, "unshelve", "{}")
	case n == 18:
		f.takeAway(token, "water-overheat")
	default:
		f.bringBack(token, "water-overheat")
	}
	f.pause(r, 150)
}

// putRight does what a person does after a trip.
func (f *free) putRight(token string) {
	f.mu.Lock()
	tripped := slices.Collect(maps.Keys(f.tripped))
	f.mu.Unlock()
	for _, name := range tripped {
		f.alarm(token, name, "unshelve", "{}")
		f.alarm(token, name, "acknowledge", "{}")
		f.reset(token, name)
	}
}

// pause waits some milliseconds of real time: the daemon is a real process.
func (f *free) pause(r *rand.Rand, most int) {
	time.Sleep(time.Duration(1+r.IntN(most)) * time.Millisecond)
}

// ask sends a request and says when, and whether it was obeyed.
func (f *free) ask(token, path, body string) (span, int) {
	s := span{sent: time.Now()}
	status, _, answer := post(f.t, "http://"+f.at+path, token, body)
	s.answered = time.Now()
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked++
	switch {
	case status == 200:
		f.obeyed++
	case status != 0 && status != 409 && status != 503:
		f.t.Errorf("%s %s: %d %s", path, body, status, answer)
	}
	return s, status
}

func (f *free) give(token string, r *rand.Rand) {
	body := `{"action":"give"}`
	if r.IntN(2) == 0 {
		body = `{"action":"give","without":["water-overheat"]}`
	}
	s, status := f.ask(token, "/api/permit", body)
	f.mu.Lock()
	defer f.mu.Unlock()
	if status == 200 || status == 0 { // of one without an answer nobody knows
		f.gives = append(f.gives, s)
	}
}

func (f *free) permit(token, action string) {
	s, status := f.ask(token, "/api/permit", `{"action":"`+action+`"}`)
	f.mu.Lock()
	defer f.mu.Unlock()
	if status == 200 && action == "withdraw" {
		f.offs = append(f.offs, s)
	}
}

func (f *free) alarm(token, name, verb, body string) span {
	s, _ := f.ask(token, "/api/alarms/"+name+"/"+verb, body)
	return s
}

// reset is noted before it is asked for: a sample may see it before the answer.
func (f *free) reset(token, name string) {
	f.mu.Lock()
	f.resets[name] = append(f.resets[name], span{sent: time.Now()})
	f.mu.Unlock()
	f.alarm(token, name, "reset", "{}")
}

// takeAway takes an alarm out of service; until it is surely back nothing is
// asked of it.
func (f *free) takeAway(token, name string) {
	f.mu.Lock()
	f.away[name] = append(f.away[name], span{sent: time.Now()})
	f.mu.Unlock()
	f.alarm(token, name, "out-of-service", "{}")
}

func (f *free) bringBack(token, name string) {
	before := time.Now()
	s, status := f.ask(token, "/api/alarms/"+name+"/return-to-service", "{}")
	f.mu.Lock()
	defer f.mu.Unlock()
	if status != 200 {
		return
	}
	for i := range f.away[name] {
		if a := &f.away[name][i]; a.answered.IsZero() && a.sent.Before(before) {
			a.answered = s.answered
		}
	}
}

// meddle writes another configuration and sends SIGHUP, now and then a wrong
// one, and now and then it kills the daemon and starts it again.
func (f *free) meddle(r *rand.Rand, _ string) {
	f.pause(r, 1200)
	if r.IntN(16) == 0 {
		f.kill()
		return
	}
	text := fmt.Sprintf("\n[alarms.water-overheat]\non_delay = \"%d ms\"\n", 1000+r.IntN(1000))
	if r.IntN(3) == 0 {
		text += "\n[alarms.fast]\non = \"velocity\"\nabove = \"1.5 m/s\"\npriority = \"low\"\n"
	}
	f.config(f.at, relayTables+text)
	whole := read(f.t, f.file)
	whole = strings.Replace(whole, `accuracy = {fixed = "0.5 K"}`, fmt.Sprintf(`accuracy = {fixed = "0.%d K"}`, 1+r.IntN(9)), 1)
	whole = strings.ReplaceAll(whole, `stale_after = "1 s"`, fmt.Sprintf(`stale_after = "%d ms"`, 1000+r.IntN(500)))
	if r.IntN(8) == 0 {
		whole = strings.Replace(whole, `unit = "L/min"`, `unit = "mm"`, 1)
	}
	write(f.t, f.file, whole)
	f.daemon.signal(syscall.SIGHUP)
	f.mu.Lock()
	f.reloads++
	f.mu.Unlock()
}

// kill ends the daemon without a warning and starts another one.
func (f *free) kill() {
	s := span{sent: time.Now()}
	f.mu.Lock()
	f.killed = s.sent
	f.mu.Unlock()
	f.daemon.signal(syscall.SIGKILL)
	<-f.daemon.done
	s.answered = time.Now()
	f.config(f.at, relayTables)
	next := start(f.t, program, "run", "--config", f.file)
	f.mu.Lock()
	f.daemon, f.kills = next, f.kills+1
	f.offs = append(f.offs, s)
	f.mu.Unlock()
	within(f.t, 20*time.Second, "the next daemon answers", func() bool { return now(f.at) != nil })
}

// endanger makes one danger true for some seconds, and then none.
func (f *free) endanger(r *rand.Rand, _ string) {
	f.pause(r, 6000)
	d := []struct {
		peril
		begin func(b *handBench)
	}{
		{peril{name: "overheated", watches: "water-overheat", allowed: 2 * time.Second}, func(b *handBench) { b.celsius = 80 }},
		{peril{name: "head lost", watches: "head-lost", allowed: 2 * time.Second}, func(b *handBench) { b.level = 200 }},
		{peril{name: "no supply", watches: "heating-without-supply", allowed: 2 * time.Second}, func(*handBench) { f.supply = 0 }},
		{peril{name: "thermometer failed", watches: "instrument-fault-temperature", allowed: 1500 * time.Millisecond}, func(b *handBench) { b.celsius = math.NaN() }},
		{peril{name: "level sensor failed", watches: "instrument-fault-level", allowed: 1500 * time.Millisecond}, func(b *handBench) { b.level = 450 }},
	}[r.IntN(5)]
	f.set(d.begin)
	d.from = time.Now()
	f.pause(r, 8000)
	d.to = time.Now()
	f.set(func(b *handBench) { b.celsius, b.level, f.supply = 42, 260, 4 })
	f.mu.Lock()
	defer f.mu.Unlock()
	f.perils = append(f.perils, d.peril)
}

// sample asks for the permit again and again and judges what it says.
func (f *free) sample(end time.Time) {
	for time.Now().Before(end) && !f.t.Failed() {
		sent := time.Now()
		status, body := get("http://" + f.at + "/api/permit")
		var p struct {
			Given     bool     `json:"given"`
			Permitted bool     `json:"permitted"`
			Tripped   []string `json:"tripped"`
			Proof     bool     `json:"proof_test"`
		}
		if status == 200 && json.Unmarshal([]byte(body), &p) == nil {
			f.judgeSample(span{sent, time.Now()}, p.Given, p.Permitted, p.Proof, p.Tripped, body)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (f *free) judgeSample(s span, given, permitted, proof bool, tripped []string, body string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.samples++
	if permitted && !given || proof && !given || len(tripped) > 0 && (given || permitted) {
		f.t.Errorf("the permit contradicts itself: %s", body)
	}
	if len(tripped) > 0 {
		f.offs = append(f.offs, s)
	}
	for name, since := range f.tripped {
		asked := slices.ContainsFunc(f.resets[name], func(r span) bool { return r.sent.After(f.sampled.Add(-3 * time.Second)) })
		young := f.killed.After(f.sampled.Add(-time.Second)) && f.killed.Sub(since) < time.Second // perhaps not on disk when it was killed
		if !slices.Contains(tripped, name) && !asked && !young {
			f.t.Errorf("%s held the permit and does not any more, and nobody asked for its reset: %s", name, body)
		}
	}
	before := f.tripped
	f.tripped, f.sampled = map[string]time.Time{}, s.sent
	for _, name := range tripped {
		f.tripped[name] = s.sent
		if since, held := before[name]; held {
			f.tripped[name] = since
		}
	}
}

// judgeRelay holds every write that energises the relay against what had been
// asked, seen and true by then.
func (f *free) judgeRelay() {
	f.relayBench.mu.Lock()
	defer f.relayBench.mu.Unlock()
	for _, w := range f.writes {
		if !w.on {
			continue
		}
		f.on++
		give, found := f.lastGive(w.at)
		if !found {
			f.t.Errorf("%v: the relay is energised, and nobody has given the permit", w.at)
			continue
		}
		for _, off := range f.offs {
			if off.sent.After(give.answered) && w.at.Sub(off.answered) > slack {
				f.t.Errorf("%v: the relay is energised; the permit was given at %v and taken away by %v", w.at, give.answered, off.answered)
				break
			}
		}
		for _, d := range f.perils {
			// A give in the middle is obeyed where the alarm cannot know yet, as after a
			// start, or clears with the heater: then its delay begins anew.
			began := d.from
			if give.answered.After(began) {
				began = give.answered
			}
			if w.at.Before(d.to) && w.at.Sub(began) > d.allowed+slack && !f.unwatched(d.watches, d.from, w.at) {
				f.t.Errorf("%v: the relay is energised %v after the danger %q or the give in it", w.at, w.at.Sub(began), d.name)
			}
		}
	}
}

// lastGive is the last obeyed give that can have caused a write.
func (f *free) lastGive(at time.Time) (last span, found bool) {
	for _, g := range f.gives {
		if g.sent.Before(at) && (!found || g.answered.After(last.answered)) {
			last, found = g, true
		}
	}
	return last, found
}

// unwatched says whether an alarm may have been out of service within a time.
func (f *free) unwatched(name string, from, to time.Time) bool {
	return slices.ContainsFunc(f.away[name], func(a span) bool {
		return a.sent.Before(to) && (a.answered.IsZero() || a.answered.After(from))
	})
}

// judgeJournal holds the alarms of the journal against the states of the
// standard: in order, no hole, no move that the standard does not have.
func (f *free) judgeJournal() {
	f.t.Helper()
	states := map[string]string{}
	rows := sqlRows(f.t, f.dir, "SELECT sequence, name, state, coalesce(who, '') FROM alarm_event ORDER BY sequence")
	for n, row := range strings.Fields(strings.ReplaceAll(rows, " ", "_")) {
		part := strings.Split(row, "|")
		if len(part) != 4 {
			f.t.Fatalf("row %q of the journal in %s", row, filepath.Join(f.dir, "record"))
		}
		if part[0] != fmt.Sprint(n+1) {
			f.t.Fatalf("alarm %d has the sequence %s", n+1, part[0])
		}
		was := states[part[1]]
		if was == "" {
			was = "normal"
		}
		if !daqtest.LegalMove(was, part[2], part[3] != "") {
			f.t.Errorf("alarm %s: %s went from %s to %s (by %q)", part[0], part[1], was, part[2], part[3])
		}
		states[part[1]] = part[2]
	}
}
