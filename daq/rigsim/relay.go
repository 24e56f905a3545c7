package rigsim

// relay is the heating permit: energised, heating is permitted. It drops by
// itself when nobody refreshes it.
type relay struct {
	bridged bool // no relay in the heater's circuit: heating is always permitted
	bypass  bool // a key switch bridges it until it is first energised
	welded  bool // the contact stays closed whatever the coil does

	energised bool
	age       float64 // s since the coil was last written
}

// relayWatchdog is how long the relay holds without a refresh, s.
const relayWatchdog = 3.0

func (r *relay) step(dt float64) {
	r.age += dt
	if r.age > relayWatchdog {
		r.energised = false
	}
}

// write is what a coil write does.
func (r *relay) write(on bool) {
	r.energised, r.age = on, 0
	r.bypass = r.bypass && !on
}

// closed says whether current may flow to the heater.
func (r *relay) closed() bool { return r.bridged || r.bypass || r.welded || r.energised }
