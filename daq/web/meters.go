package web

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// reasons are counted from zero, so that a rate sees the first fault.
var reasons = [...]daq.Reason{daq.ReasonPort, daq.ReasonTimeout, daq.ReasonChecksum, daq.ReasonProtocol,
	daq.ReasonException, daq.ReasonFormat, daq.ReasonRange, daq.ReasonOpen, daq.ReasonStep, daq.ReasonFrozen, daq.ReasonStale}

// meters count the exchanges with the instruments.
type meters struct {
	reads  *prometheus.CounterVec
	errors *prometheus.CounterVec
	took   *prometheus.HistogramVec
	last   *prometheus.GaugeVec
}

func newMeters(instruments []quantity.ID) *meters {
	m := &meters{
		reads:  prometheus.NewCounterVec(prometheus.CounterOpts(instrumentReads.Opts), instrumentReads.labels),
		errors: prometheus.NewCounterVec(prometheus.CounterOpts(instrumentErrors.Opts), instrumentErrors.labels),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: instrumentTook.Name, Help: instrumentTook.Help,
			Buckets: []float64{.002, .005, .01, .02, .05, .1, .2, .5, 1, 2}}, instrumentTook.labels),
		last: prometheus.NewGaugeVec(prometheus.GaugeOpts(instrumentLast.Opts), instrumentLast.labels),
	}
	for _, id := range instruments {
		m.reads.WithLabelValues(id.Short())
		m.took.WithLabelValues(id.Short())
		for _, r := range reasons {
			m.errors.WithLabelValues(id.Short(), string(r))
		}
	}
	return m
}

func (m *meters) observe(r daq.Reading, now time.Time) {
	name := r.Instrument.Short()
	m.reads.WithLabelValues(name).Inc()
	m.took.WithLabelValues(name).Observe(r.Took.Seconds())
	if r.Reason != "" {
		m.errors.WithLabelValues(name, string(r.Reason)).Inc()
		return
	}
	m.last.WithLabelValues(name).Set(float64(now.UnixMilli()) / 1000)
}
