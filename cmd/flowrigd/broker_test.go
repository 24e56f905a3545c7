//go:build unix

package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// mosquitto is a real broker on a loopback port of its own.
type mosquitto struct {
	t    *testing.T
	at   string // host:port
	conf string
	run  *process
}

// newMosquitto writes a broker's configuration; start makes it listen. It keeps
// sessions and retained messages over a restart.
func newMosquitto(t *testing.T) *mosquitto {
	t.Helper()
	need(t, "mosquitto", "mosquitto")
	dir := t.TempDir()
	m := &mosquitto{t: t, at: daqtest.FreeAddress(t), conf: filepath.Join(dir, "broker.conf")}
	_, port, _ := net.SplitHostPort(m.at)
	write(t, m.conf, fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous true\nuser root\npersistence true\npersistence_location %s/\nlog_dest none\n", port, dir))
	return m
}

// startMosquitto starts a broker.
func startMosquitto(t *testing.T) *mosquitto {
	t.Helper()
	m := newMosquitto(t)
	m.start()
	return m
}

func (m *mosquitto) start() {
	m.t.Helper()
	m.run = start(m.t, need(m.t, "mosquitto", "mosquitto"), "-c", m.conf)
	within(m.t, 10*time.Second, "mosquitto listens", func() bool {
		c, err := net.Dial("tcp", m.at)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	host, port, _ := net.SplitHostPort(m.at)
	if out, err := exec.Command(need(m.t, "mosquitto_pub", "mosquitto-clients"), "-h", host, "-p", port, "-r", "-t", ready, "-m", "yes").CombinedOutput(); err != nil {
		m.t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

// ready is a retained topic beside the rig's: who gets it has subscribed.
const ready = "ready"

func (m *mosquitto) url() string { return "tcp://" + m.at }

// told is one message as a subscriber got it.
type told struct {
	at          time.Time
	retained    bool
	topic, body string // the topic below the rig's
}

// field reads a member of the body; nil when there is none.
func (m told) field(name string) any {
	var object map[string]any
	_ = json.Unmarshal([]byte(m.body), &object)
	return object[name]
}

// listener is mosquitto_sub, which nobody here wrote, with what it heard.
type listener struct {
	t   *testing.T
	mu  sync.Mutex
	all []told
}

const topicRoot = "flowrig/north-hall/bench-3/"

// listen subscribes to topics below the rig's until the test ends, and waits
// until the subscription holds.
func (m *mosquitto) listen(filter string, flags ...string) *listener {
	m.t.Helper()
	host, port, _ := net.SplitHostPort(m.at)
	args := append([]string{"-h", host, "-p", port, "-q", "1", "-F", "%U %r %t %p", "-t", topicRoot + filter, "-t", ready}, flags...)
	cmd := exec.Command(need(m.t, "mosquitto_sub", "mosquitto-clients"), args...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		m.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	l := &listener{t: m.t}
	subscribed, done := make(chan struct{}), make(chan struct{})
	go l.hear(out, subscribed, done)
	m.t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-done
		_ = cmd.Wait()
	})
	select {
	case <-subscribed:
	case <-time.After(10 * time.Second):
		m.t.Fatalf("mosquitto_sub did not subscribe to %s within 10 s", filter)
	}
	return l
}

// hear reads the lines of mosquitto_sub: time, whether retained, topic, body.
func (l *listener) hear(out io.Reader, subscribed, done chan struct{}) {
	defer close(done)
	var once sync.Once
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		parts := strings.SplitN(lines.Text(), " ", 4)
		if len(parts) < 4 {
			continue
		}
		if parts[2] == ready {
			once.Do(func() { close(subscribed) })
			continue
		}
		seconds, err := strconv.ParseFloat(parts[0], 64)
		if err != nil {
			continue
		}
		l.mu.Lock()
		l.all = append(l.all, told{time.UnixMicro(int64(seconds * 1e6)), parts[1] == "1", strings.TrimPrefix(parts[2], topicRoot), parts[3]})
		l.mu.Unlock()
	}
}

// on gives what came so far on a topic.
func (l *listener) on(topic string) []told {
	l.mu.Lock()
	defer l.mu.Unlock()
	var some []told
	for _, m := range l.all {
		if m.topic == topic {
			some = append(some, m)
		}
	}
	return some
}

// newest is the last message on a topic; empty when there is none.
func (l *listener) newest(topic string) told {
	all := l.on(topic)
	if len(all) == 0 {
		return told{}
	}
	return all[len(all)-1]
}

// await waits until the newest message on a topic holds a text.
func (l *listener) await(topic, text string, limit time.Duration) told {
	l.t.Helper()
	within(l.t, limit, topic+" with "+text, func() bool { return strings.Contains(l.newest(topic).body, text) })
	return l.newest(topic)
}

// brokerTable is a table mqtt.
func brokerTable(broker string, keepAlive time.Duration) string {
	return fmt.Sprintf("[mqtt]\nbroker = %q\nkeep_alive = \"%g s\"\n", broker, keepAlive.Seconds())
}

// A real Mosquitto holds state and presence for who comes later, and tells of a
// daemon's sudden end and of one that hangs.
func TestMosquittoTellsOfTheEnd(t *testing.T) {
	t.Parallel()
	const keepAlive = 5 * time.Second
	m := startMosquitto(t)
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	simulated(t, dir)
	config := rigConfig(t, dir, at, brokerTable(m.url(), keepAlive))
	presence := m.listen("presence")

	d := start(t, program, "run", "--config", config)
	presence.await("presence", `"up":true`, 15*time.Second)
	within(t, 15*time.Second, "good instruments", func() bool { return allGood(now(at)) })
	within(t, 10*time.Second, "a retained state with a Reynolds number", func() bool {
		return m.retained("state").field("reynolds_number") != nil
	})

	d.signal(syscall.SIGKILL)
	presence.await("presence", `"up":false`, 2*time.Second)
	<-d.done
	if s := m.retained("state"); !s.retained || s.field("rig") != "bench-3" || s.field("recording") == nil {
		t.Errorf("with the daemon gone a new subscriber gets the state %+v, want a retained one", s)
	}
	if p := m.retained("presence"); !p.retained || p.field("up") != false {
		t.Errorf("with the daemon gone a new subscriber gets the presence %+v, want a retained false", p)
	}

	d = start(t, program, "run", "--config", config)
	presence.await("presence", `"up":true`, 15*time.Second)
	d.signal(syscall.SIGSTOP)
	stopped := time.Now()
	presence.await("presence", `"up":false`, 2*keepAlive)
	t.Logf("presence told of the suspended daemon after %v, keep-alive %v", time.Since(stopped).Round(10*time.Millisecond), keepAlive)
	d.signal(syscall.SIGCONT)
	presence.await("presence", `"up":true`, 15*time.Second)

	if code := d.end(); code != 0 {
		t.Errorf("after SIGTERM the daemon ended with %d, want 0", code)
	}
	presence.await("presence", `"up":false`, 2*time.Second)
}

// retained is what a subscriber that comes now gets at once; empty after 2 s.
func (m *mosquitto) retained(topic string) told {
	m.t.Helper()
	host, port, _ := net.SplitHostPort(m.at)
	out, _ := exec.Command(need(m.t, "mosquitto_sub", "mosquitto-clients"), "-h", host, "-p", port,
		"--retained-only", "-C", "1", "-W", "2", "-F", "%r %p", "-t", topicRoot+topic).Output()
	flag, body, _ := strings.Cut(strings.TrimSpace(string(out)), " ")
	return told{retained: flag == "1", topic: topic, body: body}
}

// A broker that is down at the start keeps nobody from watching the rig;
// /readyz says so, broker-lost is raised, and when it comes everything recorded
// meanwhile arrives, in order, and the alarm ends.
func TestBrokerComesLater(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t)
	m.rememberSubscriber("witness", "record")
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	simulated(t, dir)
	start(t, program, "run", "--config", rigConfig(t, dir, at, brokerTable(m.url(), 10*time.Second)+"\n[alarms.broker-lost]\non_delay = \"2 s\"\n"))
	within(t, 15*time.Second, "a live state without a broker", func() bool { return allGood(now(at)) && now(at)["reynolds_number"] != nil })
	status, body := get("http://" + at + "/readyz")
	if status != 503 || !strings.Contains(body, `"detail":"not ready: broker"`) || !strings.Contains(body, "connection refused") {
		t.Errorf("/readyz without a broker says %d %s", status, body)
	}
	lost := func() string {
		list, _ := now(at)["alarms"].([]any)
		for _, a := range list {
			if a, _ := a.(map[string]any); a["name"] == "broker-lost" {
				return fmt.Sprint(a["state"])
			}
		}
		return ""
	}
	within(t, 15*time.Second, "broker-lost", func() bool { return lost() == "unacknowledged" })
	within(t, 15*time.Second, "three rows on disk", func() bool { n, _ := now(at)["sequence"].(float64); return n >= 3 })

	m.start()
	rest := m.listen("#")
	records := m.listen("record", "-c", "-i", "witness")
	within(t, 20*time.Second, "five records", func() bool { return len(records.on("record")) >= 5 })
	for i, r := range records.on("record") {
		if r.field("sequence") != float64(i+1) {
			t.Errorf("message %d on record has the sequence %v", i+1, r.field("sequence"))
		}
	}
	rest.await("presence", `"up":true`, 5*time.Second)
	rest.await("state", `"reynolds_number":`, 5*time.Second)
	within(t, 5*time.Second, "/readyz says ready", func() bool { status, _ := get("http://" + at + "/readyz"); return status == 200 })
	within(t, 5*time.Second, "broker-lost is over", func() bool { return lost() == "returned-unacknowledged" })
	rest.await("alarm/broker-lost", `"state":"returned-unacknowledged"`, 5*time.Second)
}

// rememberSubscriber makes a session at the broker that outlives it: what is
// published for it while it is away waits.
func (m *mosquitto) rememberSubscriber(name, topic string) {
	m.t.Helper()
	m.start()
	host, port, _ := net.SplitHostPort(m.at)
	out, err := exec.Command(need(m.t, "mosquitto_sub", "mosquitto-clients"), "-h", host, "-p", port,
		"-c", "-i", name, "-q", "1", "-E", "-t", topicRoot+topic).CombinedOutput()
	if err != nil {
		m.t.Fatalf("mosquitto_sub: %v: %s", err, out)
	}
	m.run.end()
}
