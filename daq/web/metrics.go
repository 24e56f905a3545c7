package web

import (
	"log/slog"
	"net/http"
	"runtime"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"flowrigd/calc/quantity"
)

// collector turns the last State into metrics at each scrape. What is unknown
// is absent, never zero and never the last good value.
type collector struct{ s *Server }

// Describe says nothing, since the stats of the other parts are open-ended.
func (c collector) Describe(chan<- *prometheus.Desc) {}

// Collect implements prometheus.Collector.
func (c collector) Collect(out chan<- prometheus.Metric) {
	put := func(s Stat) { out <- prometheus.MustNewConstMetric(s.desc, s.kind, s.Value, s.Labels...) }
	put(buildInfo.Of(1, c.s.opt.Version, c.s.opt.Commit, runtime.Version()))
	c.s.collectStats(put)
	state, err := c.s.current()
	if err != nil {
		return
	}
	id := c.s.opt.Rig.Identity()
	for q := range quantity.Count {
		if v, known := state.Values.Get(q); known && quantity.Table[q].Kind != quantity.Word {
			put(quantities[q].Of(v, id.Site, id.Rig))
		}
	}
	for _, b := range quantity.Bands {
		put(regime.If(b == state.Values.Band(), id.Site, id.Rig, b.String()))
	}
	put(stateTime.Of(float64(state.Time.UnixMilli())/1000, id.Site, id.Rig))
	for _, in := range state.Instruments {
		put(instrumentUsable.If(state.Quality[in].Usable(), in.Short()))
	}
	collectAlarms(put, state, c.s.facts.Load(), id)
}

// collectStats gives the figures of the web server itself and of the other parts.
func (s *Server) collectStats(put func(Stat)) {
	put(QueueDropped.Of(float64(s.hub.dropped.Load()), "follow"))
	put(followers.Of(float64(s.hub.count())))
	put(displaced.Of(s.listener.displacedSoFar()))
	for name, err := range s.checks() {
		put(checkOK.If(err == nil, name))
	}
	if s.opt.Stats != nil {
		for _, st := range s.opt.Stats() {
			put(st)
		}
	}
}

// metrics serves what is registered as classic text or, when asked, OpenMetrics; an
// internal contradiction is a 500, never half a page.
func (s *Server) metrics() http.Handler {
	r := prometheus.NewRegistry()
	r.MustRegister(collector{s}, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		s.meters.reads, s.meters.errors, s.meters.took, s.meters.last)
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{
		EnableOpenMetrics: true,
		ErrorHandling:     promhttp.HTTPErrorOnError,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelDebug), // a scraper that hangs up is no error of ours
	})
}
