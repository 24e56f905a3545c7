//go:build unix

package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"flowrigd/daq/modbus"
)

// handBench is a bench whose values the test sets by hand: a flow meter
// (address 1) and a level sensor (address 2) on the line bus, a thermometer on
// the line tc, each line a pseudo-terminal behind a name that stays.
type handBench struct {
	t   *testing.T
	dir string
	bus *handLine
	tc  *handLine

	mu      sync.Mutex
	flow    float64 // L/min
	level   float64 // mm
	celsius float64
	spoil   spoiler // of the answers on the bus; nil: none
	garble  spoiler // of the answers of the thermometer; nil: none
}

// spoiler says what becomes of an answer on the wire.
type spoiler func(request, answer []byte) []byte

// newHandBench starts the bench at 1.2 L/min, 42 °C and a level above the lip.
func newHandBench(t *testing.T) *handBench {
	t.Helper()
	b := &handBench{t: t, dir: t.TempDir(), flow: 1.2, level: 260, celsius: 42}
	b.bus = newHandLine(t, filepath.Join(b.dir, "bus"), b.answerBus)
	b.tc = newHandLine(t, filepath.Join(b.dir, "tc"), b.answerText)
	return b
}

func (b *handBench) set(change func(b *handBench)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change(b)
}

// answerBus takes whole requests off the front of what came.
func (b *handBench) answerBus(heard []byte) (answer, rest []byte) {
	for len(heard) >= 8 {
		request, err := modbus.ParseRequest(heard[:8])
		if err != nil {
			heard = heard[1:]
			continue
		}
		b.mu.Lock()
		reply := b.reply(request)
		if b.spoil != nil && reply != nil {
			reply = b.spoil(heard[:8], reply)
		}
		b.mu.Unlock()
		return reply, heard[8:]
	}
	return nil, heard
}

func (b *handBench) reply(r modbus.Request) []byte {
	switch {
	case r.Address == 1 && r.Function == modbus.ReadInputRegisters:
		return modbus.ReadResponse(1, r.Function, binary.BigEndian.AppendUint32(nil, math.Float32bits(float32(b.flow))))
	case r.Address == 2 && r.Function == modbus.ReadHoldingRegisters:
		return modbus.ReadResponse(2, r.Function, binary.BigEndian.AppendUint16(nil, uint16(math.Round(b.level*40+4000))))
	}
	return nil
}

