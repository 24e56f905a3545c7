package dye

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

var fiveHertz = Setting{Every: 200 * time.Millisecond, TornAbove: 5}

// thread is a light that flickers about its mean by a share of it, reading after reading
// independent of one another.
type thread struct {
	at    time.Duration
	every time.Duration
	draws *rand.Rand
}

func newThread(seed uint64) *thread {
	return &thread{every: fiveHertz.Every, draws: rand.New(rand.NewPCG(seed, 7))}
}

// give plays readings for a length.
func (l *thread) give(to func(time.Duration, float64), length time.Duration, mean, flicker float64) {
	for end := l.at + length; l.at < end; {
		l.at += l.every
		to(l.at, mean*(1+flicker*l.draws.NormFloat64()))
	}
}

// alternating is a light that steps by ± swing from one reading to the next: of four such
// readings the standard deviation (n − 1) is swing·√(4/3), in parts of the mean.
func (l *thread) alternating(to func(time.Duration, float64), length time.Duration, mean, swing float64) {
	for i, end := 0, l.at+length; l.at < end; i++ {
		l.at += l.every
		to(l.at, mean*(1+swing*float64(1-2*(i&1))))
	}
}

func takeStill(t *testing.T, play func(*Taking)) (Still, error) {
	t.Helper()
	taking := NewTaking(fiveHertz)
	play(taking)
	return taking.End()
}

func TestStillThread(t *testing.T) {
	still, err := takeStill(t, func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.6, 0.005) })
	if err != nil {
		t.Fatal(err)
	}
	near(t, "light", still.Light, 0.6, 1e-12)
	near(t, "flicker", still.Flicker, 0.005*math.Sqrt(4.0/3), 1e-9)
	still, err = takeStill(t, func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.6, 0) })
	if err != nil || still.Flicker != 0.001 {
		t.Errorf("a light that stands still: flicker %v, %v, want one code of a thousand", still.Flicker, err)
	}
}

