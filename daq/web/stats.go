package web

// Stat is one number of another part of the program, as a metric.
type Stat struct {
	Name    string // the whole name, flowrig_…; a counter's ends in _total
	Help    string
	Counter bool // else a gauge
	Label   string
	Of      string // the label's value; both "" for none
	Value   float64
}

// Dropped is the counter of what a bounded queue let go. Every queue has one.
func Dropped(queue string, n uint64) Stat {
	return Stat{"flowrig_queue_dropped_total", "What a bounded queue had no room for.", true, "queue", queue, float64(n)}
}

// ownStats are the numbers of the web server itself.
func (s *Server) ownStats() []Stat {
	list := []Stat{
		Dropped("follow", s.hub.dropped.Load()),
		{Name: "flowrig_http_followers", Help: "Open streams of events.", Value: float64(s.hub.count())},
		{Name: "flowrig_http_connections_displaced_total", Help: "Connections closed to make room for others.",
			Counter: true, Value: s.listener.displacedSoFar()},
	}
	for name, err := range s.checks() {
		list = append(list, Stat{"flowrig_check_ok", "Whether a part that /readyz asks for works.", false, "check", name, truth(err == nil)})
	}
	return list
}

func truth(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
