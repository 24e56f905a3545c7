package web

import (
	"slices"
	"strings"

	"github.com/prometheus/client_golang/prometheus"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// alarmDescs are the metrics of alarms and of the permit that they hold.
type alarmDescs struct {
	active, unacknowledged, shelved, out *prometheus.Desc
	given, proof, tripped, without       *prometheus.Desc
}

func newAlarmDescs(rig []string) alarmDescs {
	alarm := func(name, help string) *prometheus.Desc {
		return prometheus.NewDesc(name, help, []string{"alarm", "priority"}, nil)
	}
	return alarmDescs{
		active:         alarm("flowrig_alarm_active", "1 while the alarm stands, or its cause is gone and it is latched until a person resets it; 0 while it is shelved, suppressed or out of service."),
		unacknowledged: alarm("flowrig_alarm_unacknowledged", "1 while the alarm waits for a person's acknowledgement, its cause gone or not; 0 while it is shelved, suppressed or out of service."),
		shelved:        alarm("flowrig_alarm_shelved", "1 while the alarm is shelved: it notifies nobody, and one that trips still trips the heating permit."),
		out:            alarm("flowrig_alarm_out_of_service", "1 while the alarm is out of service or suppressed: it notifies nobody and trips nothing."),
		given:          prometheus.NewDesc("flowrig_permit_given", "1 while the heating permit is given by a person, in a proof test too; absent without an output.", rig, nil),
		proof:          prometheus.NewDesc("flowrig_permit_proof_test", "1 while a proof test has dropped the heating permit, which comes back by itself; absent without an output.", rig, nil),
		tripped:        alarm("flowrig_permit_tripped", "1 while the alarm holds the heating permit off until a person resets it, shelved or not; absent for an alarm that does not trip."),
		without:        alarm("flowrig_permit_without", "1 while the heating permit is given without this alarm, which is out of service; absent for an alarm that does not trip."),
	}
}

// alarmSeries is one alarm as it is scraped.
type alarmSeries struct {
	daq.AlarmStatus
	trips bool // it may hold the permit
}

// allAlarms are the configured alarms, so that 0 means "configured and normal",
// then those that stand or hold the permit though the configuration has none of
// them any more.
func allAlarms(s *daq.State, f *Facts) []alarmSeries {
	var list []alarmSeries
	at := map[string]int{}
	add := func(a alarmSeries) {
		at[a.Name] = len(list)
		list = append(list, a)
	}
	for _, fact := range f.Alarms {
		add(alarmSeries{daq.AlarmStatus{Name: fact.Name, Priority: fact.Priority}, fact.Trip})
	}
	for _, a := range s.Alarms {
		if i, known := at[a.Name]; known {
			a.Priority = list[i].Priority
			list[i].AlarmStatus = a
		} else {
			add(alarmSeries{a, a.Trips})
		}
	}
	for _, name := range s.Tripped {
		if _, known := at[name]; !known {
			add(alarmSeries{daq.AlarmStatus{Name: name, Priority: "high"}, true})
		}
		list[at[name]].Tripped, list[at[name]].trips = true, true
	}
	return list
}

func (d *alarmDescs) collect(out chan<- prometheus.Metric, s *daq.State, f *Facts, id daq.Identity) {
	_, fitted := s.Values.Get(quantity.HeatingPermitted)
	if fitted {
		out <- gauge(d.given, truth(s.Given), id.Site, id.Rig)
		out <- gauge(d.proof, truth(s.ProofTest), id.Site, id.Rig)
	}
	for _, a := range allAlarms(s, f) {
		out <- gauge(d.active, truth(a.Active), a.Name, a.Priority)
		out <- gauge(d.unacknowledged, truth(strings.HasSuffix(a.State, "unacknowledged")), a.Name, a.Priority)
		out <- gauge(d.shelved, truth(a.State == "shelved"), a.Name, a.Priority)
		out <- gauge(d.out, truth(a.State == "out-of-service" || a.State == "suppressed"), a.Name, a.Priority)
		if fitted && a.trips {
			out <- gauge(d.tripped, truth(a.Tripped), a.Name, a.Priority)
			out <- gauge(d.without, truth(slices.Contains(s.Without, a.Name)), a.Name, a.Priority)
		}
	}
}
