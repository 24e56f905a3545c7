//go:build unix

package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
	"flowrigd/daq/modbus"
)

// probeText is a configuration whose thermometer is probed; the other two stand
// on a line that is not there, which probe must not mind.
const probeText = `site = "north-hall"
rig = "bench-3"
[tube]
bore = "13.00 mm"
length = "900 mm"
[tank]
lip = "250 mm"
drop = "1.10 m"
[ports.line]
device = %q
baud = 19200
framing = "8N1"
timeout = "100 ms"
[ports.idle]
device = "/dev/serial/by-id/none"
[instruments.flow]
port = "idle"
modbus = {address = 1, register = 0}
unit = "L/min"
[instruments.level]
port = "idle"
modbus = {address = 2, register = 0}
unit = "mm"
[instruments.ambient]
port = "idle"
modbus = {address = 3, register = 0}
unit = "Cel"
[instruments.temperature]
port = "line"
every = "100 ms"
%s
`

// The thermometer in each conversation.
const (
	asModbus = "modbus = {address = 1, table = \"input\", register = 0, type = \"float32\"}\nunit = \"Cel\""
	asQuery  = "query = {send = \"T?\\r\", reply = \"T={value}\", end = \"\\r\\n\"}\nunit = \"Cel\""
	asStream = "stream = {line = \"T={value}\", end = \"\\n\"}\nunit = \"Cel\""
	asLoop   = "query = {send = \"T?\\r\", reply = \"T={value}\", end = \"\\r\\n\"}\nscale = {from = [4, 20], to = [\"0 Cel\", \"100 Cel\"]}"
	asCouple = "query = {send = \"T?\\r\", reply = \"T={value}\", end = \"\\r\\n\"}\nunit = \"mV\"\n"
	summed   = "\nchecksum = \"xor\""
)

// answered is the frame of 25.5 °C (frame and CRC as in package modbus, from an
// independent program).
var answered = modbus.ReadResponse(1, modbus.ReadInputRegisters, []byte{0x41, 0xCC, 0, 0})

func changed(at int, mask byte) []byte {
	f := bytes.Clone(answered)
	f[at] ^= mask
	return f
}

