//go:build unix

package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"flowrigd/daq/daqtest"
	"flowrigd/daq/modbus"
)

// wireFault is something wrong with one instrument's answers, and what the
// instrument's quality must say of it: what, where, and what to do.
type wireFault struct {
	name       string
	instrument string
	spoil      func(b *handBench) spoiler
	want       []string
}

// always is a fault that needs nothing of the bench.
func always(s spoiler) func(*handBench) spoiler { return func(*handBench) spoiler { return s } }

// lateBy is later than the bench's timeout of 250 ms.
const lateBy = 375 * time.Millisecond

var wireFaults = []wireFault{
	{"noise", "flow", always(func(_, answer []byte) []byte {
		answer[4] ^= 0x10
		return answer
	}), []string{"address 1 on bus", "the answer's CRC does not agree with its bytes", "check baud, parity, termination and shielding"}},
	{"half a frame", "flow", always(func(_, answer []byte) []byte { return answer[:5] }),
		[]string{"half an answer from address 1 on bus", "check wiring, termination, baud and timeout"}},
	{"no answer", "flow", always(func(_, _ []byte) []byte { return nil }),
		[]string{"no answer from address 1 on bus", "check wiring A/B, address, baud and timeout"}},
	{"a late answer", "flow", late, []string{"no answer from address 1 on bus", "check wiring A/B, address, baud and timeout"}},
	{"a wrong address", "flow", always(func(_, answer []byte) []byte {
		answer[0] = 7
		return modbus.AppendCRC(answer[:len(answer)-2])
	}), []string{"address 7 answers where address 1 was asked on bus", "check the addresses"}},
	{"an exception reply", "flow", always(func(request, _ []byte) []byte { return modbus.ExceptionResponse(1, request[1], 2) }),
		[]string{"address 1 refuses function 4 with exception 2", "no such register; check register or reference and the type's size"}},
	{"garbled text", "temperature", always(func(_, _ []byte) []byte { return []byte("T=4z.1\r\n") }),
		[]string{"tc (", "\"4z.1\" is not a decimal number", "check the pattern, and baud where the text is garbled"}},
	{"half a line", "temperature", always(func(_, answer []byte) []byte { return answer[:4] }),
		[]string{"half a line on tc", "check end, baud and timeout"}},
	{"a silent thermometer", "temperature", always(func(_, _ []byte) []byte { return nil }),
		[]string{"no answer to", "check the text to send, wiring, baud and timeout"}},
}

// late answers after the master has given up, with another value, so that
// taking a late answer for the next one would show.
func late(b *handBench) spoiler {
	far := b.bus.far
	return func(_, _ []byte) []byte {
		time.AfterFunc(lateBy, func() {
			_, _ = far.Write(modbus.ReadResponse(1, modbus.ReadInputRegisters, []byte{0x41, 0x20, 0, 0})) // 10 L/min; the line may be gone by then
		})
		return nil
	}
}

// TestBadAnswers spoils the answers of one instrument after the other on a
// running daemon. Each time its quality says what is wrong, where, and what to
// do; /readyz says it too, the others stay good, no wrong value is shown, and
// all is well within two seconds of the healing.
func TestBadAnswers(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	d := running(t, b.config(at, ""), at)
	for _, f := range wireFaults {
		t.Run(f.name, func(t *testing.T) { b.spoiled(t, at, f) })
	}
	d.ends(exitDone)
}

