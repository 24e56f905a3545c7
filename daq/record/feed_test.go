package record

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq"
)

// desk plays loop and disk around a feed, and follows it.
type desk struct {
	*feed
	newest map[daq.Class]int64
	said   []string
}

func inBubble(t *testing.T, play func(*desk), want ...string) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		d := &desk{feed: newFeed(), newest: map[daq.Class]int64{}}
		d.opened(Restored{Recording: "uuid", Newest: map[daq.Class]int64{}})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { d.Follow(ctx, d.hear); close(done) }()
		play(d)
		synctest.Wait()
		cancel()
		<-done
		if !slices.Equal(d.said, want) {
			t.Errorf("told %q, want %q", d.said, want)
		}
	})
}

func (d *desk) hear(m daq.Message) {
	word := "event"
	if m.Class == daq.ClassAlarm {
		word = m.Name
	}
	d.said = append(d.said, fmt.Sprintf("%s %d %t", word, m.Sequence, strings.Contains(string(m.Body), `"recorded":true`)))
}

// put gives a step with events and, where there is an answer, a command.
func (d *desk) put(answer chan daq.Reply, events ...daq.Event) entry {
	b := daq.Batch{Events: events}
	if answer != nil {
		b.Input.Command, b.Reply = &daq.Command{Answer: answer}, &daq.Reply{ID: "7"}
	}
	return entry{step: step{b, d.begin(&b)}}
}

// record commits steps in one transaction.
func (d *desk) record(entries ...entry) {
	sequences := make([][]int64, len(entries))
	for i, e := range entries {
		for _, event := range e.Events {
			class := event.Message("", 0).Class
			d.newest[class]++
			sequences[i] = append(sequences[i], d.newest[class])
		}
	}
	d.durable(entries, sequences, d.newest)
}

func note() daq.Event { return daq.Event{Note: &daq.Note{Kind: "permit", Text: "given"}} }

// An event is told, and its command answered, when it is on disk, in the order of the
// steps and across the classes.
func TestFeedWaitsForTheDisk(t *testing.T) {
	inBubble(t, func(d *desk) {
		answer := make(chan daq.Reply, 1)
		a, b := d.put(answer, raise("a", "normal", 1), note()), d.put(nil, raise("b", "normal", 2))
		time.Sleep(990 * time.Millisecond)
		synctest.Wait()
		if len(d.said) != 0 || len(answer) != 0 {
			t.Errorf("before the disk answers: %q, %d replies", d.said, len(answer))
		}
		d.record(a, b)
		if r := <-answer; r.ID != "7" {
			t.Errorf("reply %+v", r)
		}
		time.Sleep(5 * time.Second) // the second of both is over: nothing more is told
	}, "a 1 true", "event 1 true", "b 2 true")
}

// A hung disk holds up neither alarm nor answer for more than a second; each is told
// again with its sequence, and is then provisional no more.
func TestFeedDoesNotWaitForAHungDisk(t *testing.T) {
	inBubble(t, func(d *desk) {
		answer := make(chan daq.Reply, 1)
		a := d.put(answer, raise("a", "unacknowledged", 1), note())
		time.Sleep(500 * time.Millisecond)
		b := d.put(nil, raise("a", "acknowledged", 2))
		time.Sleep(499 * time.Millisecond)
		if len(answer) != 0 {
			t.Error("answered before the second was over")
		}
		time.Sleep(time.Millisecond)
		<-answer
		time.Sleep(500 * time.Millisecond)
		synctest.Wait()
		if list := d.Provisional(0); len(list) != 2 || list[0].Sequence != 1 || list[1].Sequence != 2 || len(d.Provisional(1)) != 1 {
			t.Errorf("provisional: %+v", list)
		}
		if m := newestOf(d, "a"); !strings.Contains(m, `"acknowledged"`) || strings.Contains(m, `"sequence":`) {
			t.Errorf("the newest is %s", m)
		}
		d.record(a)
		synctest.Wait()
		if list := d.Provisional(0); len(list) != 1 || !strings.Contains(newestOf(d, "a"), `"acknowledged"`) {
			t.Errorf("an older one is recorded: %+v, the newest is %s", list, newestOf(d, "a"))
		}
		d.record(b)
		if list := d.Provisional(0); len(list) != 0 || !strings.Contains(newestOf(d, "a"), `"sequence":2,`) {
			t.Errorf("all are recorded: %+v, the newest is %s", list, newestOf(d, "a"))
		}
	}, "a 0 false", "event 0 false", "a 0 false", "a 1 true", "event 1 true", "a 2 true")
}

func newestOf(d *desk, name string) string {
	latest, _ := d.Latest()
	return string(latest[name].Body)
}

