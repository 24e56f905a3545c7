//go:build unix

package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// slaveScript is a Modbus RTU slave made with pymodbus 3.0: four addresses on
// one line. Its data blocks count from 1, so that register 0 of the protocol is
// the first value.
const slaveScript = `
import struct, sys
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server.async_io import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

def block(*values): return ModbusSequentialDataBlock(1, list(values))
def float32(v): return struct.unpack(">HH", struct.pack(">f", v))

flow = ModbusSlaveContext(ir=block(*float32(1.2)), hr=block(0), di=block(0), co=block(0))
level = ModbusSlaveContext(hr=block(*[0] * 16, 14400), ir=block(0), di=block(0), co=block(0))
water = ModbusSlaveContext(ir=block(4200, 65536 - 350), hr=block(*reversed(float32(43.25))), di=block(0, 1), co=block(0))
StartSerialServer(context=ModbusServerContext(slaves={1: flow, 2: level, 3: water}, single=False),
    framer=ModbusRtuFramer, port=sys.argv[1], baudrate=19200, bytesize=8, parity="N", stopbits=1, timeout=1,
    ignore_missing_slaves=True)
`

// slaveConfig reads that slave. The tank's temperature comes low word first;
// air is at a register that the slave does not have, and nobody has address 7.
const slaveConfig = `
site = "north-hall"
rig = "bench-3"
interval = "200 ms"

[tube]
bore = "13.00 mm"
length = "900 mm"
watched_at = "0 mm"

[tank]
lip = "250 mm"
drop = "1.10 m"

[ports.bus]
device = %q
baud = 19200
framing = "8N1"
timeout = "200 ms"

[instruments.flow]
port = "bus"
every = "250 ms"
modbus = {address = 1, table = "input", register = 0, type = "float32", words = "big"}
unit = "L/min"

[instruments.level]
port = "bus"
every = "250 ms"
modbus = {reference = 40017, address = 2, type = "uint16"}
scale = {from = [4000, 20000], to = ["0 mm", "400 mm"]}

[instruments.temperature]
port = "bus"
every = "250 ms"
modbus = {address = 3, table = "input", register = 0, type = "uint16"}
scale = {from = [0, 10000], to = ["0 Cel", "100 Cel"]}

[instruments.ambient]
port = "bus"
every = "500 ms"
modbus = {address = 3, table = "input", register = 1, type = "int16"}
scale = {from = [0, 10000], to = ["0 Cel", "100 Cel"]}

[instruments.tank]
port = "bus"
every = "500 ms"
modbus = {address = 3, table = "holding", register = 0, type = "float32", words = "little"}
unit = "Cel"

[instruments.supply_on]
port = "bus"
every = "500 ms"
modbus = {address = 3, table = "discrete", register = 1}

[instruments.heater_outlet]
port = "bus"
every = "1 s"
modbus = {address = 3, table = "input", register = 40, type = "uint16"}
unit = "Cel"

[instruments.supply_flow]
port = "bus"
every = "2 s"
modbus = {address = 7, table = "input", register = 0, type = "uint16"}
unit = "mL/s"

[http]
listen = %q

[record]
directory = "record"
`

// python is Debian's interpreter with a module; see need.
func python(t *testing.T, module, debian string) string {
	t.Helper()
	path := "/usr/bin/python3"
	if exec.Command(path, "-c", "import "+module).Run() == nil {
		return path
	}
	return daqtest.Program(t, "python3 with "+module, debian)
}

// foreignSlave serves the slave at one end of a line and gives the name of the
// other.
func foreignSlave(t *testing.T, dir string) string {
	t.Helper()
	near, far := filepath.Join(dir, "near"), filepath.Join(dir, "far")
	interpreter := python(t, "pymodbus, serial_asyncio", "python3-pymodbus, python3-serial-asyncio")
	start(t, daqtest.Program(t, "socat", "socat"), "pty,rawer,link="+near, "pty,rawer,link="+far)
	within(t, 5*time.Second, "socat makes two ends", func() bool {
		_, a := os.Stat(near)
		_, b := os.Stat(far)
		return a == nil && b == nil
	})
	start(t, interpreter, "-u", write(t, filepath.Join(dir, "slave.py"), slaveScript), far)
	return near
}