// probeCases say what the far end sends when asked (or unprompted), and what
// probe must make of it: a value in degrees Celsius, or the parts of a sentence.
var probeCases = []struct {
	name, table string
	sends       []byte
	value       float64
	says        []string
}{
	{"modbus", asModbus, answered, 25.5, nil},
	{"modbus, noise", asModbus, changed(4, 0x10), 0, []string{"address 1 on line (", "the answer's CRC does not agree with its bytes", "check baud, parity, termination and shielding"}},
	{"modbus, half a frame", asModbus, answered[:5], 0, []string{"half an answer from address 1 on line (", "within 300 ms: 01 04 04 41 CC", "check wiring, termination, baud and timeout"}},
	{"modbus, silence", asModbus, nil, 0, []string{"no answer from address 1 on line (", "within 300 ms", "check wiring A/B, address, baud and timeout"}},
	{"modbus, the adapter's echo alone", asModbus, modbus.ReadRequest(1, 4, 0, 2), 0, []string{"only the adapter's echo", "check wiring A/B, address, baud and timeout"}},
	{"modbus, echo and answer", asModbus, append(modbus.ReadRequest(1, 4, 0, 2), answered...), 25.5, nil},
	{"modbus, wrong address", asModbus, modbus.ReadResponse(7, 4, []byte{0x41, 0xCC, 0, 0}), 0, []string{"address 7 answers where address 1 was asked", "check the addresses"}},
	{"modbus, exception", asModbus, modbus.ExceptionResponse(1, 4, 2), 0, []string{"refuses function 4 with exception 2", "check register or reference and the type's size"}},
	{"modbus, too short", asModbus, modbus.ReadResponse(1, 4, []byte{0x41, 0xCC}), 0, []string{"address 1 on line (", "check for two devices with one address"}},
	{"modbus, more behind it", asModbus, append(bytes.Clone(answered), 0x55), 0, []string{"bytes stand right behind the answer", "check termination and bias"}},
	{"modbus, failed sensor", asModbus, modbus.ReadResponse(1, 4, binary.BigEndian.AppendUint32(nil, math.Float32bits(float32(math.NaN())))), 0, []string{"NaN in place of a number", "check words and bytes"}},
	{"query", asQuery, []byte("T=25.5\r\n"), 25.5, nil},
	{"query, echo and answer", asQuery, []byte("T?\rT=25.5\r\n"), 25.5, nil},
	{"query, silence", asQuery, nil, 0, []string{`no answer to "T?\r" on line (`, "within 300 ms", "check the text to send, wiring, baud and timeout"}},
	{"query, echo alone", asQuery, []byte("T?\r"), 0, []string{"only its echo", "check the text to send"}},
	{"query, half a line", asQuery, []byte("T=25"), 0, []string{"half a line on line (", `"T=25" has no end "\r\n"`, "check end, baud and timeout"}},
	{"query, garbled", asQuery, []byte("T=2z.5\r\n"), 0, []string{`"2z.5" is not a decimal number`, "check the pattern, and baud"}},
	{"query, another line", asQuery, []byte("ERR 3\r\n"), 0, []string{`"ERR 3" does not fit "T={value}"`, "check the pattern"}},
	{"query, two lines", asQuery, []byte("T=25.5\r\nT=25.5\r\n"), 0, []string{"more than one line came for one question", "check whether the timeout is too short"}},
	// The XOR of 54 3D 32 35 2E 35 is 75, by hand.
	{"query, checksum", asQuery + summed, []byte("T=25.541\r\n"), 0, []string{"wrong checksum: 41 where its bytes make 75", "check baud and shielding"}},
	{"query, right checksum", asQuery + summed, []byte("T=25.575\r\n"), 25.5, nil},
	{"stream", asStream, []byte("T=25.5\n"), 25.5, nil},
	{"stream, silence", asStream, nil, 0, []string{"no whole line on line (", "within 500 ms, 0 bytes", "that the instrument is set to send unprompted"}},
	{"stream, another end", asStream, []byte("T=25.5\r"), 0, []string{"no whole line on line (", "check end"}},
	{"stream, garbled", asStream, []byte("T=2z.5\n"), 0, []string{`"2z.5" is not a decimal number`}},
	{"query, a decimal comma", asQuery, []byte("T=25,5\r\n"), 0, []string{`"25,5" has a decimal comma; set the instrument to send a point, or write decimal = "," beside the pattern`}},
	{"query, a decimal comma as configured", strings.Replace(asQuery, "T={value}\"", "T={value}\", decimal = \",\"", 1), []byte("T=25,5\r\n"), 25.5, nil},
	{"stream, checksum", asStream + summed, []byte("T=25.541\n"), 0, []string{"wrong checksum: 41 where its bytes make 75"}},
	{"current loop", asLoop, []byte("T=8.08\r\n"), 25.5, nil},
	{"current loop, open", asLoop, []byte("T=3.4\r\n"), 0, []string{"the loop carries 3.40 mA: the sensor has failed or the loop is open"}},
	{"out of range", asQuery + "\nrange = [\"0 Cel\", \"110 Cel\"]", []byte("T=125\r\n"), 0, []string{"125 Cel is outside the sensor's range of 0 Cel to 110 Cel"}},
	// NIST Monograph 175: type K gives 4.096 mV at 100 °C against 0 °C.
	{"thermocouple", asCouple + `thermocouple = {type = "K", cold_junction = "0 Cel ± 1 K"}`, []byte("T=4.0962\r\n"), 100, nil},
}

