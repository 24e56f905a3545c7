package notify

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
)

// authority makes a certificate for the post office and the CA file that proves
// it.
func authority(t *testing.T, name string) (*tls.Config, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "north-hall"}, DNSNames: []string{name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	must(t, err)
	file := filepath.Join(t.TempDir(), "ca.pem")
	must(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}, file
}

func secretFile(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "secret")
	must(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}

// mailing runs a test with a post office and one receiver of mail in a bubble.
func mailing(t *testing.T, setup func(*postOffice, *config.Notify), body func(*memoryFeed, *postOffice, *Notifier)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		o, post := newMemoryFeed(), newPostOffice(t)
		c := post.receiver("night@north-hall.example")
		if setup != nil {
			setup(post, &c)
		}
		n := notifier(t, o, []config.Notify{c})
		post.connect(n)
		stop := start(n)
		time.Sleep(time.Second)
		body(o, post, n)
		must(t, stop())
	})
}

// The whole mail, as a person reads it.
func TestMail(t *testing.T) {
	mailing(t, nil, func(o *memoryFeed, post *postOffice, n *Notifier) {
		e := transition("water-overheat", "high")
		e.Tripped = true
		o.record(e)
		time.Sleep(time.Second)
		if len(post.mails()) != 1 {
			t.Fatalf("%d mails", len(post.mails()))
		}
		l := post.mails()[0]
		equal(t, "from", l.from, "bench-3@north-hall.example")
		equal(t, "to", l.to, "night@north-hall.example")
		equal(t, "subject", l.subject(), "north-hall bench-3: water-overheat unacknowledged, high priority")
		equal(t, "automatic", l.header.Get("Auto-Submitted"), "auto-generated")
		equal(t, "identity", l.header.Get("Message-Id"), "<"+testRecording+".1-1@flowrigd.invalid>")
		equal(t, "importance", l.header.Get("Importance"), "high")
		equal(t, "text", l.text, `Rig bench-3 at north-hall. Values are in SI units and degrees Celsius, times are UTC.

water-overheat: unacknowledged (high priority)
2000-01-01 00:00:01, value 76.25, limit 75
Cause: The water is too hot.
Consequence: It scalds.
Action: Switch the heater off.
The heating permit is down until a person resets this alarm and gives it again.

`+reminder)
		equal(t, "label", n.Stats()[0].Receiver, "mail smtp.north-hall.example:25")
	})
}

// The first alarm goes at once; those that follow are gathered into one mail.
func TestManyAlarmsAreGathered(t *testing.T) {
	mailing(t, nil, func(o *memoryFeed, post *postOffice, _ *Notifier) {
		for i := range 20 {
			o.raise(fmt.Sprintf("a%d", i), map[bool]string{true: "high", false: "medium"}[i == 7])
			time.Sleep(time.Second)
		}
		time.Sleep(time.Minute)
		if len(post.mails()) != 2 {
			t.Fatalf("%d mails", len(post.mails()))
		}
		equal(t, "first", post.mails()[0].subject(), "north-hall bench-3: a0 unacknowledged, medium priority")
		equal(t, "second", post.mails()[1].subject(), "north-hall bench-3: a7 unacknowledged, high priority, and 18 more")
		equal(t, "all", len(strings.Fields(post.alarms())), 20)
	})
}

// What was mailed without the disk is not mailed again when it is recorded.
func TestMailOnce(t *testing.T) {
	mailing(t, nil, func(o *memoryFeed, post *postOffice, n *Notifier) {
		free := o.hang(true)
		e := transition("water-overheat", "high")
		o.tell(e)
		time.Sleep(time.Second)
		equal(t, "mails", len(post.mails()), 1)
		if !strings.Contains(post.mails()[0].text, "The disk has not recorded this alarm yet.") {
			t.Error(post.mails()[0].text)
		}
		free()
		o.record(e)
		o.raise("head-lost", "high")
		time.Sleep(time.Minute)
		equal(t, "alarms", post.alarms(), "water-overheat:1 head-lost:2")
	})
}

// One address that is refused holds up no other.
func TestRefusedAddress(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, good, bad := newMemoryFeed(), newPostOffice(t), newPostOffice(t)
		bad.script.say = map[string]string{"RCPT": "550 5.1.1 no such person"}
		n := notifier(t, o, []config.Notify{good.receiver("gone@north-hall.example", "night@north-hall.example")})
		n.receivers[0].sender.(*mailer).dial = bad.dial
		n.receivers[1].sender.(*mailer).dial = good.dial
		stop := start(n)
		o.raise("a", "high")
		time.Sleep(time.Hour)
		o.raise("b", "high")
		time.Sleep(time.Minute)
		equal(t, "night", good.alarms(), "a:1 b:2")
		s := n.Stats()
		equal(t, "gone waits", s[0].Waiting, 2)
		equal(t, "labels", s[0].Receiver+", "+s[1].Receiver, "mail smtp.north-hall.example:25, mail smtp.north-hall.example:25 2")
		if !strings.Contains(s[0].Trouble, "no such person") {
			t.Error(s[0].Trouble)
		}
		must(t, stop())
	})
}

