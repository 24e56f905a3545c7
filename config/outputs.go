package config

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// loadMQTT reads the broker; without the table there is none.
func (l *loader) loadMQTT() {
	s := l.root.table("mqtt")
	if s == nil {
		return
	}
	m := &MQTT{Broker: s.broker(), Topic: s.topic()}
	m.Embedded = m.Broker == "embedded"
	m.Every = s.duration("every", time.Second, l.config.Interval, time.Hour)
	// The protocol counts it in whole seconds in 16 bits (MQTT 3.1.1, 3.1.2.10).
	m.KeepAlive = s.duration("keep_alive", 10*time.Second, time.Second, 65535*time.Second)
	if m.KeepAlive%time.Second != 0 {
		s.report.add(s.place("keep_alive"), "mqtt.keep_alive: MQTT counts it in whole seconds", `write a whole number of seconds, such as "10 s"`)
	}
	m.Username = s.username()
	m.PasswordFile = l.fileOf(s, "password_file", "mqtt.secret")
	m.CAFile = l.fileOf(s, "ca_file", "ca.pem")
	m.Commands = s.flag("commands", false)
	s.checkAccount(m)
	s.checkCommands(m)
	s.done()
	l.config.MQTT = m
}

// username reads the name of an account. No protocol carries a zero in it (MQTT 3.1.1,
// 1.5.3; RFC 4616, 2), and no broker or mail server has one so long.
func (s *section) username() string {
	text, n := s.text("username", "bench-3")
	if len(text) > 1000 || strings.ContainsFunc(text, unicode.IsControl) {
		s.bad("username", n, quoted(text)+" is longer than 1000 bytes or holds a control character", `write the name of the account, such as "bench-3"`)
	}
	return text
}

// fileOf reads the name of a file, relative to the configuration's directory.
func (l *loader) fileOf(s *section, key, example string) string {
	text, n := s.text(key, example)
	if n != nil && (text == "" || strings.ContainsRune(text, 0)) {
		s.bad(key, n, quoted(text)+" is not the name of a file", fmt.Sprintf("write a name such as %q, or leave the key out", example))
		return ""
	}
	if n != nil && !s.noEscapes(key, n) {
		return ""
	}
	return l.file(text)
}

// noEscapes refuses a name with a character that is none of a name: \t and \n in
// a Windows path, above all, are a tab and a new line.
func (s *section) noEscapes(key string, n *node) bool {
	if !strings.ContainsFunc(n.text, unicode.IsControl) {
		return true
	}
	s.bad(key, n, quoted(n.text)+` holds a tab, a new line or the like: \ begins an escape in "double quotes"`, `write the name in 'single quotes', or write each \ twice`)
	return false
}

const brokerExample = "tcp://broker.example:1883"

// brokerPorts are the schemes and their usual ports.
var brokerPorts = map[string]string{"tcp": "1883", "mqtt": "1883", "tls": "8883", "ssl": "8883", "mqtts": "8883"}

// broker reads the broker's address and fills in the usual port.
func (s *section) broker() string {
	text, n := s.requiredText("broker", brokerExample, fmt.Sprintf(`write broker = %q, or "embedded"`, brokerExample))
	if n == nil || text == "embedded" {
		return text
	}
	u, err := url.Parse(text)
	switch {
	case err == nil && (u.Scheme == "ws" || u.Scheme == "wss"):
		s.bad("broker", n, quoted(text)+": MQTT within WebSocket is not spoken here", "write the broker's own port, as tcp://HOST:1883 or tls://HOST:8883")
		return text
	case err != nil || u.Hostname() == "" || brokerPorts[u.Scheme] == "":
		s.bad("broker", n, quoted(text)+" is not the address of a broker", `write tcp://HOST:1883 or tls://HOST:8883 (mqtt, mqtts and ssl mean the same), or "embedded"`)
		return text
	case u.User != nil:
		s.bad("broker", n, "the address holds a name or a password", "write username and password_file")
		return text
	case u.Port() == "":
		u.Host = net.JoinHostPort(u.Hostname(), brokerPorts[u.Scheme])
	case !portNumber(u.Port(), 1):
		s.bad("broker", n, u.Port()+" is not a port", "write one from 1 to 65535")
	}
	return u.String()
}

// portNumber reports a port from lowest to 65535.
func portNumber(text string, lowest int) bool {
	n, err := strconv.Atoi(text)
	return err == nil && n >= lowest && n <= 65535
}

// topic reads what stands before the site; it may have several levels.
//
// All topics begin with it, and brokers bound a topic's length and its levels
// (MQTT 3.1.1, 1.5.3: 65,535 bytes; Mosquitto: 200 levels).
func (s *section) topic() string {
	const longestTopic = 200
	text, n := s.text("topic", "flowrig")
	if n == nil {
		return "flowrig"
	}
	for part := range strings.SplitSeq(text, "/") {
		if wrong := levelMistake(part); wrong != "" {
			s.bad("topic", n, quoted(text)+": "+wrong, `write levels such as "flowrig" or "hall/flowrig"`)
			return text
		}
	}
	if len(text) > longestTopic {
		s.bad("topic", n, fmt.Sprintf("%s: longer than %d bytes", quoted(text), longestTopic), `write a topic such as "flowrig"`)
	}
	if strings.HasPrefix(text, "$") {
		s.bad("topic", n, quoted(text)+": $ begins the broker's own topics", `write a topic such as "flowrig"`)
	}
	return text
}

