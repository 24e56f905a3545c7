package instrument

import (
	"os"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq/modbus"
)

// byteLine is a line whose answers come byte by byte, the first one a pause behind
// the request, as a serial line brings them; it counts how often it wakes its reader.
type byteLine struct {
	character   time.Duration
	pause       func(asked int) time.Duration
	asked       int
	answer      func(request []byte) []byte
	coming      []byte
	at          []time.Time // when each of them is there
	last        time.Time   // when the last byte of the newest answer is there
	deadline    time.Time
	reads, fine int // Read, and Listen that waits
}

func (l *byteLine) Write(request []byte) (int, error) {
	l.asked++
	l.last = time.Now().Add(time.Duration(len(request))*l.character + l.pause(l.asked))
	for _, b := range l.answer(request) {
		l.last = l.last.Add(l.character)
		l.coming, l.at = append(l.coming, b), append(l.at, l.last)
	}
	return len(request), nil
}

func (l *byteLine) Read(buf []byte) (n int, err error) {
	l.reads++
	if !l.await(l.deadline) {
		return 0, os.ErrDeadlineExceeded
	}
	for n < len(l.at) && !l.at[n].After(time.Now()) {
		n++
	}
	n = copy(buf, l.coming[:n])
	l.coming, l.at = l.coming[n:], l.at[n:]
	return n, nil
}

// await waits for the next byte until then; false: there was none.
func (l *byteLine) await(until time.Time) bool {
	there := len(l.at) > 0 && !l.at[0].After(until)
	if there {
		until = l.at[0]
	}
	time.Sleep(time.Until(until))
	return there
}

func (l *byteLine) Listen(d time.Duration) (bool, error) {
	if d > 0 {
		l.fine++
	}
	return l.await(time.Now().Add(d)), nil
}

func (l *byteLine) SetReadDeadline(t time.Time) error  { l.deadline = t; return nil }
func (l *byteLine) SetWriteDeadline(t time.Time) error { return nil }
func (l *byteLine) Close() error                       { return nil }

// pollSlaves polls n slaves behind a byteLine for that long.
func pollSlaves(t *testing.T, l *byteLine, n byte, every, lasts time.Duration) *readings {
	t.Helper()
	port := testPort("/dev/bus")
	far, out := newSlaves(), &readings{}
	l.character, l.answer = port.Character(), func(request []byte) []byte {
		asked, err := modbus.ParseRequest(request)
		if err != nil {
			t.Error(err)
		}
		return far.answer(asked)
	}
	var list []config.Instrument
	for i := range n {
		far.setFloat(i+1, 0, 1.5)
		list = append(list, register(quantity.ID(i), i+1, 0, every))
	}
	_, stop := start(t, Options{Ports: []config.Port{port}, Instruments: list, Open: func(config.Port) (Line, error) { return l, nil }, Out: out.add})
	time.Sleep(lasts)
	stop()
	for _, r := range out.list {
		if r.Reason != "" || r.Number != 1.5 {
			t.Fatalf("%+v", r)
		}
	}
	return out
}

// An answer of nine bytes wakes the program once, not nine times, and no silence is
// waited for finely while the line has time; none of the readings is late.
func TestAnAnswerIsReadOnce(t *testing.T) {
	for _, pause := range []time.Duration{2 * time.Millisecond, 30 * time.Millisecond} {
		synctest.Test(t, func(t *testing.T) {
			l := &byteLine{pause: func(int) time.Duration { return pause }}
			const each = 500
			out := pollSlaves(t, l, 2, 200*time.Millisecond, each*200*time.Millisecond-time.Millisecond)
			if n := len(out.list); n != 2*each {
				t.Errorf("pause %v: %d readings", pause, n)
			}
			if most := 2 * each * (15 + 9) / 16 * 11 / 10; l.reads > most {
				t.Errorf("pause %v: %d reads for %d answers, want %d at most", pause, l.reads, 2*each, most)
			}
			if l.fine > 0 {
				t.Errorf("pause %v: %d silences were waited for finely", pause, l.fine)
			}
			took := 17*l.character + pause
			for _, r := range out.list {
				if r.Took < took || r.Took > took+time.Microsecond {
					t.Fatalf("pause %v: an answer took %v, read after %v", pause, took, r.Took)
				}
			}
		})
	}
}

// On a line that has no time left every byte is read as it comes and every silence is
// waited for finely.
func TestAFullLineLosesNoTime(t *testing.T) {
	for n := range byte(3) {
		synctest.Test(t, func(t *testing.T) {
			l := &byteLine{pause: func(int) time.Duration { return 2 * time.Millisecond }}
			out := pollSlaves(t, l, n+1, time.Millisecond, 10*time.Second)
			if n := len(out.list); l.reads < 8*n || l.fine < n-3 {
				t.Errorf("%d answers, %d reads, %d silences waited for finely", n, l.reads, l.fine)
			}
		})
	}
}

// An instrument that becomes slower is not lost, and one that becomes quicker is read
// in time again after watchEach exchanges.
func TestAnInstrumentMayBecomeSlowerAndQuicker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &byteLine{pause: func(asked int) time.Duration {
			switch {
			case asked <= 100:
				return 40 * time.Millisecond
			case asked <= 300:
				return 80 * time.Millisecond
			}
			return 10 * time.Millisecond
		}}
		out := pollSlaves(t, l, 2, 200*time.Millisecond, time.Minute)
		late := 0
		for _, r := range out.list[300:] {
			if r.Took > 17*l.character+11*time.Millisecond {
				late++
			}
		}
		if late > 2*watchEach {
			t.Errorf("%d readings are late after the instruments became quicker", late)
		}
	})
}

// A sleeper wakes up late: what it sees does not make its next sleep longer.
func TestNothingIsLearnedFromSleep(t *testing.T) {
	var p poll
	p.learn(20*time.Millisecond, false, nil)
	for range 100 {
		p.learn(21*time.Millisecond, true, nil)
	}
	if p.takes != 20*time.Millisecond {
		t.Errorf("sleeps for %v", p.takes)
	}
}

// Who sleeps hears of no stop: a slow instrument's answer is slept through in part.
func TestASleepIsShort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for takes, want := range map[time.Duration]time.Duration{time.Millisecond: 0, 30 * time.Millisecond: 30 * time.Millisecond, 3 * time.Second: 100 * time.Millisecond} {
			began := time.Now()
			w := wire{sentAt: began, takes: takes}
			w.sleepThrough(began.Add(4 * time.Second))
			if slept := time.Since(began); slept != want {
				t.Errorf("slept %v for an answer that takes %v", slept, takes)
			}
		}
	})
}