func (b *handBench) answerText(heard []byte) (answer, rest []byte) {
	question, rest, whole := bytes.Cut(heard, []byte("\r"))
	if !whole {
		return nil, heard
	}
	if !bytes.HasSuffix(question, []byte("T?")) {
		return nil, rest
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	reply := fmt.Appendf(nil, "T=%.3f\r\n", b.celsius)
	if b.garble != nil {
		reply = b.garble(question, reply)
	}
	return reply, rest
}

// benchText is the configuration of a hand bench; the tables http and record
// stand at its end.
const benchText = `site = "north-hall"
rig = "bench-3"
interval = "100 ms"

[tube]
bore = "13.00 mm ± 0.04 mm"
length = "900 mm"

[tank]
lip = "250 mm"
drop = "1.10 m"

[ports.bus]
device = %q
baud = 19200
framing = "8E1"
timeout = "100 ms"

[ports.tc]
device = %q
baud = 19200
framing = "8N1"
timeout = "100 ms"

[instruments.flow]
port = "bus"
every = "100 ms"
modbus = {address = 1, table = "input", register = 0, type = "float32"}
unit = "L/min"
range = ["0 L/min", "12 L/min"]
accuracy = {of_reading = "0.5 %%"}
stale_after = "1 s"

[instruments.temperature]
port = "tc"
every = "100 ms"
query = {send = "T?\r", reply = "T={value}", end = "\r\n"}
unit = "Cel"
range = ["0 Cel", "110 Cel"]
accuracy = {fixed = "0.5 K"}
stale_after = "1 s"

[instruments.level]
port = "bus"
every = "100 ms"
modbus = {reference = 40017, address = 2, type = "uint16"}
scale = {from = [4000, 20000], to = ["0 mm", "400 mm"]}
range = ["0 mm", "400 mm"]
accuracy = {fixed = "1 mm"}
stale_after = "1 s"
%s
[http]
listen = %q
tokens_file = "tokens"

[record]
directory = %q
`

// config writes the bench's configuration with more tables in it and gives its
// name. The recording stands in the folder record beside it.
func (b *handBench) config(listen, more string) string {
	b.t.Helper()
	return b.configAt(b.bus.name, listen, filepath.Join(b.dir, "record"), more)
}

// configAt is config with a bus and a recording of one's own.
func (b *handBench) configAt(bus, listen, record, more string) string {
	b.t.Helper()
	return write(b.t, filepath.Join(b.dir, "bench.toml"), fmt.Sprintf(benchText, bus, b.tc.name, more, listen, record))
}

// benchKeepAlive is the keep-alive of mqttTable.
const benchKeepAlive = 4 * time.Second

// mqttTable is a table mqtt for a broker.
func mqttTable(broker string) string {
	return fmt.Sprintf("\n[mqtt]\nbroker = %q\nkeep_alive = \"%g s\"\n", broker, benchKeepAlive.Seconds())
}

// handLine is a serial cable whose far end the test holds.
type handLine struct {
	t      *testing.T
	name   string // stays while cables come and go
	answer func(heard []byte) (answer, rest []byte)
	far    *os.File
	keeper *os.File // the near end, so that the line lives while nobody listens
	done   chan struct{}
}

func newHandLine(t *testing.T, name string, answer func([]byte) ([]byte, []byte)) *handLine {
	t.Helper()
	l := &handLine{t: t, name: name, answer: answer}
	l.plug()
	t.Cleanup(l.pull)
	return l
}

// plug puts a new cable in, under the same name.
func (l *handLine) plug() {
	l.t.Helper()
	master, near, err := pty.Open()
	if err != nil {
		l.t.Fatal(err)
	}
	l.keeper, l.far = near, pollable(l.t, master)
	quietTerminal(l.t, near)
	if err := os.Symlink(near.Name(), l.name); err != nil {
		l.t.Fatal(err)
	}
	l.done = make(chan struct{})
	go l.serve(l.far, l.done)
}

// pull closes the far end and takes the name away, as the system does for an
// adapter: the terminal's number may be another's at once.
func (l *handLine) pull() {
	if l.far == nil {
		return
	}
	if err := os.Remove(l.name); err != nil {
		l.t.Error(err)
	}
	l.far.Close()
	<-l.done
	l.keeper.Close()
	l.far = nil
}

func (l *handLine) serve(far *os.File, done chan struct{}) {
	defer close(done)
	var heard []byte
	buf := make([]byte, 256)
	for {
		n, err := far.Read(buf)
		if err != nil {
			return
		}
		if heard, err = l.answerAll(far, append(heard, buf[:n]...)); err != nil {
			return
		}
	}
}

// answerAll answers every whole question; rest is what is not whole yet.
func (l *handLine) answerAll(far *os.File, heard []byte) (rest []byte, err error) {
	for {
		answer, rest := l.answer(heard)
		if _, err := far.Write(answer); err != nil || len(rest) == len(heard) {
			return rest, err
		}
		heard = rest
	}
}

// pollable is the same file without blocking, so that Close ends a Read.
func pollable(t *testing.T, f *os.File) *os.File {
	t.Helper()
	defer f.Close()
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		t.Fatal(err)
	}
	return os.NewFile(uintptr(fd), f.Name())
}

// quietTerminal keeps a line from echoing and translating before the daemon
// has opened it.
func quietTerminal(t *testing.T, f *os.File) {
	t.Helper()
	mode, err := unix.IoctlGetTermios(int(f.Fd()), getMode)
	if err != nil {
		t.Fatal(err)
	}
	mode.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG | unix.IEXTEN
	mode.Iflag &^= unix.ICRNL | unix.IXON
	mode.Oflag &^= unix.OPOST
	if err := unix.IoctlSetTermios(int(f.Fd()), setMode, mode); err != nil {
		t.Fatal(err)
	}
}
