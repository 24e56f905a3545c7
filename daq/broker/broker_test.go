package broker

import (
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

func TestStartRefuses(t *testing.T) {
	for name, c := range map[string]struct{ listen, want string }{
		"all addresses":      {":1883", "use 127.0.0.1 here"},
		"all addresses of 4": {"0.0.0.0:0", "use 127.0.0.1 here"},
		"all addresses of 6": {"[::]:0", "use 127.0.0.1 here"},
		"a network address":  {"192.0.2.1:1883", "use 127.0.0.1 here"},
		"a name":             {"broker.north-hall.example:1883", "use 127.0.0.1 here"},
		"no port":            {"127.0.0.1", "write it as 127.0.0.1:1883"},
		"nothing":            {"", "write it as 127.0.0.1:1883"},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := Start(c.listen)
			if err == nil {
				b.Close()
				t.Fatalf("%q was taken", c.listen)
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %q, want %q in it", err, c.want)
			}
		})
	}
}

func TestPortTaken(t *testing.T) {
	b := running(t)
	at := strings.TrimPrefix(b.URL(), "tcp://")
	_, err := Start(at)
	if err == nil || !strings.Contains(err.Error(), "another program has "+at+": stop it, or write broker = \"tcp://"+at+"\" to use that one") {
		t.Errorf("error %v", err)
	}
}

func running(t *testing.T) *Broker {
	t.Helper()
	b, err := Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

func client(t *testing.T, b *Broker, id string, more func(*paho.ClientOptions)) paho.Client {
	t.Helper()
	o := paho.NewClientOptions().AddBroker(b.URL()).SetClientID(id).SetAutoReconnect(false)
	more(o)
	c := paho.NewClient(o)
	done(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func done(t *testing.T, token paho.Token) {
	t.Helper()
	if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		t.Fatalf("broker does not answer: %v", token.Error())
	}
}

// A retained message and a will, MQTT 3.1.1 sections 3.3.1.3 and 3.1.2.5.
func TestRetainedAndWill(t *testing.T) {
	b := running(t)
	rig := client(t, b, "rig", func(o *paho.ClientOptions) { o.SetWill("presence", "down", 1, true) })
	done(t, rig.Publish("presence", 1, true, "up"))
	got := make(chan string, 10)
	ear := client(t, b, "ear", func(*paho.ClientOptions) {})
	done(t, ear.Subscribe("presence", 1, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }))
	expect(t, got, "up", "")
	// A second client of the same identifier throws the first out, section 3.1.4.
	client(t, b, "rig", func(*paho.ClientOptions) {})
	expect(t, got, "down", "up")
}

// expect waits for a message; one that has come already may come once more, as at
// QoS 1 it may: here as retained, and as published a moment before.
func expect(t *testing.T, got <-chan string, want, again string) {
	t.Helper()
	over := time.After(5 * time.Second)
	for {
		select {
		case s := <-got:
			if s == want {
				return
			}
			if s != again {
				t.Fatalf("got %q, want %q", s, want)
			}
		case <-over:
			t.Fatalf("no %q within 5 s", want)
		}
	}
}

func TestCloseTwice(t *testing.T) {
	b := running(t)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
}