// What is no still thread is said, each at its own limit.
func TestNoStillThread(t *testing.T) {
	const root = 0.8660254 // √(3/4): the swing of four readings for a standard deviation of one
	for _, c := range []struct {
		name string
		play func(*Taking)
		want string // "" for a still thread
	}{
		{"39 of 50 readings", func(k *Taking) { newThread(1).alternating(k.Add, 7800*time.Millisecond, 0.6, 0.01) }, "39 readings of the light came in place of 50"},
		{"40 of 50 readings", func(k *Taking) { newThread(1).alternating(k.Add, 8*time.Second, 0.6, 0.01) }, ""},
		{"dark", func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.0099, 0.01) }, "see to the lamp"},
		{"nearly dark", func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.0101, 0.01) }, ""},
		{"at its end", func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.991, 0) }, "turn the amplifier down"},
		{"bright", func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.989, 0) }, ""},
		{"flickers by 5.1 %", func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.6, 0.051*root) }, "flickers by 5.1 %"},
		{"flickers by 4.9 %", func(k *Taking) { newThread(1).alternating(k.Add, StillTime, 0.6, 0.049*root) }, ""},
		{"torn for a second, by 5.1 times", func(k *Taking) {
			l := newThread(1)
			l.alternating(k.Add, 7*time.Second, 0.6, 0.005)
			l.alternating(k.Add, 1*time.Second, 0.6, 0.0255)
			l.alternating(k.Add, 2*time.Second, 0.6, 0.005)
		}, "torn for a part"},
		{"moved for a second, by 4.9 times", func(k *Taking) {
			l := newThread(1)
			l.alternating(k.Add, 7*time.Second, 0.6, 0.005)
			l.alternating(k.Add, 1*time.Second, 0.6, 0.0245)
			l.alternating(k.Add, 2*time.Second, 0.6, 0.005)
		}, ""},
		{"one code more in a light that stands still", func(k *Taking) {
			l := newThread(1)
			l.alternating(k.Add, 9*time.Second, 0.6, 0)
			l.alternating(k.Add, 1*time.Second, 0.6, 0.001)
		}, ""},
		{"no two readings together", func(k *Taking) {
			for i := range 50 {
				k.Add(time.Duration(i)*time.Second, 0.6)
			}
		}, "50 readings"},
	} {
		_, err := takeStill(t, c.play)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: refused: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

var quiet = Still{Light: 0.6, Flicker: 0.01}

func watched() *Watch { return NewWatch(fiveHertz, quiet, time.Minute) }

// seconds are those of torn and of still thread in the last minute.
func seconds(w *Watch, now time.Duration) (torn, still float64) {
	seen, _ := w.Seen(now, time.Minute)
	return seen.Torn.Seconds, seen.Still.Seconds
}

// The limits themselves: torn above five times the still flicker, still again below two
// and a half times, and between the two it stays what it was.
func TestTornAbove(t *testing.T) {
	const root = 0.8660254
	play := func(parts ...float64) float64 {
		w, l := watched(), newThread(1)
		for _, times := range parts {
			l.alternating(w.Add, 10*time.Second, 0.6, times*0.01*root)
		}
		torn, _ := seconds(w, l.at)
		return torn
	}
	for _, c := range []struct {
		name  string
		parts []float64
		want  float64 // s, to a second
	}{
		{"4.9 times", []float64{1, 4.9, 1}, 0},
		{"5.1 times", []float64{1, 5.1, 1}, 10},
		{"then 2.6 times", []float64{1, 5.1, 2.6}, 20},
		{"then 2.4 times", []float64{1, 5.1, 2.4}, 10},
	} {
		near(t, c.name+": torn seconds", play(c.parts...), c.want, 1)
	}
}

// Stretches of torn thread are as long as they were, though the flicker takes half a
// second: 2 s of each 5 s are torn. Where the torn light is noise, its first or last
// reading may stand near the mean, and a stretch comes out some 0.1 s short.
func TestStretchesAreAsLongAsTheyWere(t *testing.T) {
	w, l := watched(), newThread(1)
	for range 12 {
		l.alternating(w.Add, 3*time.Second, 0.6, 0.005)
		l.alternating(w.Add, 2*time.Second, 0.6, 0.3)
	}
	l.alternating(w.Add, 3*time.Second, 0.6, 0.005)
	torn, still := seconds(w, l.at)
	near(t, "torn seconds", torn, 24, 0.3)
	near(t, "still seconds", still, 36, 0.3)
	sum, n := 0.0, 200
	for seed := range n {
		w, l := watched(), newThread(uint64(seed))
		for range 13 {
			l.give(w.Add, 3*time.Second, 0.6, 0.01)
			l.give(w.Add, 2*time.Second, 0.6, 0.3)
		}
		seen, ok := w.Seen(l.at, time.Minute)
		if !ok {
			t.Fatal("not watched")
		}
		sum += seen.Share(2).Fraction
	}
	near(t, "mean share", sum/float64(n), 0.4, 0.025)
}

// What is not watched is not counted: a gap, darkness, and what is older than the span.
func TestWhatIsNotWatched(t *testing.T) {
	w, l := watched(), newThread(1)
	l.alternating(w.Add, 53*time.Second, 0.6, 0.005)
	if _, ok := w.Seen(l.at, time.Minute); ok {
		t.Error("53 s are taken for a minute")
	}
	l.alternating(w.Add, 2*time.Second, 0.6, 0.005)
	if _, ok := w.Seen(l.at, time.Minute); !ok {
		t.Error("55 s are not taken for nine tenths of a minute")
	}
	l.at += 500 * time.Millisecond // and the next reading 0.7 s after the last: three are missed
	l.alternating(w.Add, 5*time.Second, 0.6, 0.005)
	if torn, still := seconds(w, l.at); torn != 0 || math.Abs(still-59.4) > 0.4 {
		t.Errorf("a gap of 0.7 s: torn %v s, still %v s", torn, still)
	}
	l.alternating(w.Add, 10*time.Second, 0.04, 0.45) // the lamp is out, and noise is left
	if torn, still := seconds(w, l.at); torn != 0 || math.Abs(still-49.4) > 0.6 {
		t.Errorf("ten seconds without the lamp: torn %v s, still %v s", torn, still)
	}
	if _, ok := w.Seen(l.at, time.Minute); ok {
		t.Error("a minute with ten dark seconds is known")
	}
	l.alternating(w.Add, 10*time.Second, 0.12, 0.2) // dye across the tube takes a lot away
	if torn, _ := seconds(w, l.at); math.Abs(torn-10) > 0.5 {
		t.Errorf("a dark tangle: torn %v s", torn)
	}
	l.at += time.Hour
	l.alternating(w.Add, time.Second, 0.6, 0.005)
	if len(w.spells) > 2 {
		t.Errorf("%d spells are kept after an hour", len(w.spells))
	}
	w.Add(l.at-time.Second, 0.9) // a reading of before
	w.Add(l.at, 0.9)             // and one of the same time
	l.alternating(w.Add, time.Second, 0.6, 0.005)
	if torn, _ := seconds(w, l.at); torn != 0 {
		t.Errorf("a late reading tore the thread for %v s", torn)
	}
}

// A gap of the length of three readings is none: 0.6 s from one to the next.
func TestTwoMissedReadingsAreNoGap(t *testing.T) {
	w, l := watched(), newThread(1)
	l.alternating(w.Add, 30*time.Second, 0.6, 0.005)
	l.at += 400 * time.Millisecond
	l.alternating(w.Add, 30*time.Second, 0.6, 0.005)
	if _, still := seconds(w, l.at); math.Abs(still-60) > 0.3 {
		t.Errorf("watched for %v s of a minute", still)
	}
}

// A stretch that the watching did not see begin, or end, is not whole.
func TestWholeStretches(t *testing.T) {
	w, l := watched(), newThread(1)
	l.give(w.Add, 5*time.Second, 0.6, 0.3)
	for range 3 {
		l.alternating(w.Add, 5*time.Second, 0.6, 0.005)
		l.give(w.Add, 5*time.Second, 0.6, 0.3)
	}
	seen, _ := w.Seen(l.at, 28*time.Second)
	if seen.Torn.Ended != 2 || seen.Torn.Whole != 2 || seen.Still.Whole != 2 || seen.Still.Ended != 3 {
		t.Errorf("of 28 s: torn %+v, still %+v", seen.Torn, seen.Still)
	}
	seen, _ = w.Seen(l.at, time.Minute)
	if seen.Torn.Ended != 3 || seen.Torn.Whole != 2 || seen.Still.Whole != 3 {
		t.Errorf("of all: torn %+v, still %+v", seen.Torn, seen.Still)
	}
}

// Faster readings are as many as half a second holds, and fewer than four are none.
func TestReadingsOfOneFlicker(t *testing.T) {
	for every, want := range map[time.Duration]int{
		time.Second: 4, 200 * time.Millisecond: 4, 100 * time.Millisecond: 5, 20 * time.Millisecond: 25, 15 * time.Millisecond: 34,
	} {
		if got := (Setting{Every: every}).readings(); got != want {
			t.Errorf("every %v: %d readings, want %d", every, got, want)
		}
	}
}
