//go:build unix

package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
	"flowrigd/daq/modbus"
)

// meaningText is a rig whose numbers mean something else each: pulses, a
// current loop with a calibration, thermocouples with a constant and with a
// measured cold junction, text with a checksum, a guard against jumps and one
// against a sensor that is stuck.
const meaningText = `site = "north-hall"
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
[ports.text]
device = %q
baud = 19200
framing = "8N1"
timeout = "100 ms"
[instruments.flow]
port = "bus"
every = "100 ms"
modbus = {address = 1, register = 0, type = "uint16"}
pulses = {per_litre = 1000, bits = 16, window = "1 s"}
stale_after = "1 s"
[instruments.level]
port = "bus"
every = "100 ms"
modbus = {address = 1, register = 10, type = "uint16"}
scale = {from = [4000, 20000], to = ["0 mm", "400 mm"]}
correct = [["0 mm", "1.2 mm"], ["400 mm", "399.1 mm"]]
stale_after = "1 s"
[instruments.pressure_drop]
port = "bus"
every = "100 ms"
modbus = {address = 1, register = 20, type = "uint16"}
unit = "Pa"
frozen_after = "1 s"
stale_after = "1 s"
[instruments.temperature]
port = "text"
every = "200 ms"
query = {send = "T?\r", reply = "T={value}", end = "\r\n"}
unit = "mV"
thermocouple = {type = "K", cold_junction = "ambient"}
stale_after = "1 s"
[instruments.ambient]
port = "text"
every = "200 ms"
query = {send = "A?\r", reply = "A={value};", end = "\r\n"}
unit = "Cel"
checksum = "crc16"
stale_after = "1 s"
[instruments.heater_outlet]
port = "text"
every = "200 ms"
query = {send = "H?\r", reply = "H={value}", end = "\r\n"}
unit = "uV"
thermocouple = {type = "K", cold_junction = "23 Cel ± 2 K"}
stale_after = "1 s"
[instruments.tank]
port = "text"
every = "200 ms"
query = {send = "K?\r", reply = "/^K=(?P<value>[-+.0-9]+) C$/", end = "\r\n"}
unit = "Cel"
max_step = "5 K"
stale_after = "1 s"
[http]
listen = %q
[record]
directory = "record"
`

// meaningBench is the far ends of that rig.
type meaningBench struct {
	mu       sync.Mutex
	began    time.Time
	count    float64 // of the meter when began
	rate     float64 // pulses a second
	loop     uint16  // µA
	pressure uint16
	stuck    bool
	text     map[byte]string // answers without end, by the question's letter
	once     map[byte]string // the same, for one answer
}

func (b *meaningBench) set(change func(b *meaningBench)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change(b)
}

// pulse sets the meter's counter and its pulses a second.
func (b *meaningBench) pulse(count, rate float64) { b.began, b.count, b.rate = time.Now(), count, rate }

func (b *meaningBench) counter() uint16 {
	return uint16(uint64(b.count + b.rate*time.Since(b.began).Seconds()))
}

