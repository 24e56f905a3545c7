package web

import (
	"log/slog"
	"net/http"
	"runtime"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// collector turns the last State into metrics at each scrape. What is unknown
// is absent, never zero and never the last good value.
type collector struct {
	s      *Server
	values [quantity.Count]*prometheus.Desc
	regime *prometheus.Desc
	time   *prometheus.Desc
	good   *prometheus.Desc
	alarms alarmDescs
	build  *prometheus.Desc
}

func newCollector(s *Server) *collector {
	rig := []string{"site", "rig"}
	c := &collector{
		s:      s,
		regime: prometheus.NewDesc("flowrig_regime", quantity.Table[quantity.Regime].Help, append(rig, "regime"), nil),
		time:   prometheus.NewDesc("flowrig_state_timestamp_seconds", "When the newest state was computed, in Unix seconds.", rig, nil),
		good:   prometheus.NewDesc("flowrig_instrument_usable", "Whether the reading is good enough to compute with.", []string{"instrument"}, nil),
		alarms: newAlarmDescs(rig),
		build:  prometheus.NewDesc("flowrig_build_info", "What is running.", []string{"version", "commit", "goversion"}, nil),
	}
	for id := range quantity.Count {
		c.values[id] = prometheus.NewDesc("flowrig_"+id.Name(), quantity.Table[id].Help, rig, nil)
	}
	return c
}

// Describe says nothing, since the stats of the other parts are open-ended.
func (c *collector) Describe(chan<- *prometheus.Desc) {}

// Collect implements prometheus.Collector.
func (c *collector) Collect(out chan<- prometheus.Metric) {
	out <- gauge(c.build, 1, c.s.opt.Version, c.s.opt.Commit, runtime.Version())
	c.collectStats(out)
	state, err := c.s.current()
	if err != nil {
		return
	}
	id := c.s.opt.Rig.Identity()
	c.collectValues(out, state, id)
	c.collectInstruments(out, state)
	c.alarms.collect(out, state, c.s.facts.Load(), id)
}

func gauge(d *prometheus.Desc, v float64, labels ...string) prometheus.Metric {
	return prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
}

func (c *collector) collectValues(out chan<- prometheus.Metric, s *daq.State, id daq.Identity) {
	for q := range quantity.Count {
		if v, known := s.Values.Get(q); known && quantity.Table[q].Kind != quantity.Word {
			out <- gauge(c.values[q], v, id.Site, id.Rig)
		}
	}
	for _, b := range quantity.Bands {
		out <- gauge(c.regime, truth(b == s.Values.Band()), id.Site, id.Rig, b.String())
	}
	out <- gauge(c.time, float64(s.Time.UnixMilli())/1000, id.Site, id.Rig)
}

func (c *collector) collectInstruments(out chan<- prometheus.Metric, s *daq.State) {
	for _, id := range s.Instruments {
		out <- gauge(c.good, truth(s.Quality[id].Usable()), id.Short())
	}
}

func (c *collector) collectStats(out chan<- prometheus.Metric) {
	list := c.s.ownStats()
	if c.s.opt.Stats != nil {
		list = append(list, c.s.opt.Stats()...)
	}
	for _, st := range list {
		out <- st.metric()
	}
}

func (st Stat) metric() prometheus.Metric {
	kind := prometheus.GaugeValue
	if st.Counter {
		kind = prometheus.CounterValue
	}
	var names, values []string
	if st.Label != "" {
		names, values = []string{st.Label}, []string{st.Of}
	}
	return prometheus.MustNewConstMetric(prometheus.NewDesc(st.Name, st.Help, names, nil), kind, st.Value, values...)
}

func (s *Server) newRegistry() *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(newCollector(s), collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	r.MustRegister(s.meters.collectors()...)
	return r
}

// metrics serves the registry as classic text or, when asked, OpenMetrics; an
// internal contradiction is a 500, never half a page.
func (s *Server) metrics() http.Handler {
	return promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{
		EnableOpenMetrics: true,
		ErrorHandling:     promhttp.HTTPErrorOnError,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelDebug), // a scraper that hangs up is no error of ours
	})
}
