package mqtt

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	"flowrigd/config"
	"flowrigd/daq/peer"
)

// target is a broker and how we present ourselves to it.
type target struct {
	client       string // our client identifier, stable over restarts
	address      string // the URL without a password, for people and marks
	host         string // with the port
	tls          *tls.Config
	keepAlive    time.Duration // as configured
	username     string
	passwordFile string
}

// newTarget reads the broker's URL: tcp or mqtt, port 1883; tls, ssl or mqtts,
// port 8883 (IANA service names mqtt and secure-mqtt).
func newTarget(c config.MQTT, client string) (*target, error) {
	u, err := url.Parse(c.Broker)
	if err != nil {
		return nil, fmt.Errorf("broker: %w; write it as tcp://host:1883 or tls://host:8883", err)
	}
	t := &target{client: client, username: c.Username, passwordFile: c.PasswordFile,
		keepAlive: max(c.KeepAlive, time.Second)}
	port := "1883"
	switch u.Scheme {
	case "tcp", "mqtt":
	case "tls", "ssl", "mqtts":
		port = "8883"
		if t.tls, err = peer.TLS(u.Hostname(), c.CAFile); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("broker %q: unknown scheme; write it as tcp://host:1883 or tls://host:8883", u.Redacted())
	}
	if u.Hostname() == "" {
		return nil, fmt.Errorf("broker %q: no host; write it as tcp://host:1883 or tls://host:8883", u.Redacted())
	}
	if u.Port() != "" {
		port = u.Port()
	}
	t.host = net.JoinHostPort(u.Hostname(), port)
	t.address = u.Scheme + "://" + t.host
	_, err = t.password()
	return t, err
}

// announced is the keep-alive that we tell the broker, chosen so that our
// sudden silence is told within two of the configured ones: a broker waits for
// one and a half (MQTT 3.1.1 section 3.1.2.10), and Mosquitto 2.0.11 was seen
// to take up to 5.9 s more, for it looks every five seconds. Below 4 s nothing
// shorter than a second can be told, and such a broker may be later.
func announced(keepAlive time.Duration) time.Duration {
	const late = 7 * time.Second
	return max(time.Second, min(keepAlive, (2*keepAlive-late)*2/3)).Truncate(time.Second)
}

// password reads the file, so that a changed secret is taken at the next
// connection.
func (t *target) password() (string, error) {
	password, err := peer.Secret("password_file", t.passwordFile)
	if err == nil && password != "" && t.username == "" {
		err = errors.New("password_file: no username beside it (MQTT 3.1.1 section 3.1.2.9 forbids a password alone); set mqtt.username")
	}
	return password, err
}

// name is what the recording keeps the marks under. The embedded broker's port
// may change from run to run and is no new destination.
func (t *target) name(embedded bool) string {
	if embedded {
		return "mqtt embedded " + t.client
	}
	return "mqtt " + t.address + " " + t.client
}
