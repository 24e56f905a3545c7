//go:build unix

package daqtest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// Topics is what stands before every topic of the test rig.
const Topics = "flowrig/north-hall/bench-3/"

// patience is for a broker on a loaded machine; only ever spent when something
// is broken.
const patience = 10 * time.Second

// Mosquitto is a real broker, which nobody here wrote, on a loopback port of its
// own. With "persistence true" it keeps sessions and retained messages over an
// orderly end.
type Mosquitto struct {
	At, Port string // host:port, and the port
	t        testing.TB
	conf     string
	closed   bool // it refuses strangers
	cmd      *exec.Cmd
}

// NewMosquitto writes a broker's configuration, with more behind it; Start makes
// it listen.
func NewMosquitto(t testing.TB, more string) *Mosquitto {
	t.Helper()
	dir := t.TempDir()
	m := &Mosquitto{At: FreeAddress(t), t: t, conf: filepath.Join(dir, "broker.conf"), closed: strings.Contains(more, "password_file")}
	_, m.Port, _ = net.SplitHostPort(m.At)
	m.write(fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous %t\nuser root\npersistence_location %s/\nlog_dest none\n%s\n", m.Port, !m.closed, dir, more))
	t.Cleanup(func() {
		m.Signal(syscall.SIGCONT)
		m.Stop(syscall.SIGKILL)
	})
	return m
}

// StartMosquitto starts a broker.
func StartMosquitto(t testing.TB, more string) *Mosquitto {
	t.Helper()
	m := NewMosquitto(t, more)
	m.Start()
	return m
}

func (m *Mosquitto) write(conf string) {
	m.t.Helper()
	Must(m.t, os.WriteFile(m.conf, []byte(conf), 0o600))
}

// Extend adds to the configuration and starts the broker anew.
func (m *Mosquitto) Extend(more string) {
	m.t.Helper()
	text, err := os.ReadFile(m.conf)
	Must(m.t, err)
	m.write(string(text) + more + "\n")
	m.Stop(syscall.SIGTERM)
	m.Start()
}

// URL is where clients find the broker.
func (m *Mosquitto) URL() string { return "tcp://" + m.At }

// Start makes the broker listen.
func (m *Mosquitto) Start() {
	m.t.Helper()
	m.cmd = exec.Command(Program(m.t, "mosquitto", "mosquitto"), "-c", m.conf)
	Must(m.t, m.cmd.Start())
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		c, err := net.Dial("tcp", m.At)
		if err == nil {
			c.Close()
			break
		}
		if time.Now().After(deadline) {
			m.t.Fatalf("mosquitto does not listen within %v: %v", patience, err)
		}
	}
	if !m.closed {
		m.run("mosquitto_pub", "-r", "-t", ready, "-m", "yes")
	}
}

// Signal sends a signal to a broker that runs.
func (m *Mosquitto) Signal(s syscall.Signal) {
	if m.cmd != nil {
		_ = m.cmd.Process.Signal(s)
	}
}

// Stop ends the broker by a signal.
func (m *Mosquitto) Stop(s syscall.Signal) {
	if m.cmd == nil {
		return
	}
	m.Signal(s)
	_ = m.cmd.Wait()
	m.cmd = nil
}

// client is one of the broker's own tools.
func (m *Mosquitto) client(name string, args ...string) *exec.Cmd {
	m.t.Helper()
	return exec.Command(Program(m.t, name, "mosquitto-clients"), append([]string{"-h", "127.0.0.1", "-p", m.Port, "-q", "1"}, args...)...)
}

func (m *Mosquitto) run(name string, args ...string) {
	m.t.Helper()
	if out, err := m.client(name, args...).CombinedOutput(); err != nil {
		m.t.Fatalf("%s: %v: %s", name, err, out)
	}
}

// Retain leaves a message under a topic below the rig's, as anybody may.
func (m *Mosquitto) Retain(topic, body string) {
	m.t.Helper()
	m.run("mosquitto_pub", "-r", "-t", Topics+topic, "-m", body)
}

// Retained is what a subscriber that comes now gets at once; empty after 2 s.
func (m *Mosquitto) Retained(topic string) Message {
	m.t.Helper()
	out, _ := m.client("mosquitto_sub", "--retained-only", "-C", "1", "-W", "2", "-F", "%r %p", "-t", Topics+topic).Output()
	flag, body, _ := strings.Cut(strings.TrimSpace(string(out)), " ")
	return Message{Retained: flag == "1", Topic: topic, Body: body}
}