// What was lost on its way to the disk is not told any more once the disk has
// something newer of that alarm.
func TestFeedForgetsWhatIsNeverRecorded(t *testing.T) {
	inBubble(t, func(d *desk) {
		d.put(nil, raise("a", "unacknowledged", 1))
		other := d.put(nil, raise("b", "unacknowledged", 2))
		time.Sleep(2 * time.Second)
		d.record(other, d.put(nil, raise("a", "normal", 3)))
		if list := d.Provisional(0); len(list) != 0 {
			t.Errorf("provisional: %+v", list)
		}
	}, "a 0 false", "b 0 false", "b 1 true", "a 2 true")
}

// The alarms told without the disk have a bound; the oldest are dropped and counted.
func TestProvisionalIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &desk{feed: newFeed()}
		for n := range provisionalLimit + 5 {
			d.put(nil, raise("a", "unacknowledged", n))
		}
		time.Sleep(tellWithin)
		synctest.Wait()
		if list := d.Provisional(0); len(list) != provisionalLimit || list[0].Sequence != 6 || d.FeedDropped().Provisional != 5 {
			t.Errorf("%d are left, from number %d on; %+v", len(list), list[0].Sequence, d.FeedDropped())
		}
	})
}

// A follower that is too slow misses the oldest, which are counted, and hears what
// was told before its end.
func TestASlowFollowerIsNotWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &desk{feed: newFeed(), newest: map[daq.Class]int64{}}
		ctx, cancel := context.WithCancel(t.Context())
		heard, goOn := []daq.Message{}, make(chan struct{})
		done := make(chan struct{})
		go func() {
			defer close(done)
			d.Follow(ctx, func(m daq.Message) { heard = append(heard, m); <-goOn })
		}()
		d.record(d.put(nil, raise("a", "normal", 0)))
		synctest.Wait()
		for n := range recentLimit + 5 {
			d.record(d.put(nil, raise("a", "normal", n+1)))
		}
		cancel()
		close(goOn)
		<-done
		if n := len(heard); n != recentLimit+1 || heard[1].Sequence != 7 || heard[n-1].Sequence != recentLimit+6 || d.FeedDropped().Followers != 5 {
			t.Errorf("heard %d, then from %d to %d; %+v", len(heard), heard[1].Sequence, heard[n-1].Sequence, d.FeedDropped())
		}
	})
}

// What was told before the end is heard, whoever is asked first then.
func TestFollowHearsTheLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &desk{feed: newFeed(), newest: map[daq.Class]int64{}}
		ctx, cancel := context.WithCancel(t.Context())
		const followers = 20
		heard := make(chan string, 2*followers)
		for range followers {
			go d.Follow(ctx, func(m daq.Message) { time.Sleep(time.Millisecond); heard <- m.Name })
		}
		d.record(d.put(nil, raise("a", "normal", 1)))
		synctest.Wait() // all are at the first
		d.record(d.put(nil, raise("b", "normal", 2)))
		cancel()
		time.Sleep(time.Second)
		if len(heard) != 2*followers {
			t.Errorf("%d heard, want %d", len(heard), 2*followers)
		}
	})
}

// What was at hand of one database is not given for that of another.
func TestAnotherDatabaseIsAsked(t *testing.T) {
	synctest.Test(t, anotherDatabase)
}

func anotherDatabase(t *testing.T) {
	d := &desk{feed: newFeed(), newest: map[daq.Class]int64{}}
	d.opened(Restored{Recording: "first", Newest: map[daq.Class]int64{}})
	d.record(d.put(nil, raise("a", "normal", 1)))
	if list, ok := d.AtHand(daq.ClassAlarm, 0, 9); !ok || len(list) != 1 {
		t.Fatalf("at hand: %v, %v", list, ok)
	}
	d.opened(Restored{Recording: "second", Newest: map[daq.Class]int64{daq.ClassAlarm: 3}})
	if list, ok := d.AtHand(daq.ClassAlarm, 0, 9); ok {
		t.Errorf("at hand of the other: %v", list)
	}
	if latest, known := d.Latest(); !known || len(latest) != 0 {
		t.Errorf("the newest: %v, %v", latest, known)
	}
	d.put(nil, raise("a", "latched-unacknowledged", 2))
	time.Sleep(tellWithin)
	synctest.Wait()
	d.opened(Restored{Recording: "third", Latest: map[string]daq.Message{"a": raise("a", "normal", 1).Message("third", 5)}})
	if m := newestOf(d, "a"); !strings.Contains(m, "latched-unacknowledged") {
		t.Errorf("what no disk has yet is not the newest, but %s", m)
	}
}
