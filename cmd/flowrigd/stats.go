package main

import (
	"flowrigd/daq/web"
)

// stats are the figures of the parts beside the page, as metrics.
func (d *daemon) stats() []web.Stat {
	list := []web.Stat{
		web.Dropped("engine", uint64(d.loop.Dropped())),
		{Name: "flowrig_config_reloads_total", Help: "Configurations taken up while running.", Counter: true, Value: float64(d.reloads.taken.Load())},
		{Name: "flowrig_config_refused_total", Help: "Configurations refused while running.", Counter: true, Value: float64(d.reloads.refused.Load())},
	}
	list = append(list, d.recording.stats()...)
	list = append(list, d.notifyStats()...)
	return append(list, d.mqttStats()...)
}

func (d *daemon) mqttStats() []web.Stat {
	p := d.publisher.Load()
	if p == nil {
		return nil
	}
	s := p.Stats()
	connected := 0.0
	if s.Connected {
		connected = 1
	}
	return []web.Stat{
		{Name: "flowrig_mqtt_connected", Help: "Whether the broker is connected.", Value: connected},
		{Name: "flowrig_mqtt_connections_total", Help: "Connections made to the broker.", Counter: true, Value: float64(s.Connections)},
		{Name: "flowrig_mqtt_published_total", Help: "Messages handed to the connection.", Counter: true, Value: float64(s.Published)},
		{Name: "flowrig_mqtt_acknowledged_total", Help: "Messages that the broker acknowledged.", Counter: true, Value: float64(s.Acknowledged)},
		{Name: "flowrig_mqtt_retried_total", Help: "Messages sent again for want of an acknowledgement.", Counter: true, Value: float64(s.Retried)},
		web.Dropped("mqtt", s.Dropped),
	}
}

func (d *daemon) notifyStats() []web.Stat {
	var list []web.Stat
	for _, s := range d.notifier.Load().Stats() {
		list = append(list,
			web.Stat{Name: "flowrig_notify_attempts_total", Help: "Attempts to tell a receiver of alarms.", Counter: true, Label: "receiver", Of: s.Receiver, Value: float64(s.Attempts)},
			web.Stat{Name: "flowrig_notify_failed_total", Help: "Attempts that failed.", Counter: true, Label: "receiver", Of: s.Receiver, Value: float64(s.Failed)},
			web.Stat{Name: "flowrig_notify_delivered_total", Help: "Alarm messages that a receiver took.", Counter: true, Label: "receiver", Of: s.Receiver, Value: float64(s.Delivered)},
			web.Stat{Name: "flowrig_notify_waiting", Help: "Alarm messages that wait for a receiver.", Label: "receiver", Of: s.Receiver, Value: float64(s.Waiting)},
		)
	}
	return list
}

func (r *recording) stats() []web.Stat {
	untold := r.FeedDropped()
	list := []web.Stat{
		{Name: "flowrig_record_newest_sequence", Help: "Sequence of the newest row on disk.", Value: float64(r.Newest())},
		web.Dropped("record-held", r.LostEvents()),
		web.Dropped("provisional", uint64(untold.Provisional)),
		web.Dropped("feed", uint64(untold.Followers)),
	}
	if r.keeper != nil {
		list = append(list, web.Stat{Name: "flowrig_record_permit_file_failed_total", Help: "Attempts that failed to keep what holds the heating permit outside the recording.",
			Counter: true, Value: float64(r.keeper.Failed())})
	}
	waiting, drops, open := r.Waiting()
	if !open {
		return list
	}
	return append(list,
		web.Stat{Name: "flowrig_record_waiting", Help: "Batches that wait for the disk.", Value: float64(waiting)},
		web.Dropped("record-inputs", uint64(drops.Inputs)),
		web.Dropped("record-rows", uint64(drops.Rows)),
		web.Dropped("record-events", uint64(drops.Events)),
	)
}
