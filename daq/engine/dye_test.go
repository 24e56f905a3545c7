package engine

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

const lightText = `
[instruments.dye_light]
port = "bus"
modbus = {address = 5, table = "input", register = 0}
scale = {from = [0, 1000], to = ["0 %", "100 %"]}
range = ["0 %", "100 %"]
accuracy = {fixed = "1 %"}
`

// dyeBench is a bench whose dye is watched.
type dyeBench struct {
	*bench
	draws *rand.Rand
}

func newDyeBench(t *testing.T) *dyeBench {
	return &dyeBench{benchWith(t, benchText+lightText), rand.New(rand.NewPCG(1, 2))}
}

// flow plays 200 ms intervals with a light that flickers by a share of it.
func (b *dyeBench) flow(length time.Duration, lpm, flicker float64) {
	for end := b.at + length; b.at < end; {
		b.run(200*time.Millisecond, lpm, 20, 260)
		b.read(quantity.DyeLight, math.Round(620*(1+flicker*b.draws.NormFloat64())))
	}
}

// ask asks for the still thread, and gives the refusal.
func (b *dyeBench) ask() string {
	b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: daq.NewAsk(daq.Still)}})
	return b.e.Reply().Error
}

func (b *dyeBench) must(refusal string) {
	b.t.Helper()
	if refusal != "" {
		b.t.Fatal(refusal)
	}
}

// dyeNotes are the notes on the dye and on what was refused.
func (b *dyeBench) dyeNotes() (list []string) {
	for _, e := range b.events {
		if e.Note != nil && (e.Note.Kind == "dye" || e.Note.Kind == "refused") {
			list = append(list, e.Note.Who+": "+e.Note.Text)
		}
	}
	return list
}

const laminarFlow, turbulentFlow = 0.8, 3 // L/min at 20 °C in 13 mm: Re 1302 and 4883

// The still thread is taken over ten seconds, both ends journalled; a minute later the
// share of torn time is known, and is that of the light.
func TestDisturbedFraction(t *testing.T) {
	b := newDyeBench(t)
	b.flow(70*time.Second, laminarFlow, 0.005)
	share := func() (float64, bool) { return b.state.Values.Get(quantity.DisturbedFraction) }
	if v, known := share(); known {
		t.Errorf("%v without a still thread", v)
	}
	warned := func() bool {
		return strings.Contains(strings.Join(b.state.Warnings, "; "), "still thread has not been taken")
	}
	if !warned() {
		t.Errorf("nobody is asked for the still thread: %q", b.state.Warnings)
	}
	b.must(b.ask())
	b.flow(9*time.Second, laminarFlow, 0.005)
	if got := b.dyeNotes(); len(got) != 1 || !strings.Contains(got[0], "dana: still thread is taken over the next 10 s") {
		t.Fatalf("after 9 s: %q", got)
	}
	b.flow(2*time.Second, laminarFlow, 0.005)
	if got := b.dyeNotes(); len(got) != 2 || !strings.Contains(got[1], "dana: still thread taken: light 62.0 %, flicker 0.") || warned() {
		t.Fatalf("after 11 s: %q, warned %v", got, warned())
	}
	b.flow(50*time.Second, laminarFlow, 0.005)
	if v, known := share(); known {
		t.Errorf("%v after 51 s", v)
	}
	b.flow(10*time.Second, laminarFlow, 0.005)
	if v, known := share(); !known || v != 0 {
		t.Errorf("a still minute: %v, %v", v, known)
	}
	if u, known := b.state.U.Get(quantity.DisturbedFraction); !known || u < 0.02 || u > 0.1 {
		t.Errorf("u of a still minute: %v, %v: the flow may still be torn for a few parts in a hundred", u, known)
	}
	for range 12 {
		b.flow(3*time.Second, laminarFlow, 0.005)
		b.flow(2*time.Second, laminarFlow, 0.15)
	}
	b.flow(time.Second, laminarFlow, 0.005)
	if v, _ := share(); math.Abs(v-0.39) > 0.04 {
		t.Errorf("24 s of 61 s were torn: %v", v)
	}
	if u, _ := b.state.U.Get(quantity.DisturbedFraction); u < 0.003 || u > 0.03 {
		t.Errorf("u = %v of stretches that are all as long", u)
	}
	b.at += 3 * time.Second // no light any more, and the flow goes on
	b.run(3*time.Second, laminarFlow, 20, 260)
	if v, known := share(); known {
		t.Errorf("%v without the light", v)
	}
}

