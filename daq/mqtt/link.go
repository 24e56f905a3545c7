package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// link is one connection, from its handshake to its end. It is not used again.
type link struct {
	client paho.Client
	wire   *wire
	lost   chan error // gets the reason when the connection ends by itself
}

// will is what the broker publishes when we vanish: retained, QoS 1.
type will struct{ topic, body string }

// open connects once and waits for the broker's answer.
func (t *target) open(ctx context.Context, p pace, w will) (*link, error) {
	password, err := t.password()
	if err != nil {
		return nil, err
	}
	l := &link{lost: make(chan error, 1)}
	o := paho.NewClientOptions().AddBroker(t.address).SetClientID(t.client).
		SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetKeepAlive(announced(t.keepAlive)).SetPingTimeout(min(t.keepAlive, p.connect)).
		SetConnectTimeout(p.connect).SetWriteTimeout(p.write).
		SetWill(w.topic, w.body, 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { l.lost <- err }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			return l.dial(ctx, t, p)
		})
	if t.username != "" {
		o.SetUsername(t.username).SetPassword(password)
	}
	l.client = paho.NewClient(o)
	token := l.client.Connect()
	<-token.Done() // bounded by the timeout of dialling and handshake, and by ctx
	if l.wire != nil {
		l.wire.detach() // from here on the session says farewell in its own time
	}
	if err := token.Error(); err != nil {
		return nil, fmt.Errorf("connect: %w%s", err, remedy(err))
	}
	return l, nil
}

func remedy(err error) string {
	switch {
	case errors.Is(err, packets.ErrorRefusedNotAuthorised), errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return "; check mqtt.username and mqtt.password_file against the broker's"
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return "; allow this client identifier at the broker"
	}
	return ""
}

// dial opens the socket; the context's end interrupts the handshake behind it
// too.
func (l *link) dial(ctx context.Context, t *target, p pace) (net.Conn, error) {
	dialing, cancel := context.WithTimeout(ctx, p.connect)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(dialing, "tcp", t.host)
	if err != nil {
		return nil, fmt.Errorf("%w; start the broker, or correct mqtt.broker", err)
	}
	if t.tls != nil {
		secured := tls.Client(conn, t.tls)
		if err := secured.HandshakeContext(dialing); err != nil {
			conn.Close()
			return nil, fmt.Errorf("%w; check the host name in mqtt.broker and the authority in mqtt.ca_file", err)
		}
		conn = secured
	}
	l.wire = newWire(ctx, conn, p.write)
	return l.wire, nil
}

// close says farewell, or with a reason does not, and frees everything.
func (l *link) close(why error, patience time.Duration) {
	if why != nil {
		l.wire.kill(why)
	}
	l.client.Disconnect(uint(patience.Milliseconds()))
	l.wire.kill(net.ErrClosed)
}
