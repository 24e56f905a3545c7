package rigsim

import (
	"cmp"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// ConfigOptions are the parts of rig.toml that the rig does not know.
type ConfigOptions struct {
	Listen string // of [http]; "" is 127.0.0.1:8080
	Broker string // of [mqtt]; "" leaves the table out
	Record string // directory; "" is "record" beside the file
	Tokens string // file; "" is "tokens" beside the file
}

// Config is the text of rig.toml: this rig as its papers describe it.
func (s *Sim) Config() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, `# A simulated rig, scenario %s. %s
# Values and limits are those of its papers; the rig itself differs within them.
%ssite = "north-hall"
rig = "bench-3"
altitude = "120 m"
interval = "200 ms"

[tube]
bore = "%.2f mm ± %.2f mm"
length = "%.0f mm ± %.0f mm"
roughness = "%.4f mm"
orientation = "vertical-down"
outer = "%.1f mm ± %.1f mm"
watched_at = "%.0f mm"
room = "%.0f Cel ± %.0f K"

[tank]
lip = "%.0f mm ± %.0f mm"
drop = "%.3f m ± %.3f m"

[regime]
laminar_below = %.0f
turbulent_above = %.0f
`, s.story.name, s.story.about, s.haste(),
		stated.bore*1e3, stated.boreU*1e3, stated.length*1e3, stated.lengthU*1e3, stated.roughness*1e3,
		stated.outer*1e3, stated.outerU*1e3, stated.watchedAt*1e3, (roomLow+roomHigh)/2, (roomHigh-roomLow)/2+1,
		stated.lip*1e3, stated.lipU*1e3, stated.drop, stated.dropU, laminarBelow, turbulentAbove)
	b.WriteString(s.story.plan)
	s.writePorts(&b)
	s.writeInstruments(&b)
	s.writeServices(&b)
	return []byte(b.String())
}

// haste says what a reader must know of a rig whose physics alone runs at
// another speed.
func (s *Sim) haste() string {
	if s.plant.speed == 1 {
		return ""
	}
	return fmt.Sprintf("# Its physics runs %g times as fast as the clock, and nothing else does: the daemon's delays and windows\n"+
		"# span %g times as much of what happens, and rates (K/s), settling times and the time to the limit are wrong\n"+
		"# by that. `flowrigd demo --speed` gives rig and daemon one clock.\n", s.plant.speed, s.plant.speed)
}

func (s *Sim) writePorts(b *strings.Builder) {
	speeds := map[string]string{
		lineBus: "baud = 19200\nframing = \"8E1\"\ntimeout = \"200 ms\"",
		lineTC:  "baud = 9600\nframing = \"8N1\"\ntimeout = \"200 ms\"",
		lineAir: "baud = 9600\nframing = \"8N1\"",
	}
	for _, name := range s.lineNames() {
		fmt.Fprintf(b, "\n[ports.%s]\ndevice = %s\n%s\n", name, strconv.Quote(s.device(name)), speeds[name])
	}
}

// lineNames are the rig's lines in their order.
func (s *Sim) lineNames() []string {
	names := []string{lineBus, lineTC}
	if s.lines[lineAir] != nil {
		names = append(names, lineAir)
	}
	return names
}

// device is the name by which a line is opened.
func (s *Sim) device(name string) string {
	if s.options.Dir == "" {
		return name
	}
	path, err := filepath.Abs(filepath.Join(s.options.Dir, name))
	if err != nil {
		return filepath.Join(s.options.Dir, name)
	}
	return path
}

func (s *Sim) writeInstruments(b *strings.Builder) {
	for _, in := range s.sensors {
		if leftOut(in.id.Short()) {
			continue
		}
		fmt.Fprintf(b, "\n[instruments.%s]\nport = %q\n%s\n", in.id.Short(), in.line, in.config)
		if after, ok := s.frozenAfter(in.id); ok {
			fmt.Fprintf(b, "frozen_after = \"%g s\"\n", after.Seconds())
		}
	}
}

// frozenAfter is the frozen_after of an instrument that the scenario freezes; with
// hands any scenario may come.
func (s *Sim) frozenAfter(id quantity.ID) (time.Duration, bool) {
	may := []scenario{s.story}
	if s.options.Clock != nil {
		may = stories()
	}
	for _, story := range may {
		if after, ok := story.frozen[id]; ok {
			return after, true
		}
	}
	return 0, false
}

func (s *Sim) writeServices(b *strings.Builder) {
	c := s.options.Config
	if s.options.Relay {
		fmt.Fprintf(b, "\n[trip]\nport = %q\nmodbus = {address = %d, coil = 0}\nrefresh = \"1 s\"\nwatchdog = \"%g s\"\n", lineBus, relayUnit, relayWatchdog)
	}
	if s.plant.speed > 1 && (s.options.Relay || s.sensor(quantity.HeaterOn) != nil) {
		fmt.Fprintf(b, "\n[alarms.temperature-implausible]\nmax_fall = \"%g K/s\" # this rig runs faster than the clock\n", 0.8*s.plant.speed)
	}
	if s.story.name == "blocked-tube" { // elsewhere its valve is moved, and nobody notes it
		b.WriteString("\n[alarms.tube-blocked]\n")
	}
	if c.Broker != "" {
		fmt.Fprintf(b, "\n[mqtt]\nbroker = %s\n", strconv.Quote(c.Broker))
	}
	fmt.Fprintf(b, "\n[http]\nlisten = %s\ntokens_file = %s\n", strconv.Quote(cmp.Or(c.Listen, "127.0.0.1:8080")), strconv.Quote(cmp.Or(c.Tokens, "tokens")))
	fmt.Fprintf(b, "\n[record]\ndirectory = %s\n", strconv.Quote(cmp.Or(c.Record, "record")))
}
