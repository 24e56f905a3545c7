package web

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
)

// TestFollowersShareOneRendering: whoever has seen the snapshot before gets the changes,
// encoded once; who lags gets the changes since; who is new, or lags too far, gets all.
func TestFollowersShareOneRendering(t *testing.T) {
	b := testBed(t, nil)
	move := func(level float64) *snapshot {
		s := steadyState()
		s.Values.Put(quantity.Level, level)
		b.rig.set(func(f *fakeRig) { f.state = s })
		return b.snapshot(0)
	}
	first := move(0.2511)
	if again := b.snapshot(0); again != first {
		t.Error("the same state was rendered twice")
	}
	second, third := move(0.2522), move(0.2533)
	if second.number != first.number+1 || third.number != second.number+1 {
		t.Fatalf("numbers %d, %d, %d", first.number, second.number, third.number)
	}
	if got := b.newsFor(second.number, third); &got[0] != &third.news[0] || strings.Contains(string(got), `"sign"`) || !strings.Contains(string(got), "253.3") {
		t.Errorf("one behind gets %.200s", got)
	}
	if got := string(b.newsFor(first.number, third)); strings.Contains(got, `"sign"`) || !strings.Contains(got, "253.3") || strings.Contains(got, "252.2") {
		t.Errorf("two behind get %.200s", got)
	}
	if got := string(b.newsFor(third.number, third)); got != "{}" {
		t.Errorf("nothing new is %.200s", got)
	}
	for i := range shotsKept {
		third = move(0.25 + float64(i)/1e4)
	}
	for _, seen := range []uint64{0, first.number} {
		got := decode[map[string]string](t, string(b.newsFor(seen, third)))
		if len(got) != len(third.parts) {
			t.Errorf("who has seen %d gets %d parts of %d", seen, len(got), len(third.parts))
		}
	}
}

// sink is a stream's other end that takes everything.
type sink struct {
	http.ResponseWriter
	n int
}

func (s *sink) Write(b []byte) (int, error) { s.n += len(b); return len(b), nil }

// BenchmarkViewers: a new state, and what it costs to render it and to give each viewer
// its news. Fifty are to cost less than 1.5 times what one does.
func BenchmarkViewers(b *testing.B) {
	for _, viewers := range []int{1, 50} {
		b.Run(fmt.Sprint(viewers), func(b *testing.B) {
			rig := &fakeRig{state: steadyState()}
			s, err := New(Options{Listen: "127.0.0.1:0", Facts: testFacts(), Rig: rig, Log: quiet, Version: "test"})
			if err != nil {
				b.Fatal(err)
			}
			seen := make([]uint64, viewers)
			var out sink
			b.ReportAllocs()
			for i := range b.N {
				state := steadyState()
				state.Values.Put(quantity.Level, 0.25+float64(i%100)/1e5)
				rig.set(func(f *fakeRig) { f.state = state })
				for v := range seen {
					now := s.snapshot(0)
					_, _ = out.Write(s.newsFor(seen[v], now))
					seen[v] = now.number
				}
			}
			b.ReportMetric(float64(out.n)/float64(b.N)/float64(viewers), "bytes/viewer")
		})
	}
}
