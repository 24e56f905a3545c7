package config

import (
	"cmp"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

const webhookExample = "https://desk.north-hall.example/hook"

// maxNotify bounds the receivers: each has a queue and a connection of its own.
const maxNotify = 20

func (l *loader) loadNotify() {
	n := l.root.take("notify")
	if n == nil {
		return
	}
	if n.kind != unstable.ArrayTable && n.kind != unstable.Array || n.kind == unstable.Array && len(n.children) == 0 {
		l.root.bad("notify", n, kindName(n)+" where receivers belong", fmt.Sprintf("write [[notify]] with webhook = %q or mail = {…} below it, once for each receiver", webhookExample))
		return
	}
	if len(n.children) > maxNotify {
		l.report.add(n.children[maxNotify].at, fmt.Sprintf("notify: more than %d receivers", maxNotify), "put several people into one mail, or let one webhook pass them on")
		return
	}
	for _, c := range n.children {
		if !c.isTable() {
			l.root.bad("notify", c, kindName(c)+" where a receiver belongs", fmt.Sprintf("write {webhook = %q} or {mail = {…}}", webhookExample))
			continue
		}
		if c.at == (place{}) {
			c.at = c.value
		}
		l.config.Notify = append(l.config.Notify, l.receiver(newSection(c, "notify", l.report)))
	}
}

func (l *loader) receiver(s *section) (r Notify) {
	kind := s.exactlyOne("the receiver", "webhook", "mail")
	if kind == "webhook" {
		r.Webhook = s.webhook()
		r.TokenFile = l.fileOf(s, "token_file", "hook.token")
		// Everybody on the way could read it.
		if u, err := url.Parse(r.Webhook); err == nil && r.TokenFile != "" && u.Scheme == "http" && !IsLoopback(u.Hostname()) {
			s.ok = false
			s.report.add(s.place("token_file"), "notify.token_file: the token would go over the network in the clear", "write webhook = \"https://…\", or leave token_file out")
		}
	}
	if kind == "mail" {
		r.Mail = below(s, "mail", l.mail)
	}
	r.CAFile = l.fileOf(s, "ca_file", "ca.pem")
	r.Priorities = s.priorities()
	s.done()
	s.checkEncryption(&r)
	l.checkReceiver(s, &r)
	return r
}

func (s *section) webhook() string {
	text, n := s.text("webhook", webhookExample)
	if n == nil {
		return ""
	}
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "" || u.Port() != "" && !portNumber(u.Port(), 1):
		s.bad("webhook", n, quoted(text)+" is not the address of a webhook", fmt.Sprintf("write one such as %q", webhookExample))
	case u.User != nil:
		s.bad("webhook", n, "the address holds a name or a password", "write token_file, the name of a file with the receiver's token")
	case u.Fragment != "":
		s.bad("webhook", n, quoted(text)+": what follows # is never sent", "leave # and what follows out")
	case u.Scheme == "http" && !IsLoopback(u.Hostname()) && s.node.child("token_file") == nil:
		s.report.warn(n.value, "notify.webhook: alarms go over the network in the clear, and nobody proves to be the receiver", "write https://…")
	}
	return text
}

func (s *section) priorities() []string {
	if s.take("priorities") == nil {
		return []string{"high", "medium"}
	}
	const remedy = `write some of "high", "medium", "low", such as priorities = ["high", "medium"]`
	return s.texts("priorities", func(text string) bool { return slices.Contains(priorities, text) }, "priorities", "a priority", remedy, remedy)
}

// texts reads a list of texts that are each right and stand there once; many and one
// name them.
func (s *section) texts(key string, right func(string) bool, many, one, remedyList, remedy string) (list []string) {
	n := s.take(key)
	if n.kind != unstable.Array || len(n.children) == 0 {
		s.bad(key, n, "no list of "+many, remedyList)
		return nil
	}
	for _, c := range n.children {
		switch {
		case c.kind != unstable.String:
			s.bad(key, c, kindName(c)+" is not "+one, remedy)
		case !right(c.text):
			s.bad(key, c, quoted(c.text)+" is not "+one, remedy)
		case slices.Contains(list, c.text):
			s.bad(key, c, quoted(c.text)+" stands here twice", "write it once")
		default:
			list = append(list, c.text)
		}
	}
	return list
}

