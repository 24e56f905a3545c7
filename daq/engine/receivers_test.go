package engine

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

var withReceiver = benchText + `
[[notify]]
webhook = "https://desk.north-hall.example/hook"
`

// newReceiverBench is a bench with a receiver of alarms, restored where alarms are given.
func newReceiverBench(t *testing.T, restored ...daq.SavedAlarm) *bench {
	t.Helper()
	b := benchWith(t, withReceiver, restored...)
	return b
}

func (b *bench) receivers(r daq.Receivers) {
	b.step(daq.Input{Kind: daq.KindHealth, Health: &daq.Health{Recording: true, Receivers: r}})
}

// wait plays ticks alone; the instruments are without a reading all the while.
func (b *bench) wait(length time.Duration) {
	for end := b.at + length; b.at < end; {
		b.at += time.Second
		b.step(daq.Input{Kind: daq.KindTick})
	}
}

// alarmed is the transitions of receiver-failed, without its name.
func (b *bench) alarmed() (list []string) {
	for _, a := range b.alarms() {
		if state, ok := strings.CutPrefix(a, "receiver-failed "); ok {
			list = append(list, state)
		}
	}
	return list
}

const refuses = "the receiver desk says: no"

// TestReceiverFailed plays what the receivers do, at minutes of the run, and
// what the alarm does.
func TestReceiverFailed(t *testing.T) {
	well, failed := daq.Receivers{Known: true}, daq.Receivers{Known: true, Failed: refuses}
	waited := func(d time.Duration) daq.Receivers { return daq.Receivers{Known: true, Failed: refuses, Waited: d} }
	type act struct {
		health daq.Receivers
		lasts  time.Duration
	}
	for _, c := range []struct {
		name string
		acts []act
		want []string
	}{
		{"all is well", []act{{well, time.Hour}}, nil},
		{"nothing is known", []act{{daq.Receivers{}, time.Hour}}, nil},
		{"just not five minutes", []act{{well, time.Minute}, {failed, 299 * time.Second}, {well, time.Hour}}, nil},
		{"five minutes", []act{{well, time.Minute}, {failed, 300 * time.Second}}, []string{"unacknowledged"}},
		{"it had waited before", []act{{waited(280 * time.Second), 20 * time.Second}}, []string{"unacknowledged"}},
		{"it had waited before, just not", []act{{waited(280 * time.Second), 19 * time.Second}, {well, time.Hour}}, nil},
		{"another alarm waits each time", []act{{failed, 4 * time.Minute}, {failed, 4 * time.Minute}, {failed, 4 * time.Minute}}, nil},
		{"it ends when none waits", []act{{failed, 6 * time.Minute}, {well, time.Second}}, []string{"unacknowledged", "returned-unacknowledged"}},
		{"it stands while one waits", []act{{failed, 6 * time.Minute}, {failed, time.Minute}}, []string{"unacknowledged"}},
		{"not known holds it", []act{{failed, 6 * time.Minute}, {daq.Receivers{}, time.Hour}}, []string{"unacknowledged"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newReceiverBench(t)
			for _, a := range c.acts {
				b.receivers(a.health)
				b.wait(a.lasts)
			}
			if !slices.Equal(b.alarmed(), c.want) {
				t.Errorf("%v, want %v", b.alarmed(), c.want)
			}
		})
	}
}

// A restart with what waits brings the alarm back and does not announce it
// anew, though nothing has been tried yet; it ends when all is delivered.
func TestReceiverFailedThroughARestart(t *testing.T) {
	b := newReceiverBench(t, daq.SavedAlarm{Name: "receiver-failed", State: "acknowledged", Since: dayOne})
	b.receivers(daq.Receivers{})
	b.wait(10 * time.Second)
	b.receivers(daq.Receivers{Known: true, Failed: refuses, Waited: time.Second})
	b.wait(time.Minute)
	if got := b.alarmed(); got != nil {
		t.Errorf("announced %v", got)
	}
	b.receivers(daq.Receivers{Known: true})
	if got := b.alarmed(); !slices.Equal(got, []string{"normal"}) {
		t.Errorf("delivered, then %v", got)
	}
}

// The alarm says who is not told, and why; without receivers there is none.
func TestReceiverFailedSaysWho(t *testing.T) {
	b := newReceiverBench(t)
	b.receivers(daq.Receivers{Known: true, Failed: "the receiver desk.north-hall.example says: post: answered 500 Internal Server Error", Waited: time.Hour})
	i := slices.IndexFunc(b.state.Alarms, func(a daq.AlarmStatus) bool { return a.Name == "receiver-failed" })
	if i < 0 {
		t.Fatalf("alarms: %v", b.alarms())
	}
	if a := b.state.Alarms[i]; a.Priority != "medium" || !strings.HasSuffix(a.Cause, "The receiver desk.north-hall.example says: post: answered 500 Internal Server Error.") {
		t.Errorf("%+v", a)
	}
	none := newBench(t)
	none.receivers(daq.Receivers{Known: true, Failed: refuses, Waited: time.Hour})
	none.read(quantity.Flow, 1)
	if got := none.alarmed(); got != nil {
		t.Errorf("without [[notify]]: %v", got)
	}
}
