package record

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq"
)

// gate is a disk that a test can fill or hang.
type gate struct {
	full atomic.Bool
	mu   sync.RWMutex // held for writing: the disk hangs
}

func (g *gate) commit(commit func() error) error {
	g.mu.RLock()
	defer g.mu.RUnlock()
	if g.full.Load() {
		return fmt.Errorf("write flowrig.db-wal: %w", syscall.ENOSPC)
	}
	return commit()
}

// checkSequences wants 1, 2, 3, … n.
func checkSequences(t *testing.T, r *Reader, class daq.Class, n int) []daq.Message {
	t.Helper()
	list, err := r.Pending(t.Context(), class, 0, n+10)
	if err != nil || len(list) != n {
		t.Errorf("%s: %d messages, %v; want %d", class, len(list), err, n)
	}
	for i, m := range list {
		if m.Sequence != int64(i+1) {
			t.Fatalf("%s: message %d has sequence %d", class, i+1, m.Sequence)
		}
	}
	return list
}

// TestHangingLookAtTheFileIsSeen is a disk that hangs while the writer asks for
// its file: not healthy after a second, healthy once it has answered.
func TestHangingLookAtTheFileIsSeen(t *testing.T) {
	r := &Recorder{}
	w := &writer{r: r, files: map[string]os.FileInfo{"flowrig.db": nil}, stat: func(string) (os.FileInfo, error) {
		if ok, _, why := r.health.look(time.Now().Add(hangLimit)); ok || !strings.Contains(why, "not answered") {
			t.Errorf("while it hangs: healthy %v, %q", ok, why)
		}
		return nil, os.ErrNotExist
	}}
	if w.gone(w.files) == nil {
		t.Error("a missing file is not gone")
	}
	if ok, _, why := r.health.look(time.Now().Add(hangLimit)); !ok {
		t.Error("after the answer:", why)
	}
}

func TestFullDiskLosesNothing(t *testing.T) {
	var g gate
	receipts := make(chan int64, 100)
	r := open(t, t.TempDir(), Options{Commit: g.commit, Journalled: func(_ []daq.Event, list []int64) { receipts <- list[0] }})
	r.Put(begin("abc"))
	r.Put(tick(2))
	waitRow(t, r, 1)
	g.full.Store(true)
	for n := range 100 {
		b := tick(n + 3)
		b.Events = []daq.Event{raise("a", fmt.Sprint(n), n)}
		r.Put(b)
	}
	until(t, r, "the failure", func() bool { ok, _, _ := r.Healthy(); return !ok })
	if _, since, why := r.Healthy(); since.IsZero() || !strings.Contains(why, syscall.ENOSPC.Error()) {
		t.Errorf("since %v: %q", since, why)
	}
	if r.Newest() != 1 || len(receipts) != 0 {
		t.Fatalf("newest %d, %d receipts while nothing can be written", r.Newest(), len(receipts))
	}
	g.full.Store(false)
	waitRow(t, r, 101)
	if ok, _, why := r.Healthy(); !ok {
		t.Error("still ill:", why)
	}
	checkSequences(t, r.Reader, daq.ClassRecord, 101)
	for n, m := range checkSequences(t, r.Reader, daq.ClassAlarm, 100) {
		if got := <-receipts; got != int64(n+1) {
			t.Errorf("receipt %d: %+v", n, got)
		}
		if !strings.Contains(string(m.Body), fmt.Sprintf(`"state":"%d"`, n)) {
			t.Errorf("alarm %d out of order: %s", n, m.Body)
		}
	}
}

// A disk that hangs for long: Put never waits, inputs and rows have their
// bounds, alarms have none to speak of, and the recording says what it lacks.
func TestHungDiskDropsInputsThenRowsNeverAlarms(t *testing.T) {
	t.Parallel()
	const more = 50
	var g gate
	r := open(t, t.TempDir(), Options{Commit: g.commit})
	tell(t, r, raise("a", "before", 0)) // the first commit is done
	g.mu.Lock()
	unlock := sync.OnceFunc(g.mu.Unlock)
	t.Cleanup(unlock) // or Close would hang
	// One step hangs in the commit; what follows waits in the queue.
	for n := range maxInputs + more {
		b := tick(n + 1)
		if n >= maxRows+more {
			b.State = nil
		}
		if n%1000 == 0 {
			b.Events = []daq.Event{raise("a", fmt.Sprint(n/1000), n)}
		}
		r.Put(b)
	}
	for n, kind := range []daq.Kind{daq.KindReload, daq.KindStart} { // few, and without them replay is nothing
		b := begin(fmt.Sprint("late ", kind))
		b.Input.Kind = kind
		b.Input.Number = []uint64{maxInputs + more + 1, 1}[n]
		r.Put(b)
	}
	if got, want := r.Dropped(), (Drops{Inputs: more, Rows: more}); got.Inputs < more-1 || got.Rows < more-1 || got.Inputs > want.Inputs+1 || got.Rows > want.Rows+1 || got.Events != 0 {
		t.Errorf("dropped %+v, want about %+v", got, want)
	}
	if ok, _, why := r.health.look(time.Now().Add(hangLimit)); ok || !strings.Contains(why, "not answered") {
		t.Errorf("health after a second: %v %q", ok, why)
	}
	unlock()
	tell(t, r, raise("a", "after", 0))
	list := checkSequences(t, r.Reader, daq.ClassAlarm, maxInputs/1000+3)
	if last := list[len(list)-1]; !strings.Contains(string(last.Body), "after") {
		t.Errorf("alarms out of order: %s", last.Body)
	}
	until(t, r, "the note on the gap", func() bool {
		notes, err := r.Pending(t.Context(), daq.ClassEvent, 0, 10)
		return err == nil && len(notes) == 1 && strings.Contains(string(notes[0].Body), fmt.Sprintf("%d inputs", r.Dropped().Inputs))
	})
	checkSequences(t, r.Reader, daq.ClassRecord, maxRows+more-int(r.Dropped().Rows))
	kinds := map[string]daq.Kind{}
	for run := range int64(2) {
		for in, err := range r.Inputs(t.Context(), run+1, 1) {
			if err != nil {
				t.Fatal(err)
			}
			if in.Start != nil {
				kinds[in.Start.Configuration] = in.Kind
			}
		}
	}
	if len(kinds) != 2 || kinds[fmt.Sprint("late ", daq.KindReload)] != daq.KindReload || kinds[fmt.Sprint("late ", daq.KindStart)] != daq.KindStart {
		t.Errorf("of a reload and a start that came while the queue was full there are %v", kinds)
	}
}