// foreignWater is ρ and η of liquid water at 0.1 MPa as python3-iapws computes
// them, an independent implementation of IAPWS SR6-08(2011).
func foreignWater(t *testing.T, celsius float64) (density, viscosity float64) {
	t.Helper()
	script := fmt.Sprintf("from iapws._iapws import _Liquid\nw = _Liquid(273.15 + %g, 0.1)\nprint(repr(float(w['rho'])), repr(float(w['mu'])))", celsius)
	out, err := exec.Command(python(t, "iapws", "python3-iapws"), "-c", script).Output()
	fields := strings.Fields(string(out))
	if err != nil || len(fields) != 2 {
		t.Fatalf("iapws: %v: %s", err, out)
	}
	density, err1 := strconv.ParseFloat(fields[0], 64)
	viscosity, err2 := strconv.ParseFloat(fields[1], 64)
	if err1 != nil || err2 != nil {
		t.Fatalf("iapws prints %s", out)
	}
	return density, viscosity
}

// An instrument nobody here wrote: 1.200 L/min at 42.00 °C through 13.00 mm
// gives the Reynolds number of an independent water within 0.01 %.
func TestForeignInstrument(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	density, viscosity := foreignWater(t, 42)
	line := foreignSlave(t, dir)
	start(t, program, "run", "--config", write(t, filepath.Join(dir, "rig.toml"), fmt.Sprintf(slaveConfig, line, at)))
	good := []string{"flow", "level", "temperature", "ambient", "tank", "supply_on"}
	var state map[string]any
	within(t, 20*time.Second, "six good instruments and two bad ones", func() bool {
		state = now(at)
		quality, _ := state["quality"].(map[string]any)
		for _, name := range good {
			if quality[name] != "good" {
				return false
			}
		}
		outlet, _ := quality["heater_outlet"].(string)
		supply, _ := quality["supply_flow"].(string)
		// An instrument that never answered is first without a reading, then overdue.
		return strings.HasPrefix(outlet, "bad: ") && strings.HasPrefix(supply, "bad: ") && !strings.HasSuffix(supply, "no reading yet")
	})
	re := 4 * density * (1.2e-3 / 60) / (math.Pi * 0.013 * viscosity)
	t.Logf("Re %v, independent %.3f; %v", state["reynolds_number"], re, state["quality"])
	for _, c := range []struct {
		name      string
		want, tol float64 // tolerance relative
	}{
		{"reynolds_number", re, 1e-4},
		{"density_kg_per_cubic_meter", density, 1e-6},
		{"dynamic_viscosity_pascal_seconds", viscosity, 1e-6},
		{"flow_cubic_meters_per_second", 2e-5, 1e-7}, // a float32 has 24 bits
		{"temperature_celsius", 42, 1e-12},
		{"level_meters", 0.26, 1e-12},
		{"ambient_celsius", -3.5, 1e-12},
		{"tank_celsius", 43.25, 1e-12},
	} {
		if got, _ := state[c.name].(float64); !(math.Abs(got/c.want-1) <= c.tol) {
			t.Errorf("%s = %v, want %v within %g", c.name, state[c.name], c.want, c.tol)
		}
	}
	if state["supply_on"] != true || state["heater_outlet_celsius"] != nil || state["supply_flow_cubic_meters_per_second"] != nil {
		t.Errorf("supply_on %v, heater_outlet %v, supply_flow %v; want true, null, null",
			state["supply_on"], state["heater_outlet_celsius"], state["supply_flow_cubic_meters_per_second"])
	}
	quality := state["quality"].(map[string]any)
	for name, word := range map[string]string{"heater_outlet": "exception", "supply_flow": "no answer"} {
		if why, _ := quality[name].(string); !strings.Contains(why, word) {
			t.Errorf("quality of %s is %q, want it to say %q", name, why, word)
		}
	}
}
