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
		reads: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "flowrig_instrument_reads_total", Help: "Exchanges with an instrument, good and bad."}, []string{"instrument"}),
		errors: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "flowrig_instrument_errors_total", Help: "Exchanges that gave no good reading, by reason."}, []string{"instrument", "reason"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "flowrig_instrument_read_duration_seconds", Help: "Length of an exchange with an instrument.",
			Buckets: []float64{.002, .005, .01, .02, .05, .1, .2, .5, 1, 2}}, []string{"instrument"}),
		last: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "flowrig_instrument_last_reading_timestamp_seconds", Help: "When the last good reading came, in Unix seconds."}, []string{"instrument"}),
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

func (m *meters) collectors() []prometheus.Collector {
	return []prometheus.Collector{m.reads, m.errors, m.took, m.last}
}