// Why a still thread is not taken is said, and journalled.
func TestNoStillThread(t *testing.T) {
	refuse := func(name string, b *dyeBench, want string) {
		t.Helper()
		if why := b.ask(); !strings.Contains(why, "still thread: refused: ") || !strings.Contains(why, want) {
			t.Errorf("%s: %q, want %q", name, why, want)
		}
	}
	b := &dyeBench{newBench(t), nil}
	b.run(5*time.Second, laminarFlow, 20, 260)
	refuse("nothing watches", b, "configure [instruments.dye_light]")
	b = newDyeBench(t)
	b.run(5*time.Second, laminarFlow, 20, 260)
	refuse("no reading", b, "dye_light is bad")
	b.flow(5*time.Second, turbulentFlow, 0.005)
	refuse("turbulent", b, "close the valve")
	b.flow(5*time.Second, 0, 0.005)
	refuse("no flow", b, "open the valve")
	b.flow(5*time.Second, 1.5, 0.005) // Re 2441: a quiet entry stays laminar there
	b.must(b.ask())
	refuse("twice", b, "for another 10.0 s")
	b.flow(5*time.Second, 1.5, 0.005)
	b.flow(5*time.Second, turbulentFlow, 0.005)
	notes := b.dyeNotes()
	if last := notes[len(notes)-1]; !strings.Contains(last, "still thread not taken: by the Reynolds number the flow is turbulent") {
		t.Errorf("the valve was opened: %q", last)
	}
	b.flow(5*time.Second, laminarFlow, 0.15)
	b.must(b.ask())
	b.flow(11*time.Second, laminarFlow, 0.15)
	notes = b.dyeNotes()
	if last := notes[len(notes)-1]; !strings.Contains(last, "still thread not taken: the light flickers") {
		t.Errorf("a torn thread: %q", last)
	}
	b.fault(quantity.Flow, daq.ReasonTimeout, "no answer")
	b.at += 3 * time.Second
	b.read(quantity.DyeLight, 620)
	refuse("no meter", b, "the Reynolds number is not known")
}

// still has a bench whose still thread was taken, and watched for a minute.
func stillTaken(t *testing.T) *dyeBench {
	b := newDyeBench(t)
	b.flow(2*time.Second, laminarFlow, 0.005)
	b.must(b.ask())
	b.flow(72*time.Second, laminarFlow, 0.005)
	b.value(quantity.DisturbedFraction)
	return b
}

// What was seen belongs to a flow: where it stops, the next one is watched anew.
func TestNoFlowHasNoThread(t *testing.T) {
	b := stillTaken(t)
	b.flow(5*time.Second, 0, 0.005)
	if v, known := b.state.Values.Get(quantity.DisturbedFraction); known {
		t.Errorf("%v without flow", v)
	}
	b.flow(50*time.Second, laminarFlow, 0.005)
	if v, known := b.state.Values.Get(quantity.DisturbedFraction); known {
		t.Errorf("%v after 50 s of flow", v)
	}
	b.flow(10*time.Second, laminarFlow, 0.005)
	b.value(quantity.DisturbedFraction)
}

// A reload keeps the still thread, but where the instrument is another; one that is being
// taken under other settings is given up aloud.
func TestTheStillThreadThroughReloads(t *testing.T) {
	reload := func(b *dyeBench, text string) {
		cfg := benchConfig(t, text)
		b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Configuration: cfg.SHA256, Config: cfg}})
	}
	b := stillTaken(t)
	reload(b, benchText+lightText+"\n[regime]\nlaminar_below = 1900\n")
	b.flow(time.Second, laminarFlow, 0.005)
	b.value(quantity.DisturbedFraction) // and the minute that was watched

	reload(b, benchText+lightText+"\n[dye]\ntorn_above = 50\n")
	b.flow(61*time.Second, laminarFlow, 0.06)
	if v := b.value(quantity.DisturbedFraction); v != 0 {
		t.Errorf("torn above 50 times: %v of a light that flickers 12 times as much", v)
	}
	reload(b, benchText+lightText+"\n[dye]\ntorn_above = 6\n")
	b.flow(61*time.Second, laminarFlow, 0.06)
	if v := b.value(quantity.DisturbedFraction); v < 0.9 {
		t.Errorf("torn above 6 times: %v", v)
	}
	b.flow(5*time.Second, laminarFlow, 0.005)
	b.must(b.ask())
	reload(b, benchText+strings.Replace(lightText, "100 %\"]}", "90 %\"]}", 1))
	notes := b.dyeNotes()
	if last := notes[len(notes)-1]; !strings.HasPrefix(last, "dana: still thread not taken: a reload has changed") {
		t.Errorf("given up: %q", last)
	}
	b.flow(70*time.Second, laminarFlow, 0.005)
	if v, known := b.state.Values.Get(quantity.DisturbedFraction); known {
		t.Errorf("%v against the still thread of another scale", v)
	}
}
