package main

import (
	"flowrigd/daq/web"
)

// stats are the figures of the parts beside the page, as metrics.
func (d *daemon) stats() []web.Stat {
	list := []web.Stat{
		dropped("engine", d.loop.Dropped()),
		web.ConfigReloads.Of(float64(d.reloads.taken.Load())),
		web.ConfigRefused.Of(float64(d.reloads.refused.Load())),
	}
	list = append(list, d.recording.stats()...)
	for _, s := range d.notifier.Load().Stats() {
		list = append(list,
			web.NotifyAttempts.Of(float64(s.Attempts), s.Receiver),
			web.NotifyFailed.Of(float64(s.Failed), s.Receiver),
			web.NotifyDelivered.Of(float64(s.Delivered), s.Receiver),
			web.NotifyWaiting.Of(float64(s.Waiting), s.Receiver),
		)
	}
	if p := d.publisher.Load(); p != nil {
		s := p.Stats()
		list = append(list,
			web.MQTTConnected.If(s.Connected),
			web.MQTTConnections.Of(float64(s.Connections)),
			web.MQTTPublished.Of(float64(s.Published)),
			web.MQTTAcknowledged.Of(float64(s.Acknowledged)),
			web.MQTTRetried.Of(float64(s.Retried)),
			dropped("mqtt", s.Dropped),
		)
	}
	return list
}

// dropped is what a queue with a bound had no room for.
func dropped[N int | int64 | uint64](queue string, n N) web.Stat {
	return web.QueueDropped.Of(float64(n), queue)
}

func (r *recording) stats() []web.Stat {
	feed := r.FeedDropped()
	list := []web.Stat{
		web.RecordNewest.Of(float64(r.Newest())),
		dropped("record-held", r.LostEvents()),
		dropped("provisional", feed.Provisional),
		dropped("feed", feed.Followers),
	}
	list = append(list, web.RecordRoom(r.Occupancy())...)
	if r.keeper != nil {
		list = append(list, web.RecordPermitFileFailed.Of(float64(r.keeper.Failed())))
	}
	waiting, drops, open := r.Waiting()
	if !open {
		return list
	}
	return append(list,
		web.RecordWaiting.Of(float64(waiting)),
		dropped("record-inputs", drops.Inputs),
		dropped("record-rows", drops.Rows),
		dropped("record-events", drops.Events),
	)
}
