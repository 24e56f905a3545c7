package notify

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
)

// waits is how the alarms of a notifier wait, in short: "not known", "no", or
// who and for how long.
func waits(n *Notifier) string {
	w := n.Waiting()
	switch {
	case w.Who != "":
		return w.Who + ", " + time.Since(w.Since).Round(time.Second).String()
	case !w.Known:
		return "not known"
	}
	return "no"
}

// An alarm waits from the moment it came until it is delivered, for the one
// that refuses and not for the one that takes it.
func TestAnAlarmWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, away, well := newMemoryFeed(), &desk{}, &desk{}
		n := notifier(t, o, []config.Notify{hook("away"), hook("well")}, away, well)
		equal(t, "before the start", waits(n), "not known")
		stop := start(n)
		time.Sleep(time.Second)
		equal(t, "nothing to tell", waits(n), "no")
		away.set(always(500))
		o.raise("a", "high")
		time.Sleep(10 * time.Second)
		o.raise("b", "high")
		o.raise("unwanted", "low")
		time.Sleep(time.Minute)
		equal(t, "one of two", waits(n), "the receiver away.north-hall.example says: post: answered 500 Internal Server Error, 1m10s")
		away.set(func(m *message) (int, string) {
			if m.Name == "a" {
				return 200, ""
			}
			return 503, ""
		})
		time.Sleep(time.Minute)
		equal(t, "the second alarm", waits(n), "the receiver away.north-hall.example says: post: answered 503 Service Unavailable, 2m0s")
		away.set(nil)
		time.Sleep(time.Minute)
		equal(t, "delivered", waits(n), "no")
		must(t, stop())
	})
}

// Of two that refuse the one is named for which an alarm has waited longer.
func TestTheLongestWaitIsNamed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, high, all := newMemoryFeed(), &desk{}, &desk{}
		high.set(always(500))
		all.set(always(500))
		n := notifier(t, o, []config.Notify{hook("high", "high"), hook("all", "high", "low")}, high, all)
		stop := start(n)
		o.raise("a", "low")
		time.Sleep(10 * time.Second)
		o.raise("b", "high")
		time.Sleep(20 * time.Second)
		equal(t, "waits", waits(n), "the receiver all.north-hall.example says: post: answered 500 Internal Server Error, 30s")
		must(t, stop())
	})
}

// What the alarm about waiting alarms says is delivered as any other, and is
// not waited for.
func TestTheAlarmAboutReceiversDoesNotWaitForItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		d.set(always(500))
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		o.raise(config.ReceiverFailed, "medium")
		o.raise("unwanted", "low")
		time.Sleep(10 * time.Minute)
		equal(t, "its own", waits(n), "no")
		o.raise("head-lost", "high")
		time.Sleep(10 * time.Minute)
		equal(t, "another behind it", waits(n), "the receiver desk.north-hall.example says: post: answered 500 Internal Server Error, 10m0s")
		d.set(nil)
		time.Sleep(2 * time.Minute)
		equal(t, "told", d.names(), "receiver-failed:1 head-lost:3")
		equal(t, "at the end", waits(n), "no")
		must(t, stop())
	})
}

// Alarms told without the disk wait too. After a start nothing is known before
// the recording has been read and what waits there has been tried.
func TestWaitingAfterAStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		must(t, start(notifier(t, o, []config.Notify{hook("desk")}, d))()) // marks where it begins
		o.raise("a", "high")
		free := o.hang(false)
		d.set(always(0))
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		time.Sleep(time.Minute)
		equal(t, "the disk hangs", waits(n), "not known")
		free()
		time.Sleep(5 * time.Second)
		equal(t, "the first attempt goes on", waits(n), "not known")
		time.Sleep(10 * time.Second)
		equal(t, "tried", waits(n), "the receiver desk.north-hall.example says: post: context deadline exceeded, 15s")
		d.set(nil)
		time.Sleep(2 * time.Minute)
		equal(t, "told", waits(n), "no")

		d.set(always(500))
		o.hang(false)
		o.tell(transition("b", "high"))
		time.Sleep(10 * time.Second)
		if w := waits(n); !strings.HasSuffix(w, ", 10s") {
			t.Errorf("told without the disk: %s", w)
		}
		must(t, stop())
	})
}

// A mail that is gathered is not one that is refused.
func TestGatheringIsNotWaiting(t *testing.T) {
	mailing(t, nil, func(o *memoryFeed, _ *postOffice, n *Notifier) {
		o.raise("a", "high")
		time.Sleep(time.Second)
		o.raise("b", "high")
		time.Sleep(20 * time.Second)
		equal(t, "gathered", n.Stats()[0].Waiting, 1)
		equal(t, "waits", waits(n), "no")
	})
}

// What a server says may hold anything.
func TestOneLine(t *testing.T) {
	equal(t, "control characters", oneLine("no\r\n\x1b[31mway"), "no   [31mway")
	equal(t, "length", len([]rune(oneLine(strings.Repeat("ö", 300)))), 200)
}

// The oldest counts, from the recording or told without the disk.
func TestTheOldestCounts(t *testing.T) {
	early := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct{ recorded, direct time.Time }{{early, early.Add(1)}, {early.Add(1), early}} {
		r := newReceiver(Options{Feed: newMemoryFeed()}, hook("desk"), "", nil)
		r.queue = []*message{{came: c.recorded}}
		r.provisional = []*message{{came: c.direct}}
		r.showQueue()
		if since, known := r.oldest(); !known || !since.Equal(early) {
			t.Errorf("recorded %v, direct %v: %v", c.recorded, c.direct, since)
		}
	}
}
