package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"flowrigd/config"
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
		if t.tls, err = secure(u.Hostname(), c.CAFile); err != nil {
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

// secure checks the broker against the file's authorities, or the system's.
func secure(host, file string) (*tls.Config, error) {
	c := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if file == "" {
		return c, nil
	}
	pem, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("ca_file: %w; give the certificate of the broker's authority, or leave ca_file out to use the system's", err)
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("ca_file %s: holds no certificate; it must be PEM text that begins with -----BEGIN CERTIFICATE-----", file)
	}
	return c, nil
}

// password reads the file, so that a changed secret is taken at the next
// connection. Editors end the line; the password does not hold it.
func (t *target) password() (string, error) {
	if t.passwordFile == "" {
		return "", nil
	}
	text, err := os.ReadFile(t.passwordFile)
	if err != nil {
		return "", fmt.Errorf("password_file: %w; make a file with the password alone, readable by this program's user", err)
	}
	if t.username == "" {
		return "", errors.New("password_file: no username beside it (MQTT 3.1.1 section 3.1.2.9 forbids a password alone); set mqtt.username")
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}

// name is what the recording keeps the marks under. The embedded broker's port
// may change from run to run and is no new destination.
func (t *target) name(embedded bool) string {
	if embedded {
		return "mqtt embedded " + t.client
	}
	return "mqtt " + t.address + " " + t.client
}
