package config

import (
	"fmt"
	"net"
	"slices"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// adviseAccuracy warns of what has no figure of its uncertainty.
func (l *loader) adviseAccuracy() {
	l.adviseSpread("tube", "bore", l.config.Tube.Bore, "Reynolds number", " ± 0.05 mm")
	l.adviseSpread("tube", "length", l.config.Tube.Length, "loss coefficient", " ± 2 mm")
	l.adviseSpread("tank", "drop", l.config.Tank.Drop, "loss coefficient", " ± 5 mm")
	if in := l.config.Instrument(quantity.Flow); in != nil && in.MeterFall.X != 0 && in.MeterFall.U == 0 {
		l.report.warn(l.at("instruments", in.Name, "meter_fall"), "instruments."+in.Name+".meter_fall has no ±: it counts as exact, and the uncertainty of the Reynolds number is too small", fmt.Sprintf("write how well it is known, such as %q", Format(in.MeterFall.X, TemperatureDifference)+" ± 2 K"))
	}
	for i := range l.config.Instruments {
		in := &l.config.Instruments[i]
		counts := quantity.Table[in.ID].Required || in.ID == quantity.Ambient || in.ID == quantity.Meter // in the uncertainty of Re
		if counts && l.unstated(in) {
			l.report.warn(l.at("instruments", in.Name), fmt.Sprintf("instruments.%s has no accuracy: the uncertainty of what is computed from it is unknown", in.Name), `write the maker's limits of error, such as accuracy = {of_reading = "0.5 %"}`)
		}
	}
}

// unstated says whether neither accuracy nor calibration of an instrument is written.
func (l *loader) unstated(in *Instrument) bool {
	n := l.root.node.child("instruments").child(in.Name)
	return n.child("accuracy") == nil && n.child("calibration") == nil
}

// adviseBlocked warns of an alarm about a blocked tube that is never raised.
func (l *loader) adviseBlocked() {
	if !slices.ContainsFunc(l.config.Alarms, func(a Alarm) bool { return a.Kind == AlarmBlocked }) {
		return
	}
	for i := range l.config.Instruments {
		in := &l.config.Instruments[i]
		if quantity.Table[in.ID].Required && l.unstated(in) {
			l.report.warn(l.at("alarms", "tube-blocked"), fmt.Sprintf("alarms.tube-blocked is never raised: how well the loss coefficient is known is not, without an accuracy of %s", in.Name), "write the accuracy, or the calibration, of flow, temperature and level")
			return
		}
	}
}

// adviseSpread warns of a length that counts as exact; one that is wrong has been reported.
func (l *loader) adviseSpread(table, key string, v uncertainty.Value, of, spread string) {
	n := l.root.node.child(table).child(key)
	if n == nil || v.U != 0 || l.report.has(n.value) {
		return
	}
	l.report.warn(n.value, fmt.Sprintf("%s.%s has no ±: it counts as exact, and the uncertainty of the %s is too small", table, key, of), fmt.Sprintf("write how well it is known, such as %q", Format(v.X, Length)+spread))
}

// adviseDevices warns of names that change when a plug is moved, and of lines
// that nobody uses.
func (l *loader) adviseDevices() {
	for _, p := range l.config.Ports {
		at := l.at("ports", p.Name, "device")
		if strings.HasPrefix(p.Device, "/dev/ttyUSB") || strings.HasPrefix(p.Device, "/dev/ttyACM") {
			l.report.warn(at, fmt.Sprintf("ports.%s.device: %s may be another adapter after a restart", p.Name, p.Device), "write its name under /dev/serial/by-id, see `flowrigd ports`")
		}
		// One that names a line which is not there, and is reported for it, may have meant any.
		uses := func(port string) bool { return port == p.Name || l.config.Port(port) == nil }
		used := l.config.Trip != nil && uses(l.config.Trip.Port) || slices.ContainsFunc(l.config.Instruments, func(in Instrument) bool { return uses(in.Port) })
		if !used {
			l.report.warn(l.at("ports", p.Name), fmt.Sprintf("ports.%s: nothing uses it", p.Name), "leave it out, or name it in an instrument or in [trip]")
		}
	}
}

// adviseSupply warns where dry heating cannot be detected though a heater is
// permitted or seen.
func (l *loader) adviseSupply() {
	if !l.config.heats() || l.config.provesSupply() {
		return
	}
	l.report.warn(l.at("instruments"), "neither supply_flow nor supply_on is measured: dry heating is not detected", "fit a hard-wired flow interlock and cut-out, and write [instruments.supply_flow] or [instruments.supply_on] where there is one")
}

// adviseListen warns of a page that others on the network can reach.
func (l *loader) adviseListen() {
	host, _, err := net.SplitHostPort(l.config.HTTP.Listen)
	if err != nil || IsLoopback(host) {
		return
	}
	l.report.warn(l.at("http", "listen"), "http.listen: the page is open to the network, without encryption", "make tokens with `flowrigd token add`, and put a proxy with TLS before it")
}
