//go:build unix

package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"
	"sync"
	"testing"
	"time"

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
watched_at = "0 mm"
[tank]
lip = "250 mm"
drop = "1.10 m"

[ports.bus]
device = %q
baud = 19200
framing = "8E1"
timeout = "250 ms"

[ports.tc]
device = %q
baud = 19200
framing = "8N1"
timeout = "250 ms"

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

// recoverWithin is how soon an instrument is good again after its cable was
// put back.
const recoverWithin = 2 * time.Second

// qualityOf is the quality of an instrument in /api/now.
func qualityOf(at, instrument string) string {
	quality, _ := now(at)["quality"].(map[string]any)
	word, _ := quality[instrument].(string)
	return word
}