func TestEventsHaveABoundToo(t *testing.T) {
	t.Parallel()
	q := newQueue()
	for range maxEvents + 3 {
		q.put(step{Batch: daq.Batch{Events: []daq.Event{raise("a", "x", 0)}}}, start)
	}
	if got := q.drops().Events; got != 3 {
		t.Errorf("%d events dropped, want 3", got)
	}
}

func TestCloseGivesUpOnAHungDisk(t *testing.T) {
	var g gate
	r := open(t, t.TempDir(), Options{Commit: g.commit})
	g.mu.Lock()
	t.Cleanup(g.mu.Unlock)
	r.Put(tick(1))
	until(t, r, "the hanging commit", func() bool {
		ok, _, _ := r.health.look(time.Now().Add(hangLimit))
		return !ok
	})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := r.Close(ctx); err == nil || !strings.Contains(err.Error(), "not on disk") {
		t.Error(err)
	}
}

func TestCloseGivesUpOnAFullDisk(t *testing.T) {
	for name, before := range map[string]func(r *Recorder){
		"that nobody knew of": func(*Recorder) {},
		"that a commit has met": func(r *Recorder) {
			r.Hurry()
			until(t, r, "the failed commit", func() bool { ok, _, _ := r.Healthy(); return !ok })
		},
	} {
		t.Run(name, func(t *testing.T) {
			var g gate
			g.full.Store(true)
			r, err := Open(t.TempDir(), Options{Commit: g.commit})
			if err != nil {
				t.Fatal(err)
			}
			r.Put(tick(1))
			before(r)
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			if err := r.Close(ctx); err == nil || !strings.Contains(err.Error(), "1 steps are not on disk") {
				t.Error(err)
			}
			select {
			case <-r.done:
			case <-time.After(patience):
				t.Error("the writer is still there")
			}
		})
	}
}

// An attempt that fails half way gives no number away.
func TestFailedAttemptLeavesNoHole(t *testing.T) {
	t.Parallel()
	var n atomic.Int64
	r := open(t, t.TempDir(), Options{Commit: func(commit func() error) error {
		if n.Add(1)%2 == 1 {
			return errors.New("the cable came off")
		}
		return commit()
	}})
	for i := range 5 {
		if got := tell(t, r, raise("a", "x", i))[0]; got != int64(i+1) {
			t.Errorf("alarm %d has sequence %d", i+1, got)
		}
	}
}

func TestHealth(t *testing.T) {
	at := func(s float64) time.Time { return start.Add(time.Duration(s * float64(time.Second))) }
	ill := errors.New("disk full")
	for _, c := range []struct {
		name  string
		do    func(*health)
		now   time.Time
		ok    bool
		since time.Time
	}{
		{"idle", func(h *health) {}, at(9), true, time.Time{}},
		{"under way", func(h *health) { h.begin(at(0)) }, at(0.9), true, time.Time{}},
		{"hangs", func(h *health) { h.begin(at(0)) }, at(1), false, at(0)},
		{"done", func(h *health) { h.begin(at(0)); h.end(at(1), nil) }, at(9), true, time.Time{}},
		{"failed", func(h *health) { h.begin(at(0)); h.end(at(1), ill) }, at(1), false, at(0)},
		{"failed twice", func(h *health) { h.begin(at(0)); h.end(at(1), ill); h.begin(at(2)); h.end(at(3), ill) }, at(4), false, at(0)},
		{"well again", func(h *health) { h.begin(at(0)); h.end(at(1), ill); h.begin(at(2)); h.end(at(3), nil) }, at(4), true, time.Time{}},
		{"file gone", func(h *health) { h.lose(at(1), "gone"); h.begin(at(2)); h.end(at(3), nil); h.lose(at(4), "gone") }, at(5), false, at(1)},
	} {
		var h health
		c.do(&h)
		if ok, since, why := h.look(c.now); ok != c.ok || !since.Equal(c.since) || (why == "") != c.ok {
			t.Errorf("%s: %v %v %q", c.name, ok, since, why)
		}
	}
}
