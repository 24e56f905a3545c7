//go:build linux || darwin

package rigsim

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"flowrigd/calc/quantity"
	"flowrigd/daq/modbus"
)

// openTTY opens a line as a daemon would, without blocking.
func openTTY(t *testing.T, path string) *os.File {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	must(t, err)
	return f
}

func TestPseudoTerminals(t *testing.T) {
	dir := t.TempDir()
	start(t, Options{Seed: 1, Dir: dir})
	bus := openTTY(t, filepath.Join(dir, "bus"))
	defer bus.Close()
	req := modbus.ReadRequest(1, modbus.ReadInputRegisters, 0, 2)
	got, err := exchange(t, bus, req, 9)
	must(t, err)
	if _, err := modbus.ParseResponse(req, got); err != nil {
		t.Errorf("% X: %v", got, err)
	}
	tc := openTTY(t, filepath.Join(dir, "tc"))
	defer tc.Close()
	if got, err := exchange(t, tc, []byte("T?\r"), 9); err != nil || !bytes.HasSuffix(got, []byte("\r\n")) {
		t.Errorf("T? gives %q, %v; a line end was changed or nothing came", got, err)
	}
}

// Every byte value must pass both ways: a terminal that is not raw eats or
// changes some. A write of coil 0 at an address that is a control character
// shows it in one direction, a float in the other; here the line itself.
func TestTerminalIsRaw(t *testing.T) {
	term, err := openTerminal()
	must(t, err)
	defer term.Close()
	user := openTTY(t, term.device())
	defer user.Close()
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for _, way := range []struct {
		name     string
		from, to *os.File
	}{{"to the rig", user, term.File}, {"from the rig", term.File, user}} {
		if _, err := way.from.Write(all); err != nil {
			t.Fatal(err)
		}
		got := make([]byte, len(all))
		must(t, way.to.SetReadDeadline(time.Now().Add(2*time.Second)))
		if _, err := io.ReadFull(way.to, got); err != nil || !bytes.Equal(got, all) {
			t.Errorf("%s: %v, bytes changed", way.name, err)
		}
	}
}

// The line outlives its users, also one that was killed with the terminal
// marked as its own.
func TestNextUser(t *testing.T) {
	dir := t.TempDir()
	start(t, Options{Seed: 1, Dir: dir})
	for range 3 {
		tc := openTTY(t, filepath.Join(dir, "tc"))
		if got, err := exchange(t, tc, []byte("T?\r"), 9); err != nil || !bytes.HasPrefix(got, []byte("T=")) {
			t.Errorf("%q, %v", got, err)
		}
		tc.Close()
	}
}

func TestReleaseTakesTheMarkOff(t *testing.T) {
	term, err := openTerminal()
	must(t, err)
	defer term.Close()
	user := openTTY(t, term.device())
	must(t, unix.IoctlSetInt(int(user.Fd()), unix.TIOCEXCL, 0))
	user.Close()
	term.release()
	if runtime.GOOS == "linux" && exclusive(t, term) {
		t.Error("the mark of a killed user is still there")
	}
}

// A pulled cable: the reader hears the end, the name is gone; put back, it is
// another device and works. A hundred times, without a descriptor left over.
func TestCablePull(t *testing.T) {
	dir := t.TempDir()
	s := start(t, Options{Seed: 1, Dir: dir})
	path := filepath.Join(dir, "tc")
	before := descriptors(t)
	for range 100 {
		user := openTTY(t, path)
		s.lines[lineTC].plug(false)
		must(t, user.SetReadDeadline(time.Now().Add(2*time.Second)))
		if n, err := user.Read(make([]byte, 1)); n != 0 || err == nil || os.IsTimeout(err) {
			t.Fatalf("a read on a pulled cable gives %d bytes, %v", n, err)
		}
		user.Close()
		until(t, "the name is gone", func() bool { _, err := os.Lstat(path); return err != nil })
		s.lines[lineTC].plug(true)
		until(t, "the name is back", func() bool { _, err := os.Stat(path); return err == nil })
	}
	if after := descriptors(t); after > before {
		t.Errorf("%d descriptors before, %d after 100 pulls", before, after)
	}
}

func until(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(2 * time.Second); !holds(); {
		if time.Now().After(deadline) {
			t.Fatalf("within 2 s not: %s", what)
		}
		time.Sleep(time.Millisecond) // real files and terminals tell nobody when they change
	}
}

func descriptors(t *testing.T) int {
	t.Helper()
	list, err := os.ReadDir("/dev/fd")
	must(t, err)
	return len(list)
}

func TestFilesInDir(t *testing.T) {
	dir := t.TempDir()
	s := start(t, Options{Seed: 1, Dir: dir})
	text, err := os.ReadFile(filepath.Join(dir, "rig.toml"))
	if err != nil || !bytes.Equal(text, s.Config()) {
		t.Errorf("rig.toml: %v, or not the rig's configuration", err)
	}
	f, err := os.Open(filepath.Join(dir, "truth.jsonl"))
	must(t, err)
	defer f.Close()
	lines := bufio.NewReader(f)
	var gaps []time.Duration
	last := checkTruth(t, nextLine(t, lines))
	for range 10 {
		at := checkTruth(t, nextLine(t, lines))
		gaps = append(gaps, at.Sub(last))
		last = at
	}
	slices.Sort(gaps)
	// The median, so that one late turn of a loaded machine is no failure.
	if gap := gaps[len(gaps)/2]; gap > 200*time.Millisecond {
		t.Errorf("%v between two lines of truth", gap)
	}
}

// nextLine waits for a line of a file that grows.
func nextLine(t *testing.T, r *bufio.Reader) []byte {
	t.Helper()
	var line []byte
	until(t, "another line of truth", func() bool {
		part, err := r.ReadBytes('\n')
		line = append(line, part...)
		return err == nil
	})
	return line
}

// checkTruth reads one line and gives its time; the names are those of the
// table.
func checkTruth(t *testing.T, line []byte) time.Time {
	t.Helper()
	var head struct{ Time time.Time }
	var values quantity.Set
	if err := json.Unmarshal(line, &head); err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	must(t, json.Unmarshal(line, &values))
	if _, known := values.Get(quantity.Reynolds); !known {
		t.Errorf("no Reynolds number in %s", line)
	}
	return head.Time
}

func TestDirThatCannotBe(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	must(t, os.WriteFile(file, nil, 0o600))
	s := newSim(t, Options{Dir: filepath.Join(file, "below")})
	if err := s.Run(t.Context()); err == nil {
		t.Error("a rig below a file runs")
	}
}
