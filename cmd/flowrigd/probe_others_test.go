//go:build unix

package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"flowrigd/daq/modbus"
)

// registers is a slave at address 1 with what stands in its tables; what does
// not is refused with exception 2. A write is a fault of the test.
type registers map[byte]map[uint16]uint16

func (r registers) answer(t *testing.T, heard []byte) (answer, rest []byte) {
	if len(heard) < 8 {
		return nil, heard
	}
	asked, err := modbus.ParseRequest(heard[:8])
	if err != nil || asked.Function > modbus.ReadInputRegisters {
		t.Errorf("the slave heard % X: %v", heard, err)
		return nil, nil
	}
	if asked.Address != 1 {
		return nil, heard[8:]
	}
	var data []byte
	for i := range asked.Count {
		word, ok := r[asked.Function][asked.Start+i]
		if !ok {
			return modbus.ExceptionResponse(1, asked.Function, 2), heard[8:]
		}
		data = binary.BigEndian.AppendUint16(data, word)
	}
	return modbus.ReadResponse(1, asked.Function, data), heard[8:]
}

// float are the words of a float at a register, the high one first.
func float(at uint16, v float32) map[uint16]uint16 {
	bits := math.Float32bits(v)
	return map[uint16]uint16{at: uint16(bits >> 16), at + 1: uint16(bits)}
}

const (
	flowConversation   = `modbus = {address = 1, table = "input", register = 0, type = "float32", words = "big"}`
	flowMeaning        = "\nunit = \"L/min\"\nrange = [\"0.2 L/min\", \"12 L/min\"]"
	thermoMeaning      = "\nquery = {send = \"T?\\r\", reply = \"T={value}\"}\nunit = \"Cel\""
	inHolding, inInput = modbus.ReadHoldingRegisters, modbus.ReadInputRegisters
	littleWords        = `modbus = {address = 1, table = "input", register = 0, type = "float32", words = "little"}`
	registerTooFar     = `modbus = {address = 1, table = "input", register = 1, type = "float32"}`
	registerOfAManual  = `modbus = {address = 1, table = "input", register = 17, type = "float32"}`
)

// probeFlow lays a line with that slave and writes a configuration whose flow
// meter it is.
func probeFlow(t *testing.T, r registers, conversation string) (config string) {
	t.Helper()
	dir := t.TempDir()
	l := newHandLine(t, filepath.Join(dir, "line"), func(heard []byte) (answer, rest []byte) { return r.answer(t, heard) })
	text := fmt.Sprintf(probeText, l.name, thermoMeaning)
	text = strings.Replace(text, "port = \"idle\"\nmodbus = {address = 1, register = 0}\nunit = \"L/min\"", "port = \"line\"\n"+conversation+flowMeaning, 1)
	// A loaded machine may take more than 100 ms to answer.
	return write(t, filepath.Join(dir, "rig.toml"), strings.Replace(text, `timeout = "100 ms"`, `timeout = "2 s"`, 1))
}

// TestProbeOfAWrongReading holds that a value which is not believable ends with
// 1 and with what else the bytes can mean, and that one which is believable ends
// with 0, the plain 0 of a shut valve too. Oracle: 1.2 and 1.5 as floats of 32
// bits (IEEE 754).
func TestProbeOfAWrongReading(t *testing.T) {
	t.Parallel()
	swapped := registers{inInput: {0: 0x999A, 1: 0x3F99}}
	for _, c := range []struct {
		name, conversation string
		slave              registers
		code               int
		says               []string
	}{
		{"right", flowConversation, registers{inInput: float(0, 1.2)}, exitDone, []string{"value     1.2 L/min\n"}},
		{"wrong order of words", flowConversation, swapped, exitFailed, []string{
			"-1.59e-23 is no number that a sensor sends; check words (the word order)",
			"or        the same bytes, words = \"little\": 1.2 L/min, believable\n",
			"or        the same bytes, bytes = \"swapped\": ",
			"or        the same bytes, words = \"little\", bytes = \"swapped\": ",
			"or        table = \"input\", register = 1: ", "or        table = \"holding\", register = 0: "}},
		{"a denormal", littleWords, registers{inInput: float(0, 1.5)}, exitFailed, []string{"is no number that a sensor sends", "the same bytes, words = \"big\": 1.5 L/min, believable\n"}},
		{"not a number", flowConversation, registers{inInput: {0: 0x7FC0, 1: 0x3F99}}, exitFailed, []string{"NaN in place of a number", "or        the same bytes, "}},
		{"negative", flowConversation, registers{inInput: float(0, -1.5)}, exitFailed, []string{"-1.5 L/min is a flow below zero", "or        the same bytes, "}},
		{"beyond the range", flowConversation, registers{inInput: float(0, 13)}, exitFailed, []string{"13 L/min is outside the sensor's range", "or        the same bytes, "}},
		{"below the range", flowConversation, registers{inInput: float(0, 0.1)}, exitFailed, []string{"value     0.1 L/min", "below the meter's range, which begins at 0.2 L/min", "or        the same bytes, "}},
		{"a shut valve", flowConversation, registers{inInput: float(0, 0)}, exitDone, []string{"value     0 L/min\n"}},
		{"one register too far", registerTooFar, registers{inInput: {0: 0x3FC0, 1: 0, 2: 0}}, exitDone, []string{"value     0 L/min\n", "or        table = \"input\", register = 0: 1.5 L/min, believable\n"}},
		{"the other table", flowConversation, registers{inHolding: float(0, 1.2)}, exitFailed, []string{"refuses function 4 with exception 2", "or        table = \"holding\", register = 0: 1.2 L/min, believable\n"}},
		{"counted from one, in the other table", registerOfAManual, registers{inHolding: float(16, 1.2)}, exitFailed, []string{"exception 2", "or        table = \"holding\", register = 16: 1.2 L/min, believable\n"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			config := probeFlow(t, c.slave, c.conversation)
			stdout, stderr, code := call(t, program, "probe", "--config", config, "flow")
			if code != c.code {
				t.Errorf("ends with %d, want %d: %s%s", code, c.code, stdout, stderr)
			}
			says(t, "it", stdout, c.says...)
			if c.name == "right" || c.name == "a shut valve" {
				if strings.Contains(stdout, "   or ") {
					t.Errorf("a believable value has others:\n%s", stdout)
				}
			}
			asJSON(t, config, c.code)
		})
	}
}

// asJSON holds the one line of --json: the same verdict, and the others where
// there are any.
func asJSON(t *testing.T, config string, want int) {
	t.Helper()
	stdout, stderr, code := call(t, program, "probe", "--json", "--config", config, "flow")
	var e struct {
		Sent, Received struct{ Hex, Text string }
		Value          *float64
		Seconds        float64
		Error          *string
		Others         []struct {
			Table, Words, Bytes string
			Register            *int
			Value               *float64
			Believable          bool
		}
	}
	if err := json.Unmarshal([]byte(stdout), &e); err != nil || strings.Count(stdout, "\n") != 1 || code != want || e.Sent.Hex == "" || e.Received.Hex == "" || e.Others == nil {
		t.Fatalf("%v: ends with %d: %s%s", err, code, stdout, stderr)
	}
	for _, o := range e.Others {
		if o.Table == "" || o.Words == "" || o.Bytes == "" || o.Register == nil || o.Believable && o.Value == nil {
			t.Errorf("another reading is %+v", o)
		}
	}
	if code != exitDone && len(e.Others) == 0 {
		t.Error("no other readings")
	}
}
