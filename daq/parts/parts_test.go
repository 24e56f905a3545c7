package parts

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// told keeps what parts did, in order.
type told struct {
	mu   sync.Mutex
	list []string
}

func (o *told) add(text string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.list = append(o.list, text)
}

// did is what they did so far.
func (o *told) did() []string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.Clone(o.list)
}

// until is a part that works until it is stopped, takes a while then, and ends in err.
func (o *told) until(name string, ending time.Duration, err error) Work {
	return func(ctx context.Context) error {
		<-ctx.Done()
		time.Sleep(ending)
		o.add(name)
		return err
	}
}

// Parts stop in their order: the second when the first has ended, or when its grace
// is over. What a part could not do is logged; of one that must stop well it is the
// program's failure.
func TestPartsStopInTheirOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o told
		var text bytes.Buffer
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		lost := errors.New("rows lost")
		began := time.Now()
		err := Run(ctx, slog.New(slog.NewTextHandler(&text, nil)), []Part{
			{Name: "first", Grace: 5 * time.Second, Work: o.until("first", 3*time.Second, errors.New("no broker")), Vital: true},
			{Name: "stuck", Grace: time.Second, Work: o.until("stuck", time.Hour, nil)},
			{Name: "last", Grace: 5 * time.Second, Work: o.until("last", 0, lost), Must: true},
		})
		if !errors.Is(err, lost) || err.Error() != "last: rows lost" {
			t.Errorf("it ends with %v", err)
		}
		if took := time.Since(began); took != time.Minute+4*time.Second || !slices.Equal(o.did(), []string{"first", "last"}) {
			t.Errorf("after %v have ended %v", took, o.did())
		}
		for _, want := range []string{"first: no broker", "stuck: still busy after 1s; left behind"} {
			if !strings.Contains(text.String(), want) {
				t.Errorf("the log does not say %q: %s", want, &text)
			}
		}
		time.Sleep(time.Hour) // the one that was left behind
	})
}

// The program ends with a vital part, and not with another.
func TestTheEndOfAVitalPart(t *testing.T) {
	anew := errors.New("begin anew")
	for _, c := range []struct {
		end  error
		want string
	}{{nil, "engine ended by itself"}, {anew, "engine ended by itself: begin anew"}} {
		synctest.Test(t, func(t *testing.T) {
			var o told
			began := time.Now()
			err := Run(t.Context(), slog.New(slog.DiscardHandler), []Part{
				{Name: "sink", Grace: time.Second, Work: func(context.Context) error { return nil }},
				{Name: "engine", Grace: time.Second, Vital: true, Work: func(context.Context) error { time.Sleep(time.Minute); return c.end }},
				{Name: "recording", Grace: time.Second, Work: o.until("recording", 0, nil)},
			})
			if err == nil || err.Error() != c.want || errors.Is(err, anew) != (c.end == anew) {
				t.Errorf("it ends with %v", err)
			}
			if took := time.Since(began); took != time.Minute || len(o.did()) != 1 {
				t.Errorf("after %v have ended %v", took, o.did())
			}
		})
	}
}

// One runs at a time; of two that wait the newer begins, when the one before has
// ended.
func TestAPartIsReplaced(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o told
		named := func(name string) Work {
			return func(ctx context.Context) error {
				o.add(name + " begins")
				return o.until(name+" ends", time.Second, nil)(ctx)
			}
		}
		r := NewReplaceable(named("old"), slog.New(slog.DiscardHandler))
		running := Begin("replaceable", r.Run)
		time.Sleep(time.Minute)
		r.Replace(named("new"))
		time.Sleep(time.Millisecond)
		r.Replace(named("dropped"))
		r.Replace(named("newest"))
		time.Sleep(time.Minute)
		if err := running.Stop(2 * time.Second); err != nil {
			t.Error(err)
		}
		want := []string{"old begins", "old ends", "new begins", "new ends", "newest begins", "newest ends"}
		if !slices.Equal(o.did(), want) {
			t.Errorf("%v, want %v", o.did(), want)
		}
	})
}
