//go:build linux

package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"golang.org/x/sys/unix"

	"flowrigd/daq/modbus"
)

// at9600 says whether the line is set to 9600 Bd; the framing cannot be told on
// a pseudo-terminal, which drops parity.
func at9600(t *testing.T, l *handLine) bool {
	mode, err := unix.IoctlGetTermios(int(l.keeper.Fd()), getMode)
	if err != nil {
		t.Error(err)
		return false
	}
	return mode.Cflag&unix.CBAUD == unix.B9600
}

// A slave at another address, at another rate, and on another line is found; it
// fails the test when anything but a read comes. As tests of their own the long
// searches do not begin last.
func TestProbeSearchesAddresses(t *testing.T) {
	probeSearch(t, 12, false, false, "found     address 12 answers at 19200 Bd, 8N1 on line (", "): 25.5 °C")
}

func TestProbeSearchesRates(t *testing.T) {
	probeSearch(t, 1, true, false, "found     address 1 answers at 9600 Bd, 8N1 on line (", "): 25.5 °C")
}

func TestProbeSearchesLines(t *testing.T) {
	probeSearch(t, 1, false, true, "found     address 1 answers at 19200 Bd, 8N1 on idle (", "): 25.5 °C; that is ports.idle: swap the plugs, or write port = \"idle\"")
}

// probeSearch puts the slave on a line or on the other one, slow at 9600 Bd.
func probeSearch(t *testing.T, address byte, slow, other bool, found ...string) {
	t.Helper()
	t.Parallel()
	var line, idle, slave *handLine
	hears := func(heard []byte) (answer, rest []byte) {
		for ; len(heard) >= 8; heard = heard[8:] {
			asked, err := modbus.ParseRequest(heard[:8])
			if err != nil || asked.Function > modbus.ReadInputRegisters {
				t.Errorf("the slave heard % X: %v", heard, err)
			}
			if asked.Address == address && at9600(t, slave) == slow {
				answer = append(answer, modbus.ReadResponse(address, asked.Function, []byte{0x41, 0xCC, 0, 0})...)
			}
		}
		return answer, heard
	}
	none := func([]byte) (answer, rest []byte) { return nil, nil }
	dir := t.TempDir()
	if other {
		line, idle = newHandLine(t, filepath.Join(dir, "line"), none), newHandLine(t, filepath.Join(dir, "idle"), hears)
		slave = idle
	} else {
		line, idle = newHandLine(t, filepath.Join(dir, "line"), hears), newHandLine(t, filepath.Join(dir, "idle"), none)
		slave = line
	}
	text := strings.Replace(fmt.Sprintf(probeText, line.name, asModbus), "/dev/serial/by-id/none", idle.name, 1)
	file := write(t, filepath.Join(dir, "rig.toml"), text)
	stdout, stderr, code := call(t, program, "probe", "--config", file, "--search", "--search-time", "40 s", "temperature")
	if code != exitFailed {
		t.Errorf("ends with %d", code)
	}
	says(t, "stdout", stdout, found...)
	says(t, "stderr", stderr, "temperature gives no answer that can be read; searching for up to 40 s, "+
		"with the request to read input register 0, on the other ports of the configuration, then at other rates and framings, then under the addresses 1 to 247. It only reads, and writes nothing to any device.\n")
	if n := strings.Count(stdout, "   found "); n != 1 {
		t.Errorf("%d are found:\n%s", n, stdout)
	}
}

// TestProbeSearchOfText finds a text instrument at another rate, and says so
// where nothing is found in time.
func TestProbeSearchOfText(t *testing.T) {
	t.Parallel()
	file := probeLine(t, asQuery, nil)
	stdout, stderr, code := call(t, program, "probe", "--config", file, "--search", "--search-time", "1 s", "temperature")
	if code != exitFailed || strings.Contains(stdout, "found") {
		t.Errorf("ends with %d: %s", code, stdout)
	}
	says(t, "stderr", stderr, `searching for up to 1 s, with the question "T?\r", on the other ports`, `the time is over; not asked: other rates and framings; give it longer with --search-time "30 min"`)
	if _, stderr, code = call(t, program, "probe", "--config", file, "--search-time", "1 ms", "temperature"); code != exitUsage || !strings.Contains(stderr, `write a time from 1 s to 2 h, such as "30 min"`) {
		t.Errorf("ends with %d: %s", code, stderr)
	}
	if _, stderr, code = call(t, program, "probe", "--config", file, "temperature"); code != exitFailed || !strings.Contains(stderr, "no exchange was clean; --search looks for it elsewhere") {
		t.Errorf("ends with %d: %s", code, stderr)
	}
	var l *handLine
	dir := t.TempDir()
	l = newHandLine(t, filepath.Join(dir, "line"), func(heard []byte) (answer, rest []byte) {
		if !bytes.HasSuffix(heard, []byte("T?\r")) {
			return nil, heard
		}
		if !at9600(t, l) {
			return nil, nil
		}
		return []byte("T=25.5\r\n"), nil
	})
	file = write(t, filepath.Join(dir, "rig.toml"), fmt.Sprintf(probeText, l.name, asQuery))
	stdout, _, _ = call(t, program, "probe", "--json", "--config", file, "--search", "temperature")
	says(t, "stdout", stdout, `{"found":true,"port":"line","device":"`, `"baud":9600,"framing":"8N1","address":null,`, `"text":"T=25.5\\r\\n"`)
}

// TestProbeSearchSparesThePermit holds that a search opens no line whose RTS or
// DTR is the permit's: each opening raises them.
func TestProbeSearchSparesThePermit(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		port string
		says string
	}{
		{"line", "no search on ports.line: each opening pulses its RTS and DTR, which permits heating; unplug the permit's relay from it"},
		{"idle", "ports.idle is left out: each opening pulses its RTS and DTR, which permits heating"},
	} {
		t.Run(c.port, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			none := func([]byte) (answer, rest []byte) { return nil, nil }
			var asked atomic.Int32
			line := newHandLine(t, filepath.Join(dir, "line"), none)
			idle := newHandLine(t, filepath.Join(dir, "idle"), func(heard []byte) (answer, rest []byte) {
				asked.Add(1)
				return nil, nil
			})
			text := strings.Replace(fmt.Sprintf(probeText, line.name, asQuery), "/dev/serial/by-id/none", idle.name, 1) +
				fmt.Sprintf("[trip]\nport = %q\npulse = \"dtr\"\n", c.port) +
				"[instruments.heater_on]\nport = \"idle\"\nmodbus = {address = 4, table = \"discrete\", register = 0}\n"
			file := write(t, filepath.Join(dir, "rig.toml"), text)
			stdout, stderr, code := call(t, program, "probe", "--config", file, "--search", "--search-time", "2 s", "temperature")
			if code != exitFailed {
				t.Errorf("ends with %d: %s", code, stdout)
			}
			says(t, "stderr", stderr, c.says)
			if n := asked.Load(); n > 0 {
				t.Errorf("the other line heard something %d times", n)
			}
			if c.port == "line" && strings.Contains(stderr, "searching") {
				t.Errorf("searches:\n%s", stderr)
			}
		})
	}
}
