package config

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"
)

// bauds are the rates that serial adapters offer.
var bauds = []int64{300, 600, 1200, 1800, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 76800, 115200, 128000, 230400, 250000, 256000, 460800, 500000, 576000, 921600, 1000000, 1500000, 2000000, 3000000}

func (l *loader) loadPorts() {
	s := l.required("ports", `write [ports.bus] with device = "/dev/serial/by-id/…"`)
	if s == nil {
		return
	}
	if len(s.node.children) == 0 {
		l.report.add(s.node.at, "ports: no port is defined", `write [ports.bus] with device = "/dev/serial/by-id/…"`)
	}
	for _, n := range s.node.children {
		if p := s.table(n.key); p != nil {
			l.loadPort(p, n)
		}
	}
	slices.SortFunc(l.config.Ports, func(a, b Port) int { return cmp.Compare(a.Name, b.Name) })
}

var portName = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,39}$`)

// loadPort reads one line. The defaults of rate and framing are those of
// "MODBUS over serial line" V1.02, 2.5.1 (19200, even parity).
func (l *loader) loadPort(s *section, n *node) {
	if !portName.MatchString(n.key) {
		l.report.add(n.at, fmt.Sprintf("%s is not a name for a port", quoted(n.key)), "write small letters, digits and hyphens, such as [ports.bus]")
	}
	p := Port{Name: n.key, Device: l.device(s), Baud: s.baud()}
	p.DataBits, p.Parity, p.StopBits = s.framing()
	p.Timeout = s.duration("timeout", 200*time.Millisecond, time.Millisecond, time.Minute)
	s.done()
	l.config.Ports = append(l.config.Ports, p)
}

func (l *loader) device(s *section) string {
	const example = "/dev/serial/by-id/usb-rs485-0"
	text, n := s.requiredText("device", example, fmt.Sprintf("write device = %q, see `flowrigd ports`", example))
	switch {
	case n == nil:
	case text == "" || strings.ContainsRune(text, 0):
		s.bad("device", n, quoted(text)+" is not the name of a device", "write a name that `flowrigd ports` shows")
	case !s.noEscapes("device", n):
		return ""
	case !strings.ContainsAny(text, `/\`) && !windowsPort.MatchString(text):
		l.report.warn(n.value, fmt.Sprintf("%s: %s is looked for beside this file", s.path("device"), quoted(text)), "write its whole name, such as \"/dev/"+text+"\", see `flowrigd ports`")
	}
	if text == "" || windowsPort.MatchString(text) {
		return text
	}
	return filepath.Clean(l.file(text))
}

// windowsPort are names that are relative to nothing.
var windowsPort = regexp.MustCompile(`^(\\\\\.\\.*|(?i:COM)[0-9]+)$`)

func (s *section) baud() int {
	n := s.take("baud")
	if n == nil {
		return 19200
	}
	v, ok := n.number()
	if n.kind != unstable.Integer || !ok || !slices.Contains(bauds, int64(v)) {
		s.bad("baud", n, kindName(n)+" is not a rate of serial lines", "write the instrument's rate without quotes, such as 9600, 19200 or 115200")
		return 19200
	}
	return int(v)
}

var framing = regexp.MustCompile(`^([78])([NEO])([12])$`)

// framing reads data bits, parity and stop bits, such as "8E1".
func (s *section) framing() (data int, parity Parity, stop int) {
	text, n := s.text("framing", "8E1")
	if n == nil {
		return 8, EvenParity, 1
	}
	m := framing.FindStringSubmatch(text)
	if m == nil {
		remedy := `write data bits, parity and stop bits, such as "8E1" or "8N1"`
		if capitals := strings.ToUpper(text); framing.MatchString(capitals) {
			remedy = fmt.Sprintf("write %q, in capitals", capitals)
		}
		s.bad("framing", n, quoted(text)+" is not a framing", remedy)
		return 8, EvenParity, 1
	}
	return int(m[1][0] - '0'), Parity(m[2][0]), int(m[3][0] - '0')
}

// Port finds a line by its name; nil where there is none.
func (c *Config) Port(name string) *Port {
	return first(c.Ports, func(p Port) bool { return p.Name == name })
}

// BitsPerCharacter counts the start bit too.
func (p *Port) BitsPerCharacter() int {
	bits := 1 + p.DataBits + p.StopBits
	if cmp.Or(p.Parity, NoParity) != NoParity {
		bits++
	}
	return bits
}

// Character is the time of one character on the line.
func (p *Port) Character() time.Duration {
	return time.Duration(int64(p.BitsPerCharacter()) * int64(time.Second) / int64(max(p.Baud, 1)))
}

// Silence is the pause that ends a frame: 3.5 characters, and 1.75 ms above 19200 Bd
// ("MODBUS over serial line" V1.02, 2.5.1.1).
func (p *Port) Silence() time.Duration {
	if p.Baud > 19200 {
		return 1750 * time.Microsecond
	}
	return p.Character() * 7 / 2
}

// Framing is data bits, parity and stop bits as people write them: "8E1".
func (p *Port) Framing() string {
	return fmt.Sprintf("%d%c%d", p.DataBits, cmp.Or(p.Parity, NoParity), p.StopBits)
}
