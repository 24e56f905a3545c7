package notify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// Webhook and mail are away for an hour in which alarms come: afterwards every
// one has arrived, in order, within the longest wait, and the third receiver
// has noticed nothing.
func TestHourOfOutage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, away, well, post := newMemoryFeed(), &desk{}, &desk{}, newPostOffice(t)
		n := notifier(t, o, []config.Notify{hook("away"), hook("well"), post.receiver("night@north-hall.example")}, away, well)
		post.connect(n)
		stop := start(n)
		away.set(always(0))
		post.set(func(*script) error { return errAway })
		var want []string
		for i := range 180 {
			name := fmt.Sprintf("alarm-%d", i)
			o.raise(name, "high")
			want = append(want, fmt.Sprintf("%s:%d", name, i+1))
			time.Sleep(20 * time.Second)
			equal(t, "the one that is well", len(well.received()), i+1)
		}
		away.set(nil)
		post.set(nil)
		back := time.Now()
		time.Sleep(3 * time.Minute)
		must(t, stop())
		equal(t, "webhook", away.names(), strings.Join(want, " "))
		equal(t, "mail", post.alarms(), strings.Join(want, " "))
		if last := away.moment(179).Sub(back); last > time.Minute+30*time.Second {
			t.Errorf("all told %s after the receiver was back", last)
		}
		if tries := len(away.attempts()); tries > 180+100 {
			t.Errorf("%d attempts in an hour", tries)
		}
		if mails := len(post.mails()); mails > 5 {
			t.Errorf("%d mails for 180 alarms", mails)
		}
		for _, r := range n.receivers {
			mark, _ := o.Marked(r.destination, daq.ClassAlarm)
			equal(t, "mark of "+r.label, mark, 180)
		}
	})
}

// A restart in the middle of an outage loses nothing and repeats nothing that
// was accepted.
func TestRestartDuringOutage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		o.raise("a", "high")
		time.Sleep(time.Second)
		d.set(always(500))
		o.raise("b", "high")
		time.Sleep(time.Hour)
		must(t, stop())
		stop = start(notifier(t, o, []config.Notify{hook("desk")}, d))
		o.raise("c", "high")
		time.Sleep(time.Minute)
		d.set(nil)
		time.Sleep(2 * time.Minute)
		must(t, stop())
		equal(t, "told", d.names(), "a:1 b:2 c:3")
	})
}

// The waits double up to a minute, and never come in step.
func TestBackOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		d.set(always(503))
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		o.raise("a", "high")
		time.Sleep(20 * time.Minute)
		must(t, stop())
		tried := d.attempts()
		steps := []float64{1, 2, 4, 8, 16, 32, 60, 60, 60}
		for i, step := range steps {
			wait := tried[i+1].at.Sub(tried[i].at).Seconds()
			if wait < step/2 || wait > step {
				t.Errorf("wait %d is %g s, want %g to %g s", i, wait, step/2, step)
			}
		}
	})
}

// RFC 9110, 10.2.3: a receiver that names a time is left alone until then.
func TestRetryAfterIsHonoured(t *testing.T) {
	for _, tt := range []struct {
		status     int
		after      string
		least, max time.Duration
	}{
		{429, "120", 2 * time.Minute, 2*time.Minute + time.Second},
		{503, "Sat, 01 Jan 2000 00:05:00 GMT", 5*time.Minute - time.Second, 5*time.Minute + time.Second},
		{503, "999999999", time.Hour, time.Hour + time.Second}, // no longer than an hour
		{503, "soon", 0, time.Second},
	} {
		t.Run(tt.after, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o, d := newMemoryFeed(), &desk{}
				d.set(func(*message) (int, string) { return tt.status, tt.after })
				stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
				o.raise("a", "high")
				time.Sleep(2 * time.Hour)
				must(t, stop())
				tried := d.attempts()
				if wait := tried[1].at.Sub(tried[0].at); wait < tt.least || wait > tt.max {
					t.Errorf("tried again after %s", wait)
				}
			})
		})
	}
}

// One message that is refused for what it holds is set aside once a later one
// is accepted.
func TestRefusedMessage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		d.set(func(m *message) (int, string) {
			if m.Name == "bad" {
				return 422, ""
			}
			return 200, ""
		})
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		o.raise("bad", "high")
		time.Sleep(10 * time.Minute)
		equal(t, "set aside", n.Stats()[0].Refused, 0)
		o.raise("good", "high")
		o.raise("better", "high")
		time.Sleep(2 * time.Minute)
		must(t, stop())
		equal(t, "told", d.names(), "good:2 better:3")
		equal(t, "set aside", n.Stats()[0].Refused, 1)
	})
}

// A receiver that refuses everything loses nothing: it is not the message.
func TestRefusingReceiver(t *testing.T) {
	for _, status := range []int{400, 401, 403, 404, 410, 301} {
		t.Run(fmt.Sprint(status), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o, d := newMemoryFeed(), &desk{}
				d.set(always(status))
				n := notifier(t, o, []config.Notify{hook("desk")}, d)
				stop := start(n)
				o.raise("a", "high")
				o.raise("b", "high")
				o.raise("c", "high")
				time.Sleep(12 * time.Hour)
				if s := n.Stats()[0]; s.Refused != 0 || s.Waiting != 3 || !strings.Contains(s.Trouble, fmt.Sprint(status)) {
					t.Errorf("%+v", s)
				}
				d.set(nil)
				time.Sleep(3 * time.Minute)
				must(t, stop())
				equal(t, "told", d.names(), "a:1 b:2 c:3")
				equal(t, "trouble", n.Stats()[0].Trouble, "")
			})
		})
	}
}

// An alarm told without the disk that is refused does not hold up what is
// recorded: it comes from there as well.
func TestRefusedWithoutTheDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		d.set(func(m *message) (int, string) {
			if !m.Recorded {
				return 400, ""
			}
			return 200, ""
		})
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		e := transition("a", "high")
		o.tell(e)
		time.Sleep(5 * time.Minute)
		o.record(e)
		time.Sleep(time.Minute)
		must(t, stop())
		equal(t, "told", d.names(), "a:1")
	})
}

// No answer at all costs ten seconds an attempt, and only to that receiver.
func TestSlowReceiverSlowsNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, slow, quick := newMemoryFeed(), &desk{}, &desk{}
		slow.set(always(0))
		n := notifier(t, o, []config.Notify{hook("slow"), hook("quick")}, slow, quick)
		stop := start(n)
		for i := range 1000 {
			o.raise(fmt.Sprintf("a%d", i), "high")
		}
		began := time.Now()
		time.Sleep(101 * time.Second)
		equal(t, "the quick one", len(quick.received()), 1000)
		if rate := quick.moment(999).Sub(began); rate < 99*time.Second {
			t.Errorf("1000 posts in %s are more than ten a second", rate)
		}
		if s := n.Stats()[0]; s.Waiting > queueLimit+readLimit {
			t.Errorf("%d wait in memory", s.Waiting)
		}
		must(t, stop())
		if !slices.IsSortedFunc(quick.received(), func(a, b *message) int { return int(a.Sequence - b.Sequence) }) {
			t.Error("out of order")
		}
	})
}