func (b *meaningBench) bus(heard []byte) (answer, rest []byte) {
	if len(heard) < 8 {
		return nil, heard
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	r, err := modbus.ParseRequest(heard[:8])
	if err != nil {
		return nil, heard[1:]
	}
	if !b.stuck {
		b.pressure ^= 1
	}
	word := map[uint16]uint16{0: b.counter(), 10: b.loop, 20: b.pressure}[r.Start]
	return modbus.ReadResponse(1, r.Function, binary.BigEndian.AppendUint16(nil, word)), heard[8:]
}

func (b *meaningBench) line(heard []byte) (answer, rest []byte) {
	question, rest, whole := bytes.Cut(heard, []byte("?\r"))
	if !whole || len(question) == 0 {
		return nil, heard
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	letter := question[len(question)-1]
	text := b.text[letter]
	if one, ok := b.once[letter]; ok {
		text = one
		delete(b.once, letter)
	}
	if text == "" {
		return nil, rest
	}
	return []byte(text + "\r\n"), rest
}

// withCRC puts a checksum behind a line as crc16 has it.
func withCRC(line string) string { return fmt.Sprintf("%s%04X", line, modbus.CRC([]byte(line))) }

// meaningSteps change the far end, and say what an instrument must come to:
// the beginning of its quality, what else the quality says, and its value
// within a tolerance (not a number: none). The thermocouple's voltages are those
// of NIST Monograph 175, type K: 0.798 mV at 20 °C, 0.919 at 23, 1.203 at 30,
// 2.436 at 60, 2.810 at 69, 2.851 at 70.
var meaningSteps = []struct {
	name       string
	set        func(b *meaningBench)
	instrument string
	quality    string
	says       string
	field      string
	value, tol float64
	reason     string // that is counted
}{
	{"pulses through a wrap", func(b *meaningBench) { b.pulse(65520, 20) }, "flow", "good", "", "flow_cubic_meters_per_second", 2e-5, 0.11e-5, ""},
	{"no pulses are no flow", func(b *meaningBench) { b.pulse(10, 0) }, "flow", "good", "", "flow_cubic_meters_per_second", 0, 1e-12, ""},
	{"a meter that restarts", func(b *meaningBench) { b.pulse(60000, 0) }, "flow", "", "", "", 0, 0, "step"},
	{"and counts on", func(b *meaningBench) { b.pulse(60000, 40) }, "flow", "good", "", "flow_cubic_meters_per_second", 4e-5, 0.11e-5, ""},

	// 260 mm indicated is 1.2 + 0.65 · 397.9 mm, by hand.
	{"scale and calibration", func(b *meaningBench) { b.loop = 14400 }, "level", "good", "", "level_meters", 0.259835, 1e-9, ""},
	{"under-range", func(b *meaningBench) { b.loop = 3700 }, "level", "uncertain", "3.70 mA, outside the measuring span of 3.8 to 20.5 mA", "level_meters", -0.0063, 1e-9, ""},
	{"an open loop", func(b *meaningBench) { b.loop = 3500 }, "level", "bad", "3.50 mA: the sensor has failed or the loop is open", "level_meters", math.NaN(), 0, "open"},
	{"a shorted loop", func(b *meaningBench) { b.loop = 21500 }, "level", "bad", "21.50 mA: the sensor has failed or is shorted", "level_meters", math.NaN(), 0, "open"},
	{"a whole loop", func(b *meaningBench) { b.loop = 4000 }, "level", "good", "", "level_meters", 0.0012, 1e-9, ""},
	{"beyond the calibration", func(b *meaningBench) { b.loop = 20400 }, "level", "uncertain", "410 mm is outside the calibrated range of 0 mm to 400 mm", "level_meters", 0.4091, 1e-9, ""},

	{"a measured cold junction", func(b *meaningBench) { b.text['T'], b.text['A'] = "T=1.638", withCRC("A=20.0;") }, "temperature", "good", "", "temperature_celsius", 60, 0.03, ""},
	{"that grows warmer", func(b *meaningBench) { b.text['A'] = withCRC("A=30.0;") }, "temperature", "good", "", "temperature_celsius", 69.756, 0.03, ""},
	{"a wrong checksum", func(b *meaningBench) { b.text['A'] = withCRC("A=30.0;")[:7] + "0000" }, "ambient", "bad", "wrong checksum: 0000 where its bytes make", "ambient_celsius", math.NaN(), 0, "checksum"},
	{"takes the thermocouple with it", func(*meaningBench) {}, "temperature", "bad", "the cold junction is not known: ambient is bad", "temperature_celsius", math.NaN(), 0, "stale"},
	{"a right checksum", func(b *meaningBench) { b.text['A'] = withCRC("A=20.0;") }, "temperature", "good", "", "temperature_celsius", 60, 0.03, ""},
	{"a constant cold junction", func(b *meaningBench) { b.text['H'] = "H=1517" }, "heater_outlet", "good", "", "heater_outlet_celsius", 60, 0.03, ""},
	{"a voltage that no type K has", func(b *meaningBench) { b.text['H'] = "H=90000" }, "heater_outlet", "bad", "", "heater_outlet_celsius", math.NaN(), 0, "range"},

	{"a pattern", func(b *meaningBench) { b.text['K'] = "K=40.0 C" }, "tank", "good", "", "tank_celsius", 40, 1e-9, ""},
	{"one line that jumps", func(b *meaningBench) { b.once = map[byte]string{'K': "K=90.0 C"} }, "tank", "good", "", "tank_celsius", 40, 1e-9, "step"},
	{"a jump that stays", func(b *meaningBench) { b.text['K'] = "K=50.0 C" }, "tank", "good", "", "tank_celsius", 50, 1e-9, ""},
	{"a number that is garbled", func(b *meaningBench) { b.text['K'] = "K=5O.0 C" }, "tank", "bad", "does not fit", "tank_celsius", math.NaN(), 0, "format"},
	{"a dead instrument", func(b *meaningBench) { b.text['K'] = "" }, "tank", "bad", `no answer to "K?\r" on text`, "tank_celsius", math.NaN(), 0, "timeout"},

	{"a number that moves", func(b *meaningBench) { b.pressure = 500 }, "pressure_drop", "good", "", "pressure_drop_pascals", 500.5, 0.51, ""},
	{"a sensor that is stuck", func(b *meaningBench) { b.stuck = true }, "pressure_drop", "bad", "the number on the wire has been", "pressure_drop_pascals", math.NaN(), 0, "frozen"},
	{"and free again", func(b *meaningBench) { b.stuck = false }, "pressure_drop", "good", "", "pressure_drop_pascals", 500.5, 0.51, ""},
}

// TestWhatANumberMeans takes the built program from the wire to the quantity,
// with each thing that a table of an instrument may say, right and wrong.
func TestWhatANumberMeans(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	b := &meaningBench{loop: 14400, pressure: 500, text: map[byte]string{'T': "T=1.638", 'A': withCRC("A=20.0;"), 'H': "H=1517", 'K': "K=40.0 C"}}
	b.pulse(65400, 20)
	newHandLine(t, filepath.Join(dir, "bus"), b.bus)
	newHandLine(t, filepath.Join(dir, "text"), b.line)
	config := write(t, filepath.Join(dir, "rig.toml"), fmt.Sprintf(meaningText, filepath.Join(dir, "bus"), filepath.Join(dir, "text"), at))
	start(t, program, "run", "--config", config)
	within(t, 20*time.Second, "a good state", func() bool { return allGood(now(at)) })
	for _, s := range meaningSteps {
		t.Run(s.name, func(t *testing.T) {
			counted := fmt.Sprintf("flowrig_instrument_errors_total{instrument=%q,reason=%q}", s.instrument, s.reason)
			before := metric(at, counted)
			b.set(s.set)
			var state map[string]any
			met := func() bool {
				state = now(at)
				quality, _ := state["quality"].(map[string]any)
				word, _ := quality[s.instrument].(string)
				known := s.field == "" || state[s.field] == nil && math.IsNaN(s.value) || math.Abs(number(state, s.field)-s.value) <= s.tol
				return strings.HasPrefix(word, s.quality) && strings.Contains(word, s.says) && known && (s.reason == "" || metric(at, counted) > before)
			}
			for end := time.Now().Add(8 * time.Second); !met(); time.Sleep(20 * time.Millisecond) {
				if time.Now().After(end) {
					t.Fatalf("%s is %v, %s %v (want %v ± %v), %v faults by %s (%v before)", s.instrument, state["quality"], s.field, state[s.field], s.value, s.tol, metric(at, counted), s.reason, before)
				}
			}
			if s.name == "one line that jumps" && state["tank_celsius"] != 40.0 {
				t.Errorf("the tank is %v", state["tank_celsius"])
			}
		})
	}
}
