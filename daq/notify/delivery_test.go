package notify

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// The body is the alarm's message as it stands in the outbox, with site and rig
// before it.
func TestWebhookBody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		o.raise("water-overheat", "high")
		synctest.Wait()
		must(t, stop())
		want := `{"site":"north-hall","rig":"bench-3","recording":"` + testRecording + `","sequence":1,"name":"water-overheat","state":"unacknowledged","priority":"high","value":76.25,"limit":75,` +
			`"cause":"The water is too hot.","consequence":"It scalds.","action":"Switch the heater off.","time":"2000-01-01T00:00:00.000000Z","recorded":true}`
		equal(t, "bodies", d.body(0), want)
	})
}

func TestOnlyWantedPrioritiesAreTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, desk1, desk2 := newMemoryFeed(), &desk{}, &desk{}
		n := notifier(t, o, []config.Notify{hook("desk"), hook("all", "low")}, desk1, desk2)
		stop := start(n)
		o.raise("a", "high")
		o.raise("b", "low")
		o.raise("c", "medium")
		o.raise("d", "low")
		time.Sleep(time.Second)
		must(t, stop())
		equal(t, "desk", desk1.names(), "a:1 c:3")
		equal(t, "all", desk2.names(), "b:2 d:4")
		for _, r := range n.receivers {
			mark, _ := o.Marked(r.destination, daq.ClassAlarm)
			equal(t, r.label, mark, 4)
		}
	})
}

// A first start tells what comes from now on, and not the history; a second
// start goes on where the first ended, even if that was before the first alarm.
func TestFirstStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		for i := range 2*readLimit + 3 {
			o.raise(fmt.Sprintf("old-%d", i), "high")
		}
		time.Sleep(time.Minute)
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		o.raise("meanwhile", "high") // between New and Run
		stop := start(n)
		time.Sleep(time.Second)
		o.raise("new", "high")
		time.Sleep(time.Second)
		must(t, stop())
		equal(t, "told", d.names(), "meanwhile:204 new:205")

		o.raise("while-away", "high")
		time.Sleep(time.Minute)
		stop = start(notifier(t, o, []config.Notify{hook("desk")}, d))
		time.Sleep(time.Second)
		must(t, stop())
		equal(t, "told", d.names(), "meanwhile:204 new:205 while-away:206")
	})
}

func TestFirstStartOfAnEmptyRecording(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		time.Sleep(time.Second)
		must(t, stop())
		o.raise("while-away", "high")
		time.Sleep(time.Minute)
		stop = start(notifier(t, o, []config.Notify{hook("desk")}, d))
		time.Sleep(time.Second)
		must(t, stop())
		equal(t, "told", d.names(), "while-away:1")
	})
}

// An alarm told without the disk goes out at once, though the disk hangs; the
// webhook gets the recorded one too, since that has the sequence.
func TestToldWithoutTheDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		time.Sleep(time.Second)
		free := o.hang(true)
		o.raise("before", "high") // wakes the reader, which then hangs
		time.Sleep(time.Second)
		began, e := time.Now(), transition("water-overheat", "high")
		o.tell(e)
		o.tell(transition("unwanted", "low"))
		time.Sleep(time.Second)
		equal(t, "told", d.names(), "water-overheat:0")
		if late := d.moment(0).Sub(began); late > 500*time.Millisecond {
			t.Errorf("told after %s", late)
		}
		free()
		o.record(e)
		time.Sleep(time.Second)
		must(t, stop())
		equal(t, "told", d.names(), "water-overheat:0 before:1 water-overheat:2")
		if !strings.Contains(d.body(0), `"recorded":false`) || strings.Contains(d.body(0), `"sequence"`) {
			t.Error(d.body(0))
		}
	})
}

// What is told without the disk goes before what waits from the recording.
func TestWithoutTheDiskFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		d.set(always(503))
		o.raise("old", "high")
		time.Sleep(10 * time.Second)
		o.tell(transition("new", "high"))
		time.Sleep(10 * time.Second)
		d.set(nil)
		time.Sleep(2 * time.Minute)
		must(t, stop())
		equal(t, "told", d.names(), "new:0 old:1")
	})
}

// What waits to be told without the disk is not told twice when the recording
// has it by then.
func TestRecordedMeanwhile(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		d.set(always(503))
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		e := transition("water-overheat", "high")
		o.tell(e)
		time.Sleep(time.Minute)
		o.record(e)
		time.Sleep(time.Minute)
		d.set(nil)
		time.Sleep(2 * time.Minute)
		must(t, stop())
		equal(t, "told", d.names(), "water-overheat:1")
	})
}

// Everything that waits goes out at the end, and a receiver that does not
// answer then does not hold the end up.
func TestEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, good, hanging := newMemoryFeed(), &desk{}, &desk{}
		hanging.set(always(0))
		stop := start(notifier(t, o, []config.Notify{hook("good"), hook("hanging")}, good, hanging))
		time.Sleep(time.Second)
		for i := range 10 {
			o.raise(fmt.Sprintf("a%d", i), "high")
		}
		synctest.Wait() // read, but paced
		began := time.Now()
		must(t, stop())
		equal(t, "told", len(good.received()), 10)
		if took := time.Since(began); took > 3*time.Second {
			t.Errorf("the end took %s", took)
		}
	})
}

// A disk that hangs at the end is named, and not waited for.
func TestEndWithHungDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		free := o.hang(true)
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		time.Sleep(time.Second)
		began := time.Now()
		if err := stop(); err == nil || !strings.Contains(err.Error(), "recording: no answer") {
			t.Errorf("ended with %v", err)
		}
		if took := time.Since(began); took > 3*time.Second {
			t.Errorf("the end took %s", took)
		}
		free()
	})
}

func TestSickDiskIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		o.setSick(true)
		stop := start(notifier(t, o, []config.Notify{hook("desk")}, d))
		time.Sleep(time.Minute)
		o.setSick(false)
		o.raise("a", "high")
		time.Sleep(2 * time.Second)
		must(t, stop())
		equal(t, "told", d.names(), "a:1")
	})
}

// A message that cannot be read holds nobody up.
func TestUnreadableMessage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, d := newMemoryFeed(), &desk{}
		n := notifier(t, o, []config.Notify{hook("desk")}, d)
		stop := start(n)
		time.Sleep(time.Second)
		o.journal(func(n int64) daq.Message {
			return daq.Message{Class: daq.ClassAlarm, Sequence: n, Name: "a", Body: []byte("[]")}
		})
		o.raise("b", "high")
		time.Sleep(time.Second)
		must(t, stop())
		equal(t, "told", d.names(), "b:2")
		equal(t, "refused", n.Stats()[0].Refused, 1)
	})
}