func (b *handBench) spoiled(t *testing.T, at string, f wireFault) {
	b.set(func(b *handBench) {
		if f.instrument == "temperature" {
			b.garble = f.spoil(b)
		} else {
			b.spoil = onlyAddress1(f.spoil(b))
		}
	})
	within(t, 5*time.Second, f.instrument+" is bad", func() bool {
		s := now(at)
		if flow, known := s["flow_cubic_meters_per_second"].(float64); known && (flow < 1.9e-5 || flow > 2.1e-5) {
			t.Fatalf("a flow of %v m3/s was never there", flow)
		}
		return strings.HasPrefix(qualityOf(at, f.instrument), "bad: ")
	})
	s := now(at)
	says(t, "the quality", fmt.Sprint(s["quality"].(map[string]any)[f.instrument]), f.want...)
	if s["reynolds_number"] != nil || s["regime"] != "unknown" {
		t.Errorf("Re %v, regime %v beside a bad %s", s["reynolds_number"], s["regime"], f.instrument)
	}
	// On a loaded machine a neighbour may miss one answer of 250 ms by itself.
	within(t, recoverWithin, "all but "+f.instrument+" are good", func() bool {
		return f.instrument == onlyBad(now(at))
	})
	unready(t, at, "instrument "+f.instrument)
	b.set(func(b *handBench) { b.spoil, b.garble = nil, nil })
	within(t, recoverWithin, "all good again", func() bool { return allGood(now(at)) })
}

// onlyBad is the one instrument of a state that is not good; "" for none, or
// for more than one.
func onlyBad(state map[string]any) (name string) {
	quality, _ := state["quality"].(map[string]any)
	for instrument, q := range quality {
		if q != "good" && name != "" {
			return ""
		}
		if q != "good" {
			name = instrument
		}
	}
	return name
}

// onlyAddress1 leaves the answers of other addresses alone.
func onlyAddress1(s spoiler) spoiler {
	return func(request, answer []byte) []byte {
		if request[0] != 1 {
			return answer
		}
		return s(request, bytes.Clone(answer))
	}
}

// says holds that a text has all the parts of a sentence.
func says(t *testing.T, what, text string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		if !strings.Contains(text, part) {
			t.Errorf("%s does not say %q:\n%s", what, part, text)
		}
	}
}

// TestBadPorts gives a daemon a port that cannot be used. The daemon stays up
// with what is on the other port, and says in its log, in the quality and on
// /readyz what is wrong and what to do; a port that comes free or is plugged in
// is taken up by itself.
func TestBadPorts(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		device func(t *testing.T, b *handBench) (device string, mend func())
		want   string
	}{
		{"a directory", func(_ *testing.T, b *handBench) (string, func()) { return b.dir, nil },
			"it is a directory; write the name of a serial line, flowrigd ports lists them"},
		{"a file", func(t *testing.T, b *handBench) (string, func()) {
			return write(t, filepath.Join(b.dir, "file"), ""), nil
		},
			"it is no serial line; flowrigd ports lists those of this machine"},
		{"missing", func(_ *testing.T, b *handBench) (string, func()) { b.bus.pull(); return b.bus.name, b.bus.plug },
			"no such device; plug the cable in, or correct device (flowrigd ports lists the names)"},
		{"busy", func(t *testing.T, b *handBench) (string, func()) { return b.bus.name, occupy(t, b.bus.name) },
			"another program has the line; stop that program"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b, at := newHandBench(t), daqtest.FreeAddress(t)
			device, mend := c.device(t, b)
			d := start(t, program, "run", "--config", b.configAt(device, at, filepath.Join(b.dir, "record"), ""))
			within(t, 10*time.Second, "flow is bad, temperature good", func() bool {
				return strings.HasPrefix(qualityOf(at, "flow"), "bad: ") && qualityOf(at, "temperature") == "good"
			})
			says(t, "the quality", qualityOf(at, "flow"), "bus", device, c.want)
			d.logs(device, c.want)
			unready(t, at, "instrument flow", "instrument level", c.want)
			if mend != nil {
				mend()
				within(t, recoverWithin, "all good by itself", func() bool { return allGood(now(at)) })
			}
			d.ends(exitDone)
		})
	}
}

// occupy locks a line as another program does, until it is freed.
func occupy(t *testing.T, name string) (free func()) {
	t.Helper()
	f, err := os.OpenFile(name, os.O_RDWR|unix.O_NOCTTY, 0)
	must(t, err)
	t.Cleanup(func() { f.Close() })
	must(t, unix.Flock(int(f.Fd()), unix.LOCK_EX))
	return func() { f.Close() }
}