// probeLine lays a line whose far end sends those bytes, and writes the
// configuration.
func probeLine(t *testing.T, table string, sends []byte) (config string) {
	t.Helper()
	dir := t.TempDir()
	l := newHandLine(t, filepath.Join(dir, "line"), func(heard []byte) (answer, rest []byte) {
		if size := len(modbus.ReadRequest(1, 4, 0, 2)); strings.HasPrefix(table, "modbus") && len(heard) < size {
			return nil, heard
		} else if !bytes.HasSuffix(heard, []byte("\r")) && strings.HasPrefix(table, "query") || len(heard) == 0 {
			return nil, heard
		}
		return sends, nil
	})
	if strings.HasPrefix(table, "stream") {
		talk(t, l, func() []byte { return sends })
	}
	patient := strings.Replace(probeText, `timeout = "100 ms"`, `timeout = "300 ms"`, 1) // a loaded machine has other work as well
	return write(t, filepath.Join(dir, "rig.toml"), fmt.Sprintf(patient, l.name, table))
}

// talk makes the far end of a line send unprompted, ten times a second.
func talk(t *testing.T, l *handLine, text func() []byte) (stop func()) {
	return every(t, l, 100*time.Millisecond, text)
}

// every makes the far end of a line send at a pace until it is stopped, at the
// latest at the test's end.
func every(t *testing.T, l *handLine, pace time.Duration, text func() []byte) (stop func()) {
	quit, done, far := make(chan struct{}), make(chan struct{}), l.far
	go func() {
		defer close(done)
		ticker := time.NewTicker(pace)
		defer ticker.Stop()
		for {
			if _, err := far.Write(text()); err != nil {
				return
			}
			select {
			case <-quit:
				return
			case <-ticker.C:
			}
		}
	}()
	stop = sync.OnceFunc(func() {
		close(quit)
		_ = far.SetWriteDeadline(time.Now()) // nobody may listen
		<-done
		_ = far.SetWriteDeadline(time.Time{})
	})
	t.Cleanup(stop)
	return stop
}

// TestProbeOfEachConversation drives the built program against a far end that
// answers well or badly, as JSON: a value, or the sentence that helps.
func TestProbeOfEachConversation(t *testing.T) {
	t.Parallel()
	for _, c := range probeCases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			stdout, stderr, code := call(t, program, "probe", "--json", "--config", probeLine(t, c.table, c.sends), "temperature")
			var e struct {
				Sent, Received *struct{ Hex, Text *string }
				Value          *float64
				Seconds        float64
				Error          *string
			}
			if err := json.Unmarshal([]byte(stdout), &e); err != nil || strings.Count(stdout, "\n") != 1 || e.Sent == nil || e.Received == nil {
				t.Fatalf("%v: %q, %s", err, stdout, stderr)
			}
			if e.Seconds < 0 || e.Seconds > 2 {
				t.Errorf("it took %v s", e.Seconds)
			}
			if asked := !strings.HasPrefix(c.table, "stream"); asked != (*e.Sent.Hex != "") || asked != (*e.Sent.Text != "") {
				t.Errorf("sent %q %q", *e.Sent.Hex, *e.Sent.Text)
			}
			if heard := len(c.sends) > 0; heard && !strings.Contains(*e.Received.Hex, fmt.Sprintf("% X", c.sends)) || heard != (*e.Received.Text != "") {
				t.Errorf("received %q %q", *e.Received.Hex, *e.Received.Text)
			}
			if c.says == nil {
				if code != exitDone || e.Error != nil || e.Value == nil || math.Abs(*e.Value-c.value) > 2e-3 {
					t.Errorf("ends with %d: %s, want %v", code, stdout, c.value)
				}
				return
			}
			if code != exitFailed || e.Value != nil || e.Error == nil {
				t.Fatalf("ends with %d: %s", code, stdout)
			}
			says(t, "error", *e.Error, c.says...)
		})
	}
}