func (l *loader) mail(s *section) *Mail {
	const example = "bench-3@north-hall.example"
	m := &Mail{To: s.addresses()}
	from, n := s.requiredText("from", example, fmt.Sprintf("write from = %q", example))
	if n != nil && !isAddress(from) {
		s.bad("from", n, quoted(from)+" is not an address", fmt.Sprintf("write one such as %q", example))
	}
	m.From, m.Server = from, s.mailServer()
	ways := []string{"starttls", "tls", "none"}
	if strings.HasSuffix(m.Server, ":465") {
		ways[0], ways[1] = ways[1], ways[0] // the port of implicit TLS (RFC 8314, 7.3)
	}
	m.Security = map[string]MailSecurity{"starttls": StartTLS, "tls": ImplicitTLS, "none": ClearText}[s.choice("security", ways...)]
	m.Username = s.username()
	m.PasswordFile = l.fileOf(s, "password_file", "mail.secret")
	s.checkMail(m)
	return m
}

func (s *section) addresses() []string {
	const example = "technician@north-hall.example"
	remedy := fmt.Sprintf("write to = [%q]", example)
	if s.take("to") == nil {
		s.missing("to", remedy)
		return nil
	}
	return s.texts("to", isAddress, "addresses", "an address", remedy, fmt.Sprintf("write one such as %q", example))
}

// isAddress reports a bare address, without the name of a person.
func isAddress(text string) bool {
	a, err := mail.ParseAddress(text)
	return err == nil && a.Name == "" && a.Address == text && strings.Contains(text, "@")
}

// mailServer reads the server that takes mail; 587 is the usual port of
// submission (RFC 6409, 3.1).
func (s *section) mailServer() string {
	const example = "smtp.north-hall.example:587"
	text, n := s.requiredText("server", example, fmt.Sprintf("write server = %q", example))
	if n == nil {
		return ""
	}
	if !strings.Contains(text, ":") {
		text += ":587"
	}
	host, port, err := net.SplitHostPort(text)
	if err != nil || host == "" || !portNumber(port, 1) || strings.ContainsAny(host, " /@") {
		s.bad("server", n, quoted(n.text)+" is not the address of a mail server", fmt.Sprintf("write host:port, such as %q", example))
	}
	return text
}

// checkMail holds account and encryption against one another.
func (s *section) checkMail(m *Mail) {
	switch {
	case m.Username != "" && m.PasswordFile == "":
		s.report.add(s.place("username"), s.path("username")+": a user name without a password", "write password_file too, or leave username out")
	case m.PasswordFile != "" && m.Username == "":
		s.report.add(s.place("password_file"), s.path("password_file")+": a password without a user name", "write username too, or leave password_file out")
	case m.Security == ClearText && m.Username != "":
		s.report.add(s.place("security"), s.path("security")+": the password would go over the network in the clear", `write security = "starttls" or "tls", or leave username and password_file out`)
	}
}

// checkEncryption holds the certificate against the way of speaking, and warns
// of mail in the clear.
func (s *section) checkEncryption(r *Notify) {
	clear := r.Mail != nil && r.Mail.Security == ClearText || strings.HasPrefix(r.Webhook, "http:")
	if r.CAFile != "" && clear {
		s.report.add(s.place("ca_file"), "notify.ca_file: unused, the connection is not encrypted", "write an encrypted address or security, or leave ca_file out")
	}
	if r.Mail == nil || r.Mail.Security != ClearText || r.Mail.Username != "" {
		return
	}
	if host, _, err := net.SplitHostPort(r.Mail.Server); err == nil && !IsLoopback(host) {
		s.report.warn(newSection(s.node.child("mail"), "", s.report).place("security"), "notify.mail.security: alarms go over the network in the clear", `write security = "starttls" or "tls"`)
	}
}

// checkReceiver refuses a receiver that stands there already: how far each has
// been told is kept by its address.
func (l *loader) checkReceiver(s *section, r *Notify) {
	for _, other := range l.config.Notify {
		for _, a := range other.Addresses() {
			if a != "" && slices.Contains(r.Addresses(), a) {
				l.report.add(s.node.at, "notify: "+a+" stands here twice", "write it once, with all its priorities")
			}
		}
	}
}

// Addresses are those that are told, each by itself: the webhook, or the
// addresses of a mail. A webhook's may hold a secret and belongs into no log.
func (r *Notify) Addresses() []string {
	if r.Mail == nil {
		return []string{r.Webhook}
	}
	return r.Mail.To
}

// Host is the host and port by which people know the receiver.
func (r *Notify) Host() string {
	if r.Mail != nil {
		return r.Mail.Server
	}
	if u, err := url.Parse(r.Webhook); err == nil {
		return cmp.Or(u.Host, r.Webhook)
	}
	return r.Webhook
}
