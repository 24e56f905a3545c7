//go:build unix

package instrument

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// cable joins the far ends of two terminals, so that both near ends are serial
// lines with a name.
func cable(t testing.TB) (a, b *terminal) {
	a, b = newTerminal(t), newTerminal(t)
	go io.Copy(a.far, b.far)
	go io.Copy(b.far, a.far)
	return a, b
}

// begin starts a slave process, and ends it with the test.
func begin(t testing.TB, stdin string, name string, args ...string) {
	t.Helper()
	command := exec.Command(name, args...)
	command.Stdin = strings.NewReader(stdin)
	command.Stderr = os.Stderr
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		command.Process.Kill()
		command.Wait()
	})
}

// readOnce polls one instrument until it answers cleanly, or with an
// exception, or the time is over.
func readOnce(t testing.TB, w *wire, in config.Instrument) daq.Reading {
	t.Helper()
	p := plan([]config.Instrument{in})[0]
	var r daq.Reading
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end); {
		results, _ := p.exchange(w)
		r = reading(&in, results[0], 0, 0)
		if r.Reason != daq.ReasonTimeout {
			return r
		}
	}
	return r
}

func plainPort(device string) config.Port {
	return config.Port{Name: "bus", Device: device, Baud: 19200, DataBits: 8, Parity: config.NoParity, StopBits: 1, Timeout: 300 * time.Millisecond}
}

func openWire(t testing.TB, device string) *wire {
	t.Helper()
	port := plainPort(device)
	line, err := OpenSerial(port)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { line.Close() })
	return newWire(line, port)
}

// cell is a number in the slave, as its description has it.
type cell struct {
	At    uint16  `json:"at"`
	Type  string  `json:"type,omitempty"`
	Words string  `json:"words,omitempty"`
	Bytes string  `json:"bytes,omitempty"`
	Value float64 `json:"value"`
}

var numberTypes = map[string]config.NumberType{
	"uint16": config.Uint16, "int16": config.Int16, "uint32": config.Uint32, "int32": config.Int32,
	"float32": config.Float32, "uint64": config.Uint64, "float64": config.Float64,
}

// everyCell is every type in every order, one after another.
func everyCell() []cell {
	values := map[string]float64{
		"uint16": 65535, "int16": -12345, "uint32": 4042322160, "int32": -1234567890,
		"float32": -1.5, "uint64": 1 << 52, "float64": 1.2345678901234567e-5,
	}
	var list []cell
	at := uint16(3)
	for _, kind := range []string{"uint16", "int16", "uint32", "int32", "float32", "uint64", "float64"} {
		for _, words := range []string{"big", "little"} {
			for _, bytes := range []string{"normal", "swapped"} {
				c := cell{At: at, Type: kind, Words: words, Bytes: bytes, Value: values[kind]}
				at += uint16(numberTypes[kind].Words())
				list = append(list, c)
			}
		}
	}
	return list
}

func (c cell) instrument(address byte, table config.Table) config.Instrument {
	return config.Instrument{
		ID: quantity.Flow, Name: "flow", Port: "bus", Every: time.Second,
		Modbus: &config.Modbus{
			Address: address, Table: table, Register: c.At, Type: numberTypes[c.Type],
			WordsLittle: c.Words == "little", BytesSwapped: c.Bytes == "swapped",
		},
	}
}

