//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
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

// program and faulty are the built programs that the tests drive; faulty has
// the seams of the tag faults.
var program, faulty string

func TestMain(m *testing.M) {
	daqtest.AtOnce(map[bool]string{false: "10", true: "5"}[raced])
	if raced { // at its end the detector waits a second for reports that nobody reads
		os.Setenv("GORACE", "atexit_sleep_ms=0")
	}
	dir, err := os.MkdirTemp("", "flowrigd-test")
	if err != nil {
		panic(err)
	}
	var both sync.WaitGroup
	both.Go(func() { program = build1(dir, "flowrigd") })
	both.Go(func() { faulty = build1(dir, "flowrigd-faults", "-tags", "faults") })
	both.Wait()
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

func build1(dir, name string, flags ...string) string {
	path := filepath.Join(dir, name)
	args := append(append([]string{"build"}, flags...), "-o", path, ".")
	if raced {
		args = append([]string{"build", "-race"}, args[1:]...)
	}
	if out, err := exec.Command("go", args...).CombinedOutput(); err != nil {
		panic(fmt.Sprintf("go %v: %v\n%s", args, err, out))
	}
	return path
}

var must = daqtest.Must

// process is a running program with what it printed so far.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	out  *lines
	err  *lines
	done chan struct{}
}

// lines collects output while it comes.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// start runs a program until the test ends.
func start(t *testing.T, path string, args ...string) *process {
	t.Helper()
	return startWith(t, nil, path, args...)
}

// running starts a daemon and waits for good readings of its whole bench.
func running(t *testing.T, file, at string) *process {
	t.Helper()
	d := start(t, program, "run", "--config", file)
	within(t, 10*time.Second, "a good state", func() bool { return allGood(now(at)) })
	return d
}

// startWith does so with more environment.
func startWith(t *testing.T, env []string, path string, args ...string) *process {
	t.Helper()
	p := &process{t: t, cmd: exec.Command(path, args...), out: &lines{}, err: &lines{}, done: make(chan struct{})}
	p.cmd.Env = append(os.Environ(), env...)
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.err
	must(t, p.cmd.Start())
	go func() { _ = p.cmd.Wait(); close(p.done) }()
	t.Cleanup(func() {
		p.signal(syscall.SIGCONT)
		p.signal(syscall.SIGKILL)
		<-p.done
		noRace(t, p.err.String())
		if t.Failed() {
			t.Logf("%s %v said:\n%s", filepath.Base(path), args, p.err)
		}
	})
	return p
}

// noRace fails the test where the race detector in the program has spoken.
func noRace(t *testing.T, stderr string) {
	t.Helper()
	if strings.Contains(stderr, "DATA RACE") {
		t.Errorf("the program has a data race:\n%s", stderr)
	}
}

// logs waits until the log says each of the parts: what a page or a state shows
// may be there a moment before its line is.
func (p *process) logs(parts ...string) {
	p.t.Helper()
	for _, part := range parts {
		within(p.t, 5*time.Second, "the log says "+part, func() bool { return strings.Contains(p.err.String(), part) })
	}
}

func (p *process) signal(s syscall.Signal) { _ = p.cmd.Process.Signal(s) }

// end asks the program to stop and gives its exit code.
func (p *process) end() int {
	p.t.Helper()
	p.signal(syscall.SIGTERM)
	return p.code(20 * time.Second)
}

// ends does so and holds the exit code.
func (p *process) ends(want int) {
	p.t.Helper()
	if code := p.end(); code != want {
		p.t.Errorf("%v ended with %d, want %d", p.cmd.Args[1:], code, want)
	}
}

func (p *process) code(limit time.Duration) int {
	p.t.Helper()
	select {
	case <-p.done:
		return p.cmd.ProcessState.ExitCode()
	case <-time.After(limit):
		p.t.Fatalf("%v did not end within %v", p.cmd.Args, limit)
		return -1
	}
}

// call runs a program to its end.
func call(t *testing.T, path string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, diag bytes.Buffer
	cmd := exec.Command(path, args...)
	cmd.Stdout, cmd.Stderr = &out, &diag
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	noRace(t, diag.String())
	return out.String(), diag.String(), cmd.ProcessState.ExitCode()
}

// within waits for a real process to reach a condition.
func within(t *testing.T, limit time.Duration, what string, reached func() bool) {
	t.Helper()
	deadline := time.Now().Add(limit)
	for !reached() {
		if time.Now().After(deadline) {
			t.Fatalf("not within %v: %s", limit, what)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

var client = &http.Client{Timeout: 5 * time.Second}

// get fetches a page of a daemon; status 0 when nobody answers.
func get(url string) (status int, body string) {
	r, err := client.Get(url)
	if err != nil {
		return 0, err.Error()
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return r.StatusCode, string(b)
}

// unready holds that a daemon is not ready and says so.
func unready(t *testing.T, at string, parts ...string) (body string) {
	t.Helper()
	status, body := get("http://" + at + "/readyz")
	if status != http.StatusServiceUnavailable {
		t.Errorf("/readyz says %d", status)
	}
	says(t, "/readyz", body, parts...)
	return body
}

// post calls a writing endpoint with a token; kind is the answer's media type.
func post(t *testing.T, url, token, body string) (status int, kind, answer string) {
	t.Helper()
	q, err := http.NewRequest(http.MethodPost, url, strings.NewReader(body))
	must(t, err)
	q.Header.Set("Content-Type", "application/json")
	if token != "" {
		q.Header.Set("Authorization", "Bearer "+token)
	}
	r, err := client.Do(q)
	if err != nil {
		return 0, "", err.Error()
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return r.StatusCode, r.Header.Get("Content-Type"), string(b)
}

// now is /api/now as a map; nil while there is none.
func now(at string) map[string]any {
	status, body := get("http://" + at + "/api/now")
	var m map[string]any
	if status != http.StatusOK || json.Unmarshal([]byte(body), &m) != nil {
		return nil
	}
	return m
}

// allGood says whether every instrument of a state is good.
func allGood(state map[string]any) bool {
	quality, _ := state["quality"].(map[string]any)
	for _, q := range quality {
		if q != "good" {
			return false
		}
	}
	return len(quality) >= 3
}

// write makes a file in the test's own folder.
func write(t *testing.T, path, text string) string {
	t.Helper()
	must(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// read is a whole file as text.
func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	must(t, err)
	return string(b)
}