// TestProbeForPeople holds the whole of what a person reads, but for the timing
// and the line's name.
func TestProbeForPeople(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, table string
		sends       []byte
		want        string
	}{
		{"modbus", asModbus, answered, `1  temperature on line (LINE), 19200 Bd, 8N1
   sent      01 04 00 00 00 02 71 CB                          "\x01\x04\x00\x00\x00\x02q\xcb"
   received  01 04 04 41 CC 00 00 2F 87                       "\x01\x04\x04A\xcc\x00\x00/\x87"
   number    25.5 on the wire
   took      TIME
   value     25.5 °C
`},
		{"silence", asQuery, nil, `1  temperature on line (LINE), 19200 Bd, 8N1
   sent      54 3F 0D                                         "T?\r"
   received  nothing
   took      TIME
   fault     no answer to "T?\r" on line (LINE) within 300 ms; check the text to send, wiring, baud and timeout
`},
		{"stream", asStream, []byte("T=25.5                \n"), `1  temperature on line (LINE), 19200 Bd, 8N1
   sent      nothing
   received  54 3D 32 35 2E 35 20 20 20 20 20 20 20 20 20 20  "T=25.5          "
             20 20 20 20 20 20 0A                             "      \n"
   number    25.5 on the wire
   took      TIME
   value     25.5 °C
`},
		{"outside", asQuery + "\nrange = [\"0 Cel\", \"110 Cel\"]", []byte("T=125\r\n"), `1  temperature on line (LINE), 19200 Bd, 8N1
   sent      54 3F 0D                                         "T?\r"
   received  54 3D 31 32 35 0D 0A                             "T=125\r\n"
   number    125 on the wire
   took      TIME
   fault     125 °C is outside the sensor's range of 0 °C to 110 °C
`},
		{"doubtful", asQuery + "\ncorrect = [[\"0 Cel\", \"0.5 Cel\"], [\"60 Cel\", \"60 Cel\"]]", []byte("T=70\r\n"), `1  temperature on line (LINE), 19200 Bd, 8N1
   sent      54 3F 0D                                         "T?\r"
   received  54 3D 37 30 0D 0A                                "T=70\r\n"
   number    70 on the wire
   took      TIME
   quality   uncertain: 70 °C is outside the calibrated range of 0 °C to 60 °C
   value     70 °C
`},
		{"a cold junction elsewhere", asCouple + `thermocouple = {type = "K", cold_junction = "ambient"}`, []byte("T=1.2\r\n"), `1  temperature on line (LINE), 19200 Bd, 8N1
   sent      54 3F 0D                                         "T?\r"
   received  54 3D 31 2E 32 0D 0A                             "T=1.2\r\n"
   number    1.2 on the wire
   took      TIME
   note      its cold junction is measured by ambient, which this probe does not ask; run computes the temperature from both, probe ambient as well
`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			config := probeLine(t, c.table, c.sends)
			stdout, _, _ := call(t, program, "probe", "--config", config, "temperature")
			got := strings.ReplaceAll(stdout, filepath.Join(filepath.Dir(config), "line"), "LINE")
			got = regexp.MustCompile(`(?m)^(   took      )[0-9.]+ (ms|s)$`).ReplaceAllString(got, "${1}TIME")
			if got != c.want {
				t.Errorf("it prints\n%swant\n%s", got, c.want)
			}
		})
	}
}