// Remember makes a session at the broker that outlives it: what is published for
// it while it is away waits.
func (m *Mosquitto) Remember(name, topic string) {
	m.t.Helper()
	m.Start()
	m.run("mosquitto_sub", "-c", "-i", name, "-E", "-t", Topics+topic)
	m.Stop(syscall.SIGTERM)
}

// ready is a retained topic beside the rig's: who gets it has subscribed.
const ready = "ready"

// Message is one message as a subscriber got it.
type Message struct {
	At          time.Time
	Retained    bool
	Topic, Body string // the topic below the rig's
}

// Field reads a member of the body; nil when there is none.
func (m Message) Field(name string) any {
	var object map[string]any
	_ = json.Unmarshal([]byte(m.Body), &object)
	return object[name]
}

// Listener is mosquitto_sub with what it heard.
type Listener struct {
	t   testing.TB
	mu  sync.Mutex
	all []Message
}

// Listen subscribes to topics below the rig's until the test ends, and waits
// until the subscription holds.
func (m *Mosquitto) Listen(filter string, flags ...string) *Listener {
	m.t.Helper()
	cmd := m.client("mosquitto_sub", append([]string{"-F", "%U %r %t %p", "-t", Topics + filter, "-t", ready}, flags...)...)
	out, err := cmd.StdoutPipe()
	Must(m.t, err)
	Must(m.t, cmd.Start())
	l := &Listener{t: m.t}
	subscribed, done := make(chan struct{}), make(chan struct{})
	go l.hear(out, subscribed, done)
	m.t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-done
		_ = cmd.Wait()
	})
	select {
	case <-subscribed:
	case <-time.After(patience):
		m.t.Fatalf("mosquitto_sub did not subscribe to %s within %v", filter, patience)
	}
	return l
}

// hear reads the lines of mosquitto_sub: time, whether retained, topic, body.
func (l *Listener) hear(out io.Reader, subscribed, done chan struct{}) {
	defer close(done)
	once := sync.OnceFunc(func() { close(subscribed) })
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		parts := strings.SplitN(lines.Text(), " ", 4)
		if len(parts) < 4 {
			continue
		}
		if parts[2] == ready {
			once()
			continue
		}
		seconds, err := strconv.ParseFloat(parts[0], 64)
		if err != nil {
			continue
		}
		l.mu.Lock()
		l.all = append(l.all, Message{time.UnixMicro(int64(seconds * 1e6)), parts[1] == "1", strings.TrimPrefix(parts[2], Topics), parts[3]})
		l.mu.Unlock()
	}
}

// On gives what came so far on a topic; "" is all topics.
func (l *Listener) On(topic string) []Message {
	l.mu.Lock()
	defer l.mu.Unlock()
	var some []Message
	for _, m := range l.all {
		if topic == "" || m.Topic == topic {
			some = append(some, m)
		}
	}
	return some
}

// Newest is the last message on a topic; empty when there is none.
func (l *Listener) Newest(topic string) Message {
	all := l.On(topic)
	if len(all) == 0 {
		return Message{}
	}
	return all[len(all)-1]
}

// Await waits until a message that came on a topic holds a text, and gives the
// first one that does.
func (l *Listener) Await(topic, text string, limit time.Duration) Message {
	l.t.Helper()
	return l.await(limit, topic+" with "+text, func() []Message { return l.On(topic) }, text)
}

// AwaitNewest waits until the newest message on a topic holds a text.
func (l *Listener) AwaitNewest(topic, text string, limit time.Duration) Message {
	l.t.Helper()
	return l.await(limit, "as the newest "+topic+" with "+text, func() []Message { return []Message{l.Newest(topic)} }, text)
}

func (l *Listener) await(limit time.Duration, what string, among func() []Message, text string) Message {
	l.t.Helper()
	for deadline := time.Now().Add(limit); ; time.Sleep(20 * time.Millisecond) {
		for _, m := range among() {
			if strings.Contains(m.Body, text) {
				return m
			}
		}
		if time.Now().After(deadline) {
			l.t.Fatalf("not within %v: %s", limit, what)
		}
	}
}
