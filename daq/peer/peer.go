// Package peer owns what is common to conversations with programs on the network, be
// it the broker or a receiver of alarms: how long to wait before the next attempt,
// what is known of the other side and said of it in the log, and the secrets and
// authorities it is met with.
//
// It opens no connection and knows no protocol.
package peer

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"time"
)

// Backoff doubles the wait between two attempts. Its zero value starts anew.
type Backoff struct{ step time.Duration }

// Next gives the wait, between half and all of the step, so that many rigs do
// not return in the same moment.
func (b *Backoff) Next(shortest, longest time.Duration) time.Duration {
	b.step = min(max(2*b.step, shortest), longest)
	return b.step/2 + rand.N(b.step/2+1)
}

// Pause waits, until the context ends at most.
func Pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// Secret reads a password or token: one line, without its end. It is read for each
// use, so that a new one needs no restart. "" for no file; key names it in the error.
func Secret(key, file string) (string, error) {
	if file == "" {
		return "", nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("%s: %w; make a file with the secret alone, readable by this program's user", key, err)
	}
	line := strings.TrimRight(string(text), "\r\n")
	if line == "" || strings.ContainsAny(line, "\r\n\x00") {
		return "", fmt.Errorf("%s: %s: not one line with the secret; make a file with the secret alone", key, file)
	}
	return line, nil
}

// TLS checks a host, "" for that of the connection, against the authorities of
// ca_file; "" for the system's.
func TLS(host, file string) (*tls.Config, error) {
	c := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if file == "" {
		return c, nil
	}
	pem, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("ca_file: %w; give the certificate of the authority, or leave ca_file out to use the system's", err)
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("ca_file: %s: holds no certificate; it must be PEM text that begins with -----BEGIN CERTIFICATE-----", file)
	}
	return c, nil
}