// checkAccount holds name, password and certificate against the address.
func (s *section) checkAccount(m *MQTT) {
	secure := strings.HasPrefix(m.Broker, "tls:") || strings.HasPrefix(m.Broker, "ssl:") || strings.HasPrefix(m.Broker, "mqtts:")
	switch {
	case m.Embedded && (m.Username != "" || m.PasswordFile != "" || m.CAFile != ""):
		s.report.add(s.place("broker"), "mqtt.broker: the embedded broker has no accounts and no certificates", "leave username, password_file and ca_file out")
	case m.PasswordFile != "" && m.Username == "":
		s.report.add(s.place("password_file"), "mqtt.password_file: MQTT 3.1.1 has no password without a user name", "write username too")
	case m.CAFile != "" && !secure && m.Broker != "":
		s.report.add(s.place("ca_file"), "mqtt.ca_file: the broker's address is not a secure one", "write broker = \"tls://…\", or leave ca_file out")
	case !secure && !m.Embedded && elsewhere(m.Broker) && !s.report.has(s.place("broker")):
		s.report.warn(s.place("broker"), "mqtt.broker: readings and alarms go over the network in the clear, and anybody there can read and change them", "write broker = \"tls://…\" and ca_file, or use a broker on this machine")
		if m.PasswordFile != "" {
			s.report.warn(s.place("password_file"), "mqtt.password_file: the password goes over the network in the clear", "write broker = \"tls://…\"")
		}
	}
}

// checkCommands warns where others than those meant can give commands.
func (s *section) checkCommands(m *MQTT) {
	switch {
	case !m.Commands:
	case m.Embedded:
		s.report.warn(s.place("commands"), "mqtt.commands: the embedded broker has no accounts: every program on this machine can give commands", "use a broker with accounts, or write commands = false")
	case m.PasswordFile == "":
		s.report.warn(s.place("commands"), "mqtt.commands: without an account here the broker may let anybody publish, and whoever publishes below command/ gives commands", "let the broker ask for a password, and let only those publish there who may, or write commands = false")
	case !strings.HasPrefix(m.Broker, "tls:") && !strings.HasPrefix(m.Broker, "ssl:") && !strings.HasPrefix(m.Broker, "mqtts:") && elsewhere(m.Broker):
		s.report.warn(s.place("commands"), "mqtt.commands: commands come over the network in the clear, and anybody there can give them", "write broker = \"tls://…\", or commands = false")
	}
}

// elsewhere says whether an address is not of this machine alone.
func elsewhere(address string) bool {
	u, err := url.Parse(address)
	return err == nil && u.Hostname() != "" && !IsLoopback(u.Hostname())
}

// IsLoopback reports a name or an address of this machine alone.
func IsLoopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

func (l *loader) loadHTTP() {
	s := l.optional("http")
	h := &l.config.HTTP
	h.Listen = "127.0.0.1:8080"
	if text, n := s.text("listen", h.Listen); n != nil {
		host, port, err := net.SplitHostPort(text)
		if err != nil || !portNumber(port, 0) || strings.ContainsAny(host, " /") {
			s.bad("listen", n, quoted(text)+" is not an address with a port", `write host:port, such as "127.0.0.1:8080"`)
		}
		h.Listen = text
	}
	h.TokensFile = l.fileOf(s, "tokens_file", "tokens")
	if h.TokensFile == "" {
		h.TokensFile = l.file("tokens")
	}
	s.done()
}

func (l *loader) loadRecord() {
	s := l.optional("record")
	r := &l.config.Record
	r.Directory = l.fileOf(s, "directory", "/var/lib/flowrigd")
	if r.Directory == "" {
		r.Directory = l.file("record")
	}
	r.Every = s.duration("every", max(time.Second, l.config.Interval), l.config.Interval, time.Hour)
	r.DurableWithin = s.duration("durable_within", time.Second, 100*time.Millisecond, time.Minute)
	r.Keep = s.duration("keep", 400*day, time.Hour, longestTime)
	r.KeepInputs = s.duration("keep_inputs", r.Keep, time.Hour, longestTime)
	r.MaxSize = int64(s.within("max_size", Size, 20e9, 10e6, 1e15))
	s.done()
	if r.KeepInputs > r.Keep {
		s.report.add(s.place("keep_inputs"), fmt.Sprintf("record.keep_inputs: inputs would outlive the rows, kept for %s", Format(r.Keep.Seconds(), Time)), "write a time up to that of keep")
	}
}
