package notify

import (
	"bufio"
	"context"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"flowrigd/config"
)

var errAway = errors.New("connection refused")

// script is what a post office does in one conversation. Its zero value takes
// every mail without encryption and without accounts.
type script struct {
	starttls bool
	implicit bool              // encrypted from the first byte
	account  string            // user:password; "" for none
	say      map[string]string // answer to a command instead of the usual one
	vanish   string            // the command on which the connection ends
}

// postOffice is a small mail server (RFC 5321) for one test.
type postOffice struct {
	secure *tls.Config
	mu     sync.Mutex
	script script
	open   func(*script) error // gives the script of the next conversation, or is away
	got    []*letter
	who    []string // accounts that were used, "" for none; with "+tls" on an encrypted line
	wg     sync.WaitGroup
}

type letter struct {
	from, to string
	header   mail.Header
	text     string
}

func newPostOffice(t *testing.T) *postOffice {
	p := &postOffice{}
	t.Cleanup(p.wg.Wait)
	return p
}

func (p *postOffice) receiver(to ...string) config.Notify {
	return config.Notify{
		Mail:       &config.Mail{To: to, From: "bench-3@north-hall.example", Server: "smtp.north-hall.example:25", Security: config.ClearText},
		Priorities: []string{"high", "medium"},
	}
}

// connect puts the post office at the end of every mailer's line.
func (p *postOffice) connect(n *Notifier) {
	for _, r := range n.receivers {
		if m, ok := r.sender.(*mailer); ok {
			m.dial = p.dial
		}
	}
}

func (p *postOffice) set(open func(*script) error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.open = open
}

func (p *postOffice) dial(context.Context, string, string) (net.Conn, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	s := p.script
	if p.open != nil {
		if err := p.open(&s); err != nil {
			return nil, err
		}
	}
	here, there := net.Pipe()
	p.wg.Go(func() { p.serve(there, s) })
	return here, nil
}

// conversation is one connection of a client.
type conversation struct {
	*postOffice
	script
	conn net.Conn
	in   *bufio.Reader
	who  string
	mail letter
}

func (p *postOffice) serve(conn net.Conn, s script) {
	defer conn.Close()
	c := &conversation{postOffice: p, script: s, conn: conn, in: bufio.NewReader(conn)}
	if s.implicit {
		c.encrypt()
	}
	c.answer("220 smtp.north-hall.example")
	for {
		line, err := c.in.ReadString('\n')
		if err != nil || !c.obey(strings.TrimSpace(line)) {
			return
		}
	}
}

func (c *conversation) answer(text string) { fmt.Fprintf(c.conn, "%s\r\n", text) }

// obey does a command; false ends the conversation.
func (c *conversation) obey(line string) bool {
	verb, rest, _ := strings.Cut(line, " ")
	verb = strings.ToUpper(verb)
	if verb == c.vanish {
		return false
	}
	if said, ok := c.say[verb]; ok {
		c.answer(said)
		return true
	}
	switch verb {
	case "EHLO":
		c.greet()
	case "STARTTLS":
		c.answer("220 go ahead")
		c.encrypt()
	case "AUTH":
		c.login(rest)
	case "MAIL":
		c.mail.from = address(rest)
		c.answer("250 ok")
	case "RCPT":
		c.mail.to = address(rest)
		c.answer("250 ok")
	case "DATA":
		c.take()
	case "QUIT":
		c.answer("221 bye")
		return false
	default:
		c.answer("250 ok")
	}
	return true
}

func (c *conversation) encrypt() {
	c.conn = tls.Server(c.conn, c.secure)
	c.in, c.starttls, c.who = bufio.NewReader(c.conn), false, "+tls"
}

func (c *conversation) greet() {
	lines := []string{"smtp.north-hall.example", "8BITMIME"}
	if c.starttls {
		lines = append(lines, "STARTTLS")
	}
	if c.account != "" {
		lines = append(lines, "AUTH PLAIN LOGIN")
	}
	for i, l := range lines {
		sign := "-"
		if i == len(lines)-1 {
			sign = " "
		}
		c.answer("250" + sign + l)
	}
}

// login is AUTH PLAIN (RFC 4616).
func (c *conversation) login(rest string) {
	_, code, _ := strings.Cut(rest, " ")
	text, err := base64.StdEncoding.DecodeString(code)
	user, password, _ := strings.Cut(strings.TrimPrefix(string(text), "\x00"), "\x00")
	if err != nil || user+":"+password != c.account {
		c.answer("535 5.7.8 wrong name or password")
		return
	}
	c.who = user + c.who
	c.answer("235 welcome")
}

func (c *conversation) take() {
	c.answer("354 go ahead")
	var b strings.Builder
	for {
		line, err := c.in.ReadString('\n')
		if err != nil {
			return
		}
		if line == ".\r\n" {
			break
		}
		b.WriteString(strings.TrimPrefix(line, "."))
	}
	if said, ok := c.say["."]; ok {
		c.answer(said)
		return
	}
	c.mail.read(b.String())
	l := c.mail
	c.mu.Lock()
	c.got = append(c.got, &l)
	c.postOffice.who = append(c.postOffice.who, c.who)
	c.mu.Unlock()
	c.answer("250 taken")
}

// read takes a mail apart with the standard library.
func (l *letter) read(raw string) {
	m, err := mail.ReadMessage(strings.NewReader(raw))
	if err != nil {
		l.text = "unreadable: " + err.Error()
		return
	}
	body := io.Reader(m.Body)
	if m.Header.Get("Content-Transfer-Encoding") == "quoted-printable" {
		body = quotedprintable.NewReader(body)
	}
	text, err := io.ReadAll(body)
	if err != nil {
		text = []byte("unreadable: " + err.Error())
	}
	l.header, l.text = m.Header, strings.ReplaceAll(string(text), "\r\n", "\n")
}

func (l *letter) subject() string {
	text, err := new(mime.WordDecoder).DecodeHeader(l.header.Get("Subject"))
	if err != nil {
		return err.Error()
	}
	return text
}

func address(rest string) string {
	_, rest, _ = strings.Cut(rest, "<")
	rest, _, _ = strings.Cut(rest, ">")
	return rest
}

func (p *postOffice) mails() []*letter {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.got)
}

func (p *postOffice) accounts() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.who, " ")
}

var mailed = regexp.MustCompile(`(?m)^([a-z0-9-]+): unacknowledged`)

// alarms are the names in all mails in order, numbered as they come.
func (p *postOffice) alarms() string {
	var list []string
	for _, l := range p.mails() {
		for _, m := range mailed.FindAllStringSubmatch(l.text, -1) {
			list = append(list, fmt.Sprintf("%s:%d", m[1], len(list)+1))
		}
	}
	return strings.Join(list, " ")
}