// TestProbeLog keeps a conversation as a line log, and plays it again at the far
// end of another line: the same is asked, and the same comes out.
func TestProbeLog(t *testing.T) {
	t.Parallel()
	first := probeLine(t, asQuery, []byte("T=25.5\r\n"))
	file := filepath.Join(filepath.Dir(first), "query.log")
	if _, stderr, code := call(t, program, "probe", "--config", first, "--count", "3", "--log", file, "temperature"); code != exitDone {
		t.Fatal(stderr)
	}
	text := read(t, file)
	says(t, "the log", text, "# temperature on line (", "), 19200 Bd, 8N1\n", ` sent 54 3F 0D # T?\r`, ` heard 54 3D 32 35 2E 35 0D 0A # T=25.5\r\n`, "# 3: value: 25.5 °C\n")
	log := daqtest.Load(t, file)
	answers, asked := daqtest.Heard(log), 0
	second := filepath.Join(t.TempDir(), "line")
	newHandLine(t, second, func(heard []byte) (answer, rest []byte) {
		if !bytes.HasSuffix(heard, []byte("\r")) || asked == len(answers) {
			return nil, heard
		}
		asked++
		return answers[asked-1], nil
	})
	// A loaded machine may take more than 100 ms to play an answer.
	patient := strings.Replace(fmt.Sprintf(probeText, second, asQuery), `timeout = "100 ms"`, `timeout = "2 s"`, 1)
	config := write(t, second+".toml", patient)
	if stdout, stderr, code := call(t, program, "probe", "--config", config, "--count", "3", "temperature"); code != exitDone || strings.Count(stdout, "25.5 °C") != 3 {
		t.Errorf("ends with %d: %s%s", code, stdout, stderr)
	}
}

// TestProbeSaysWhosePlugItIs: what comes on the flow's line is a line of the
// thermometer, which has another port in the configuration.
func TestProbeSaysWhosePlugItIs(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	l := newHandLine(t, filepath.Join(dir, "line"), func(heard []byte) (answer, rest []byte) {
		if len(heard) == 0 {
			return nil, nil
		}
		return []byte("T=25.5\r\n"), nil
	})
	text := strings.NewReplacer(`port = "line"`, `port = "idle"`, `port = "idle"`, `port = "line"`, "100 ms", "2 s").Replace(fmt.Sprintf(probeText, l.name, asQuery))
	stdout, _, code := call(t, program, "probe", "--config", write(t, filepath.Join(dir, "rig.toml"), text), "flow")
	if want := "a line came that fits instruments.temperature of ports.idle: are the plugs of the two swapped?"; code != exitFailed || !strings.Contains(stdout, want) {
		t.Errorf("ends with %d: %s, want %q", code, stdout, want)
	}
}

// TestProbeRefuses holds wrong use and lines that cannot be had.
func TestProbeRefuses(t *testing.T) {
	t.Parallel()
	config := probeLine(t, asQuery, []byte("T=25.5\r\n"))
	line := filepath.Join(filepath.Dir(config), "line")
	taken := write(t, filepath.Join(filepath.Dir(config), "taken"), "x")
	for _, c := range []struct {
		words []string
		code  int
		want  string
	}{
		{[]string{"salinity"}, exitUsage, "probe: salinity: no instrument of that name in the configuration; it has flow, temperature, level, ambient"},
		{[]string{"temperature", "--count", "0"}, exitUsage, "probe: --count 0: write 1 or more"},
		{[]string{"temperature", "--log", taken}, exitUsage, "the file is there already; write the name of a new one"},
		{[]string{"temperature", "--log", filepath.Join(line, "x")}, exitFailed, "probe: log: "},
		{[]string{"flow"}, exitFailed, "probe: idle: /dev/serial/by-id/none: open: no such device; plug the cable in, or correct device (flowrigd ports lists the names)"},
	} {
		_, stderr, code := call(t, program, append([]string{"probe", "--config", config}, c.words...)...)
		if code != c.code {
			t.Errorf("%v ends with %d, want %d", c.words, code, c.code)
		}
		says(t, fmt.Sprint(c.words), stderr, c.want)
	}
	if got := read(t, taken); got != "x" {
		t.Errorf("the file that was there is %q", got)
	}
	free := occupy(t, line)
	if _, stderr, code := call(t, program, "probe", "--config", config, "temperature"); code != exitFailed || !strings.Contains(stderr, "another program has the line; stop that program, or give each its own line") {
		t.Errorf("a busy line: ends with %d: %s", code, stderr)
	}
	free()
	if _, err := os.Stat(line); err != nil {
		t.Error(err)
	}
}
