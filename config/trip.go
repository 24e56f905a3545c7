package config

import (
	"fmt"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"

	"flowrigd/calc/quantity"
)

// staticRemedy is what is written where a permit was to be held by a level: an
// output that stays as it is when the program hangs permits heating for ever.
const staticRemedy = `write modbus = {address = 9, coil = 0}, or pulse = "rts" or "dtr" into an external retriggerable relay`

// longestWatchdog bounds how long a relay may hold without a refresh.
const longestWatchdog = time.Minute

// loadTrip reads the heating permit; without the table there is none.
func (l *loader) loadTrip() {
	s := l.root.table("trip")
	if s == nil {
		return
	}
	t := &Trip{Port: l.portOf(s)}
	if !s.refuseLevels() {
		switch s.exactlyOne("the output", "modbus", "pulse") {
		case "modbus":
			if m := s.table("modbus"); m != nil {
				m.coil(t)
			}
		case "pulse":
			t.Pulse = s.pulse()
		}
	}
	s.watchdog(t, l.config.Interval)
	s.done()
	l.config.Trip = t
}

// refuseLevels refuses what would hold the permit by a static level, and
// reports that there was something.
func (s *section) refuseLevels() (found bool) {
	for _, key := range []string{"level", "static", "rts", "dtr", "line"} {
		n := s.node.child(key)
		if n == nil {
			continue
		}
		s.known = append(s.known, key, "modbus", "pulse")
		found = true
		s.refuse(n, s.path(key)+": a static level is no permit: it stays on when the program hangs", staticRemedy)
	}
	return found
}

func (s *section) coil(t *Trip) {
	s.require("address", "write the relay's address, such as address = 9")
	s.require("coil", "write the zero-based coil, such as coil = 0")
	t.Address = byte(s.integer("address", 9, 1, 247))
	t.Coil = uint16(s.integer("coil", 0, 0, 65535))
	s.done()
}

func (s *section) pulse() Pulse {
	n := s.take("pulse")
	what := kindName(n)
	if n.kind == unstable.String {
		what = quoted(n.text)
		if pulse := map[string]Pulse{"rts": PulseRTS, "dtr": PulseDTR}[n.text]; pulse != NoPulse {
			return pulse
		}
	}
	s.bad("pulse", n, what+" is no line that can be pulsed, and a static level stays on when the program hangs", `write "rts" or "dtr", into an external retriggerable relay`)
	return NoPulse
}

// watchdog reads the relay's watchdog and how often it is refreshed: three
// times within it, so that one lost write drops nothing.
func (s *section) watchdog(t *Trip, interval time.Duration) {
	t.Watchdog = s.duration("watchdog", 3*time.Second, 100*time.Millisecond, longestWatchdog)
	usual := max(interval, min(time.Second, t.Watchdog/3))
	t.Refresh = s.duration("refresh", usual, interval, longestWatchdog)
	if t.Refresh <= t.Watchdog/3 {
		return
	}
	key := "watchdog"
	if s.node.child("refresh") != nil {
		key = "refresh"
	}
	remedy := fmt.Sprintf("set the relay's watchdog to %s or more", Format(3*t.Refresh.Seconds(), Time))
	if t.Watchdog/3 >= interval {
		remedy = fmt.Sprintf("write a refresh of up to %s, or %s", Format((t.Watchdog/3).Seconds(), Time), remedy)
	}
	s.report.add(s.place(key), fmt.Sprintf("%s: a refresh every %s is more than a third of the relay's watchdog of %s", s.path(key), Format(t.Refresh.Seconds(), Time), Format(t.Watchdog.Seconds(), Time)), remedy)
}

// checkTrip holds the permit's output against the lines and instruments.
func (l *loader) checkTrip() {
	t := l.config.Trip
	if t == nil {
		return
	}
	port := l.config.Port(t.Port)
	if port == nil {
		return
	}
	if t.Address > 0 && port.DataBits != 8 {
		l.report.add(l.at("ports", port.Name, "framing"), fmt.Sprintf("ports.%s.framing: Modbus RTU needs 8 data bits, and trip speaks it", port.Name), `write "8E1" or "8N1"`)
	}
	if port.Timeout > t.Watchdog/3 {
		l.report.warn(l.at("ports", port.Name, "timeout"), fmt.Sprintf("ports.%s.timeout: %s is more than a third of the relay's watchdog of %s: one silent instrument may delay a refresh too long", port.Name, Format(port.Timeout.Seconds(), Time), Format(t.Watchdog.Seconds(), Time)), fmt.Sprintf("write a timeout of up to %s", Format((t.Watchdog/3).Seconds(), Time)))
	}
	for i := range l.config.Instruments {
		if in := &l.config.Instruments[i]; in.Port == t.Port {
			l.checkTripBeside(t, in)
		}
	}
	in := first(l.config.Instruments, func(in Instrument) bool { return in.Port == t.Port && in.Modbus != nil })
	if t.Pulse == PulseRTS && in != nil {
		l.report.warn(l.at("trip", "pulse"), fmt.Sprintf("trip.pulse: instruments.%s speaks Modbus on ports.%s, where many adapters switch their transmitter with RTS", in.Name, t.Port), `write pulse = "dtr", or give the relay a port of its own`)
	}
}

// checkTripBeside holds the permit's output against an instrument on its line.
func (l *loader) checkTripBeside(t *Trip, in *Instrument) {
	switch m := in.Modbus; {
	case in.Stream != nil:
		l.report.add(l.at("trip", "port"), fmt.Sprintf("trip.port: instruments.%s sends unprompted on ports.%s, and no relay can be reached there", in.Name, t.Port), "give the relay another port")
	case m == nil || t.Address == 0 || m.Table != CoilTable || m.Address != t.Address || m.Register != t.Coil: // not the permit's own coil
	case in.ID == quantity.HeaterOn:
		l.report.warn(l.at("instruments", in.Name, "modbus"), "instruments.heater_on.modbus: this is the coil of trip: it shows what was commanded, not whether the heater draws power, and a welded relay stays unseen", "read a contact or a current behind the relay")
	default:
		l.report.add(l.at("instruments", in.Name, "modbus"), fmt.Sprintf("instruments.%s.modbus: coil %d of address %d is the heating permit of trip", in.Name, t.Coil, t.Address), "write where the instrument itself is read")
	}
}

// SameOutput says whether two configurations have the permit's relay at the same
// place: by the table trip, and by the port that leads there, whatever is set of it.
func SameOutput(a, b *Config) bool {
	if a.Trip == nil || b.Trip == nil {
		return a.Trip == b.Trip
	}
	from, to := a.Port(a.Trip.Port), b.Port(b.Trip.Port)
	return *a.Trip == *b.Trip && from != nil && to != nil && *from == *to
}
