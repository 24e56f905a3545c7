package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strconv"

	"github.com/wneessen/go-mail"

	"flowrigd/config"
	"flowrigd/daq/peer"
)

// mailer sends alarms to one address. Several addresses of one table are
// several mailers: one that is refused holds nobody else up.
type mailer struct {
	config config.Mail
	to     string
	host   string
	port   int
	tls    *tls.Config
	dial   func(ctx context.Context, network, address string) (net.Conn, error)
}

func newMailer(c config.Notify, to string) (*mailer, error) {
	host, port, err := net.SplitHostPort(c.Mail.Server)
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	secure, err := peer.TLS(host, c.CAFile)
	if err != nil {
		return nil, err
	}
	m := &mailer{config: *c.Mail, to: to, host: host, tls: secure, dial: (&net.Dialer{}).DialContext}
	if m.port, err = strconv.Atoi(port); err != nil {
		return nil, fmt.Errorf("server: port: %w", err)
	}
	_, err = m.options()
	return m, err
}

// options are those of the mail library. The password is read for each mail, so
// that a new one needs no restart.
func (m *mailer) options() ([]mail.Option, error) {
	o := []mail.Option{mail.WithPort(m.port), mail.WithTimeout(mailPatience), mail.WithTLSConfig(m.tls)}
	switch m.config.Security {
	case config.StartTLS:
		o = append(o, mail.WithTLSPolicy(mail.TLSMandatory))
	default: // with implicit TLS our own dialling encrypts
		o = append(o, mail.WithTLSPolicy(mail.NoTLS))
	}
	if m.config.PasswordFile == "" {
		return o, nil
	}
	password, err := peer.Secret("password_file", m.config.PasswordFile)
	if err != nil {
		return nil, err
	}
	// None of these gives the password away on a line in the clear.
	return append(o, mail.WithUsername(m.config.Username), mail.WithPassword(password),
		mail.WithOpportunisticSMTPAuth(mail.SMTPAuthSCRAMSHA256, mail.SMTPAuthPlain, mail.SMTPAuthLogin)), nil
}

// send puts all messages into one mail.
func (m *mailer) send(ctx context.Context, batch []*message) error {
	o, err := m.options()
	if err != nil {
		return err
	}
	text, err := m.compose(batch)
	if err != nil {
		return fmt.Errorf("mail: %w", err)
	}
	// The library closes no connection whose greeting failed, and knows the
	// context only while it dials.
	line := &line{mailer: m, ctx: ctx}
	defer line.close()
	client, err := mail.NewClient(m.host, append(o, mail.WithDialContextFunc(line.open))...)
	if err != nil {
		return fmt.Errorf("mail: %w", err)
	}
	err = client.DialAndSendWithContext(ctx, text)
	if err == nil || text.IsDelivered() { // an error after the delivery is none of it
		return nil
	}
	return &failure{cause: fmt.Errorf("mail: %w", err), refused: contentRefused(err)}
}

// contentRefused tells a refused text from a refused address or account.
func contentRefused(err error) bool {
	var s *mail.SendError
	return errors.As(err, &s) && !s.IsTemp() && s.ErrorCode() >= 500 && (s.Reason == mail.ErrSMTPData || s.Reason == mail.ErrSMTPDataClose)
}

// line is the connection of one mail, which the context's end closes.
type line struct {
	*mailer
	ctx    context.Context
	conn   net.Conn
	detach func() bool
}

func (l *line) open(dialling context.Context, network, address string) (net.Conn, error) {
	conn, err := l.dial(dialling, network, address)
	if err != nil {
		return nil, err
	}
	l.conn = conn
	l.detach = context.AfterFunc(l.ctx, func() { _ = conn.Close() })
	if l.config.Security == config.ImplicitTLS {
		return tls.Client(conn, l.tls), nil
	}
	return conn, nil
}

func (l *line) close() {
	if l.conn != nil {
		l.detach()
		_ = l.conn.Close()
	}
}