// Oracle: pymodbus 3.0 as the slave, Python's struct as the packer of numbers.
func TestAgainstPymodbus(t *testing.T) {
	daqtest.Require(t, "python3-pymodbus with python3-serial-asyncio", exec.Command("/usr/bin/python3", "-c", "import pymodbus, serial_asyncio").Run() == nil)
	cells := everyCell()
	bits := []cell{{At: 0, Value: 1}, {At: 1, Value: 0}, {At: 13, Value: 1}}
	description, err := json.Marshal(map[string]map[string][]cell{
		"1": {"input": cells, "coil": bits},
		"7": {"holding": cells, "discrete": bits},
	})
	if err != nil {
		t.Fatal(err)
	}
	near, far := cable(t)
	begin(t, string(description), "/usr/bin/python3", "testdata/slave.py", far.device, "19200")
	w := openWire(t, near.device)
	check := func(what string, in config.Instrument, want float64) {
		t.Helper()
		if r := readOnce(t, w, in); r.Reason != "" || r.Number != want {
			t.Errorf("%s: %v, %s %s, want %v", what, r.Number, r.Reason, r.Error, want)
		}
	}
	for _, c := range cells {
		check(fmt.Sprintf("input %+v", c), c.instrument(1, config.InputTable), c.Value)
		check(fmt.Sprintf("holding %+v", c), c.instrument(7, config.HoldingTable), c.Value)
	}
	for _, c := range bits {
		check(fmt.Sprintf("coil %+v", c), c.instrument(1, config.CoilTable), c.Value)
		check(fmt.Sprintf("discrete %+v", c), c.instrument(7, config.DiscreteTable), c.Value)
	}
	// Two numbers in one answer, and a write that is read back.
	pair := plan([]config.Instrument{cells[0].instrument(1, config.InputTable), cells[1].instrument(1, config.InputTable)})
	if results, err := pair[0].exchange(w); len(pair) != 1 || err != nil || results[0].number != 65535 || results[1].number != 65535 {
		t.Errorf("two in one answer: %+v, %v", results, err)
	}
	if err := w.writeCoil(t.Context(), 1, 1, true); err != nil {
		t.Error(err)
	}
	check("the coil written", cell{At: 1}.instrument(1, config.CoilTable), 1)
	if r := readOnce(t, w, cell{At: 900, Type: "uint16"}.instrument(1, config.InputTable)); r.Reason != daq.ReasonException || !strings.Contains(r.Error, "exception 2, no such register") {
		t.Errorf("a register that is not there: %+v", r)
	}
}

// Oracle: libmodbus 3.1 as the slave, compiled here; the four orders of a float
// as IEEE 754 has its bytes.
func TestAgainstLibmodbus(t *testing.T) {
	compiler, err := exec.LookPath("cc")
	daqtest.Require(t, "a C compiler", err == nil)
	daqtest.Require(t, "libmodbus-dev", exec.Command("sh", "-c", "test -e /usr/include/modbus/modbus.h").Run() == nil)
	program := filepath.Join(t.TempDir(), "slave")
	if out, err := exec.Command(compiler, "-I/usr/include/modbus", "-o", program, "testdata/slave.c", "-lmodbus").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	near, far := cable(t)
	begin(t, "", program, far.device, "19200", "17")
	w := openWire(t, near.device)
	check := func(what string, in config.Instrument, want float64) {
		t.Helper()
		if r := readOnce(t, w, in); r.Reason != "" || r.Number != want {
			t.Errorf("%s: %v, %s %s, want %v", what, r.Number, r.Reason, r.Error, want)
		}
	}
	for _, n := range []uint16{0, 7, 39} {
		c := cell{At: n, Type: "uint16"}
		check("input register", c.instrument(17, config.InputTable), float64(100+n))
		check("holding register", c.instrument(17, config.HoldingTable), float64(200+n))
		check("discrete input", c.instrument(17, config.DiscreteTable), float64(n%2))
		on := 0.0
		if n%3 == 0 {
			on = 1
		}
		check("coil", c.instrument(17, config.CoilTable), on)
	}
	for i, order := range []struct{ words, bytes string }{{"big", "normal"}, {"little", "swapped"}, {"big", "swapped"}, {"little", "normal"}} {
		c := cell{At: uint16(40 + 2*i), Type: "float32", Words: order.words, Bytes: order.bytes}
		check(fmt.Sprintf("float %+v", order), c.instrument(17, config.InputTable), float64(float32(123.456)))
	}
	if err := w.writeCoil(t.Context(), 17, 1, true); err != nil {
		t.Error(err)
	}
	check("the coil written", cell{At: 1}.instrument(17, config.CoilTable), 1)
	if r := readOnce(t, w, cell{At: 64, Type: "uint16"}.instrument(17, config.InputTable)); r.Reason != daq.ReasonException {
		t.Errorf("a register that is not there: %+v", r)
	}
}
