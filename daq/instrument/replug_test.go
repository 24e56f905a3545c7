//go:build unix

package instrument

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/goleak"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// startReal runs a manager on real lines, against the real clock.
func startReal(t testing.TB, o Options) (stop func()) {
	t.Helper()
	began := time.Now()
	o.Now = func() time.Duration { return time.Since(began) }
	m, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- m.Run(ctx) }()
	return func() {
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(5 * time.Second):
			t.Error("the manager did not end")
		}
	}
}

// await waits until a reading is as wanted, and gives how long it took.
func await(t testing.TB, within time.Duration, readings <-chan daq.Reading, want func(daq.Reading) bool) time.Duration {
	t.Helper()
	began, end := time.Now(), time.NewTimer(within)
	defer end.Stop()
	var last daq.Reading
	for {
		select {
		case last = <-readings:
			if want(last) {
				return time.Since(began)
			}
		case <-end.C:
			t.Fatalf("not within %v; the last reading was %+v", within, last)
		}
	}
}

func isClean(r daq.Reading) bool { return r.Reason == "" }
func isPort(r daq.Reading) bool  { return r.Reason == daq.ReasonPort }

// descriptors counts the open files of this process.
func descriptors(t testing.TB) int {
	t.Helper()
	entries, err := os.ReadDir("/dev/fd")
	if err != nil {
		t.Fatal(err)
	}
	return len(entries)
}

// plugged is a line on which a cable is pulled and put back: its stable name
// leads to another device each time.
type plugged struct {
	t        *testing.T
	name     string
	far      *slaves
	terminal *terminal
	ended    chan struct{} // the far end of the terminal
	readings chan daq.Reading
	stop     func()
}

func newPlugged(t *testing.T) *plugged {
	l := &plugged{t: t, name: filepath.Join(t.TempDir(), "bus"), far: newSlaves(), readings: make(chan daq.Reading, 1000)}
	l.far.setFloat(1, 0, 1.2)
	l.plug()
	l.stop = startReal(t, Options{
		Ports:       []config.Port{testPort(l.name)},
		Instruments: []config.Instrument{register(quantity.Flow, 1, 0, 20*time.Millisecond)},
		Out:         func(r daq.Reading) { l.readings <- r },
	})
	return l
}

func (l *plugged) plug() {
	x, ended := newTerminal(l.t), make(chan struct{})
	go func() { defer close(ended); l.far.serve(x.far) }()
	link(l.t, x.device, l.name)
	l.terminal, l.ended = x, ended
}

// pull takes the name away first, as the system does: the terminal's number may
// be another's at once.
func (l *plugged) pull() {
	if err := os.Remove(l.name); err != nil {
		l.t.Error(err)
	}
	l.terminal.pull()
	<-l.ended
}

// 100 unplug–replug cycles, of ten lines side by side.
func TestReplugHundredTimes(t *testing.T) {
	ignore := goleak.IgnoreCurrent()
	newTerminal(t).pull() // the runtime opens two files of its own for the first one that it waits for
	before := descriptors(t)
	lines := make([]*plugged, 10)
	for i := range lines {
		lines[i] = newPlugged(t)
	}
	worst := time.Duration(0)
	for range 100 / len(lines) {
		for _, l := range lines {
			await(t, 2*time.Second, l.readings, isClean)
			l.pull()
		}
		for _, l := range lines {
			await(t, 2*time.Second, l.readings, isPort)
			l.plug()
		}
		for _, l := range lines {
			worst = max(worst, await(t, 2*time.Second, l.readings, isClean))
		}
	}
	for _, l := range lines {
		l.stop()
		l.pull()
	}
	t.Logf("slowest return %v", worst)
	if after := descriptors(t); after > before {
		t.Errorf("%d open files before, %d after", before, after)
	}
	goleak.VerifyNone(t, ignore)
}

// The name leads to another device while the old one still stands there,
// silent: nothing tells it but the name.
func TestNameMovesToAnotherDevice(t *testing.T) {
	silent, good := newTerminal(t), newTerminal(t)
	go io.Copy(io.Discard, silent.far)
	far := newSlaves()
	far.setFloat(1, 0, 1.2)
	go far.serve(good.far)
	name := filepath.Join(t.TempDir(), "bus")
	link(t, silent.device, name)
	readings := make(chan daq.Reading, 1000)
	stop := startReal(t, Options{
		Ports:       []config.Port{testPort(name)},
		Instruments: []config.Instrument{register(quantity.Flow, 1, 0, 50*time.Millisecond)},
		Out:         func(r daq.Reading) { readings <- r },
	})
	defer stop()
	await(t, 2*time.Second, readings, func(r daq.Reading) bool { return r.Reason == daq.ReasonTimeout })
	link(t, good.device, name)
	await(t, 3*time.Second, readings, isClean)
}

// A far end that does not read must not hold anything up for long.
func TestLineThatTakesNothing(t *testing.T) {
	x := newTerminal(t) // nobody reads x.far
	port := testPort(x.device)
	port.Baud = 921600
	readings := make(chan daq.Reading, 10000)
	stop := startReal(t, Options{
		Ports: []config.Port{port},
		Instruments: []config.Instrument{{
			ID: quantity.Flow, Name: "flow", Port: "bus", Every: time.Millisecond,
			Query: &config.Query{Send: make([]byte, 100000), Reply: pattern("{value}"), End: []byte("\n")},
		}},
		Out: func(r daq.Reading) { readings <- r },
	})
	await(t, 5*time.Second, readings, isPort)
	stop()
}
