//go:build unix

package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"strings"
	"testing"
	"time"

	"flowrigd/config"
	"flowrigd/daq/daqtest"
)

// authority makes a certificate for 127.0.0.1 that is its own authority and
// gives the files of certificate and key.
func authority(t *testing.T) (certFile, keyFile string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "north-hall"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true,
		KeyUsage:    x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return write(t, "cert.pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert}))),
		write(t, "key.pem", string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})))
}

func TestSecureConnection(t *testing.T) {
	t.Parallel()
	cert, key := authority(t)
	stranger, _ := authority(t)
	m := daqtest.StartMosquitto(t, "")
	_, secure, _ := net.SplitHostPort(daqtest.FreeAddress(t))
	m.Extend("listener " + secure + " 127.0.0.1\ncertfile " + cert + "\nkeyfile " + key)
	for name, c := range map[string]struct {
		ca   string
		want string // in the reason; "" is connected
	}{
		"our authority": {cert, ""},
		"a stranger's":  {stranger, "mqtt.ca_file"},
		"the system's":  {"", "mqtt.ca_file"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench()
			p, err := New(Options{
				Config: config.MQTT{Broker: "tls://127.0.0.1:" + secure, Topic: "flowrig", Every: time.Second, KeepAlive: time.Second, CAFile: c.ca},
				Site:   "north-hall", Rig: "bench-3", Feed: b.feed, State: b, Alive: func() bool { return true },
			})
			if err != nil {
				t.Fatal(err)
			}
			start(t, p)
			until(t, "an outcome", 5*time.Second, func() bool {
				up, _, why := p.Connected()
				return up && c.want == "" || !up && c.want != "" && strings.Contains(why, c.want)
			})
		})
	}
}
