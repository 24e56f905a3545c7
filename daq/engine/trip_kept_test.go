package engine

import (
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// lastEvents are the alarms as the last event of each left them, which is what a
// restart knows of them.
func (b *bench) lastEvents() []daq.SavedAlarm {
	var order []string
	last := map[string]daq.SavedAlarm{}
	for _, e := range b.events {
		if e.Alarm == nil {
			continue
		}
		a := e.Alarm
		if _, seen := last[a.Name]; !seen {
			order = append(order, a.Name)
		}
		last[a.Name] = a.Saved()
	}
	list := make([]daq.SavedAlarm, 0, len(order))
	for _, name := range order {
		list = append(list, last[name])
	}
	return list
}

// shelve shelves an alarm for an hour.
func (b *bench) shelve(name string) {
	b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: daq.AskAlarm(daq.Shelve, name, "", time.Hour)}})
}

// A shelved alarm trips without a transition; the trip is in the journal all the
// same, once, and holds over a restart.
func TestATripOfAShelvedAlarmOutlivesARestart(t *testing.T) {
	for name, shelveAt := range map[string]func(b *heated){
		"shelved before": func(b *heated) {
			b.shelve("water-overheat")
			b.run(3*time.Second, 1.2, 76, 255)
		},
		"shelved in the step that trips": func(b *heated) {
			b.run(2*time.Second, 1.2, 76, 255)
			b.at += 200 * time.Millisecond
			b.shelve("water-overheat")
			b.run(time.Second, 1.2, 76, 255)
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := given(t)
			shelveAt(b)
			if b.permitted() {
				t.Fatal("the permit stands after a shelved water-overheat")
			}
			b.run(5*time.Second, 1.2, 72, 255)
			events := 0
			for _, e := range b.events {
				if e.Alarm != nil {
					events++
					if e.Alarm.State != "shelved" || e.Alarm.Until.IsZero() {
						t.Errorf("event %+v, want it shelved with its end", e.Alarm)
					}
				}
			}
			if events != 2 {
				t.Errorf("%d events of the alarm, want 2: shelved, tripped", events)
			}
			again := newHeated(t, b.lastEvents()...)
			again.run(time.Second, 1.2, 72, 255)
			if why := again.do(daq.Give, ""); !strings.Contains(why, "a trip stands: water-overheat") {
				t.Errorf("give after the restart: %q, want the trip that stands", why)
			}
		})
	}
}
