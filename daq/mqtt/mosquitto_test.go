//go:build unix

package mqtt

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

func TestMain(m *testing.M) {
	daqtest.AtOnce("8")
	os.Exit(m.Run())
}

// external finds a program of the system; without it the test is skipped, or
// fails where FLOWRIG_REQUIRE=1.
func external(t testing.TB, name string) string {
	t.Helper()
	for _, path := range []string{name, "/usr/sbin/" + name} {
		if found, err := exec.LookPath(path); err == nil {
			return found
		}
	}
	if os.Getenv("FLOWRIG_REQUIRE") == "1" {
		t.Fatalf("%s is not installed", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// mosquitto is a real broker on a port of its own.
type mosquitto struct {
	t       testing.TB
	program string
	conf    string
	port    string
	closed  bool // it refuses strangers
	cmd     *exec.Cmd
}

// startMosquitto starts a broker; more is added to its configuration.
func startMosquitto(t testing.TB, more string) *mosquitto {
	t.Helper()
	m := &mosquitto{t: t, program: external(t, "mosquitto"), port: freePort(t)}
	dir := t.TempDir()
	m.conf = filepath.Join(dir, "broker.conf")
	m.closed = strings.Contains(more, "password_file")
	text := fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous %t\nuser root\npersistence_location %s/\nlog_dest stderr\n%s\n", m.port, !m.closed, dir, more)
	if err := os.WriteFile(m.conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	t.Cleanup(func() {
		m.signal(syscall.SIGCONT)
		m.stop(syscall.SIGKILL)
	})
	return m
}

// extend adds to the configuration and starts the broker anew.
func (m *mosquitto) extend(more string) {
	m.t.Helper()
	text, err := os.ReadFile(m.conf)
	if err != nil {
		m.t.Fatal(err)
	}
	if err := os.WriteFile(m.conf, append(text, more+"\n"...), 0o600); err != nil {
		m.t.Fatal(err)
	}
	m.stop(syscall.SIGTERM)
	m.start()
}

// freePort is a port of 127.0.0.1 for a broker of the test's own.
func freePort(t testing.TB) string {
	t.Helper()
	_, port, _ := net.SplitHostPort(daqtest.FreeAddress(t))
	return port
}

func (m *mosquitto) address() string { return "127.0.0.1:" + m.port }

func (m *mosquitto) url() string { return "tcp://" + m.address() }

func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(m.program, "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	until(m.t, "broker listens", 5*time.Second, func() bool {
		c, err := net.Dial("tcp", m.address())
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	pub := exec.Command(external(m.t, "mosquitto_pub"), "-h", "127.0.0.1", "-p", m.port, "-r", "-t", ready, "-m", "yes")
	if out, err := pub.CombinedOutput(); err != nil && !m.closed {
		m.t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

func (m *mosquitto) signal(s syscall.Signal) {
	if m.cmd != nil {
		_ = m.cmd.Process.Signal(s)
	}
}

func (m *mosquitto) stop(s syscall.Signal) {
	if m.cmd == nil {
		return
	}
	m.signal(s)
	_ = m.cmd.Wait()
	m.cmd = nil
}

// ready is a retained topic beside the rig's: who gets it has subscribed.
const ready = "ready"

// heard is one message at a subscriber.
type heard struct {
	retained    bool
	topic, body string
}

// ear is a subscriber of the broker's own tools.
type ear struct {
	t   testing.TB
	mu  sync.Mutex
	all []heard
}

// listen subscribes to a filter below the rig's topic and waits for the
// subscription to hold.
func (m *mosquitto) listen(filter string, more ...string) *ear {
	m.t.Helper()
	args := append([]string{"-h", "127.0.0.1", "-p", m.port, "-q", "1", "-F", "MSG %r %t %p",
		"-t", "flowrig/north-hall/bench-3/" + filter, "-t", ready}, more...)
	cmd := exec.Command(external(m.t, "mosquitto_sub"), args...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		m.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	e := &ear{t: m.t}
	subscribed := make(chan struct{})
	done := make(chan struct{})
	go e.read(bufio.NewScanner(out), subscribed, done)
	m.t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-done
		_ = cmd.Wait()
	})
	select {
	case <-subscribed:
	case <-time.After(5 * time.Second):
		m.t.Fatal("mosquitto_sub did not subscribe within 5 s")
	}
	return e
}

func (e *ear) read(lines *bufio.Scanner, subscribed, done chan struct{}) {
	defer close(done)
	var once sync.Once
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		line := lines.Text()
		parts := strings.SplitN(line, " ", 4)
		switch {
		case len(parts) < 4:
		case parts[2] == ready:
			once.Do(func() { close(subscribed) })
		default:
			topic := strings.TrimPrefix(parts[2], "flowrig/north-hall/bench-3/")
			e.mu.Lock()
			e.all = append(e.all, heard{parts[1] == "1", topic, parts[3]})
			e.mu.Unlock()
		}
	}
}

// messages gives what came so far on a topic; "" is all topics.
func (e *ear) messages(topic string) []heard {
	e.mu.Lock()
	defer e.mu.Unlock()
	var some []heard
	for _, h := range e.all {
		if topic == "" || h.topic == topic {
			some = append(some, h)
		}
	}
	return some
}

// last is the newest message on a topic.
func (e *ear) last(topic string) heard {
	all := e.messages(topic)
	if len(all) == 0 {
		return heard{}
	}
	return all[len(all)-1]
}

// await waits for a message on a topic whose body holds a text.
func (e *ear) await(topic, text string, limit time.Duration) heard {
	e.t.Helper()
	var found heard
	until(e.t, topic+" with "+text, limit, func() bool {
		for _, h := range e.messages(topic) {
			if strings.Contains(h.body, text) {
				found = h
				return true
			}
		}
		return false
	})
	return found
}