// A text that is refused is set aside when a later mail is accepted.
func TestRefusedText(t *testing.T) {
	mailing(t, nil, func(o *memoryFeed, post *postOffice, n *Notifier) {
		free := o.hang(false)
		for i := range mailBatch + 1 {
			o.raise(fmt.Sprintf("a%d", i), "high")
		}
		free()
		talks := 0
		post.set(func(s *script) error {
			if talks++; talks <= 5 {
				s.say = map[string]string{".": "554 5.7.1 not such a text"}
			}
			return nil
		})
		time.Sleep(10 * time.Minute)
		equal(t, "told", post.alarms(), "a50:1")
		equal(t, "set aside", n.Stats()[0].Refused, mailBatch)
	})
}

// An error after the server has taken the mail is no reason to send it again.
func TestErrorAfterDelivery(t *testing.T) {
	for _, verb := range []string{"RSET", "QUIT"} {
		t.Run(verb, func(t *testing.T) {
			mailing(t, func(p *postOffice, _ *config.Notify) { p.script.vanish = verb }, func(o *memoryFeed, post *postOffice, _ *Notifier) {
				o.raise("a", "high")
				time.Sleep(10 * time.Minute)
				equal(t, "mails", len(post.mails()), 1)
			})
		})
	}
}

// A server that breaks off, refuses for a while or says nothing is tried again.
func TestMailIsTriedAgain(t *testing.T) {
	for _, tt := range []struct {
		name string
		bad  script
	}{
		{"vanishes at once", script{vanish: "EHLO"}},
		{"vanishes in the middle", script{vanish: "RCPT"}},
		{"vanishes at the text", script{vanish: "DATA"}},
		{"busy", script{say: map[string]string{"MAIL": "451 4.7.1 try later"}}},
		{"greylisted", script{say: map[string]string{"RCPT": "450 4.2.0 try later"}}},
		{"silent", script{say: map[string]string{"EHLO": "250-and then nothing"}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			mailing(t, nil, func(o *memoryFeed, post *postOffice, _ *Notifier) {
				talks := 0
				post.set(func(s *script) error {
					if talks++; talks <= 3 {
						*s = tt.bad
					}
					return nil
				})
				o.raise("a", "high")
				time.Sleep(5 * time.Minute)
				equal(t, "alarms", post.alarms(), "a:1")
				equal(t, "conversations", talks, 4)
			})
		})
	}
}

// Name and password go over an encrypted line alone, either way of encryption.
func TestMailIsEncrypted(t *testing.T) {
	for _, tt := range []struct {
		name     string
		security config.MailSecurity
	}{{"starttls", config.StartTLS}, {"implicit", config.ImplicitTLS}} {
		t.Run(tt.name, func(t *testing.T) {
			mailing(t, func(p *postOffice, c *config.Notify) {
				p.secure, c.CAFile = authority(t, "smtp.north-hall.example")
				p.script = script{starttls: tt.security == config.StartTLS, implicit: tt.security == config.ImplicitTLS, account: "bench-3:secret"}
				c.Mail.Security, c.Mail.Username, c.Mail.PasswordFile = tt.security, "bench-3", secretFile(t, "secret\n")
			}, func(o *memoryFeed, post *postOffice, n *Notifier) {
				o.raise("a", "high")
				time.Sleep(time.Minute)
				equal(t, "alarms", post.alarms(), "a:1")
				equal(t, "account", post.accounts(), "bench-3+tls")
				equal(t, "trouble", n.Stats()[0].Trouble, "")
			})
		})
	}
}

// Whoever cannot encrypt, or cannot prove who he is, gets neither alarm nor
// password.
func TestMailIsNotGivenAway(t *testing.T) {
	for _, tt := range []struct {
		name    string
		script  script
		certify string
		want    string
	}{
		{"no encryption", script{account: "bench-3:secret"}, "smtp.north-hall.example", "STARTTLS"},
		{"somebody else", script{starttls: true, account: "bench-3:secret"}, "other.north-hall.example", "certificate"},
		{"wrong password", script{starttls: true, account: "bench-3:other"}, "smtp.north-hall.example", "535"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			mailing(t, func(p *postOffice, c *config.Notify) {
				p.secure, c.CAFile = authority(t, tt.certify)
				p.script = tt.script
				c.Mail.Security, c.Mail.Username, c.Mail.PasswordFile = config.StartTLS, "bench-3", secretFile(t, "secret")
			}, func(o *memoryFeed, post *postOffice, n *Notifier) {
				o.raise("a", "high")
				time.Sleep(time.Minute)
				equal(t, "mails", len(post.mails()), 0)
				if s := n.Stats()[0]; !strings.Contains(s.Trouble, tt.want) || s.Waiting != 1 {
					t.Errorf("%+v", s)
				}
			})
		})
	}
}
