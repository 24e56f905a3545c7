package config

import (
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// load reads a good file and fails when it is not.
func load(t *testing.T, name string) *Config {
	t.Helper()
	c, problems := Load("../testdata/rigs/good/" + name + ".toml")
	if c == nil {
		t.Fatalf("%s is refused: %v", name, problems)
	}
	return c
}

func equal(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s: got %+v, want %+v", what, got, want)
	}
}

// The wanted values are those of the file, turned into SI by hand.
func TestBench(t *testing.T) {
	c := load(t, "bench")
	equal(t, "site", c.Site, "north-hall")
	equal(t, "rig", c.Rig, "bench-3")
	equal(t, "altitude", c.Altitude, 120.0)
	equal(t, "interval", c.Interval, 200*time.Millisecond)
	equal(t, "tube", c.Tube, Tube{
		Bore: uncertainty.Value{X: 0.013, U: 0.00002}, Length: uncertainty.Value{X: 0.9},
		Roughness: uncertainty.Value{X: 1.5e-6}, Orientation: pipe.VerticalDown,
		Outer: uncertainty.Value{X: 0.016, U: 0.0005}, WatchedAt: uncertainty.Value{X: 0.45}, Room: uncertainty.Value{X: 20, U: 2.5},
	})
	equal(t, "water", c.Water, Water{ViscosityExtra: 0.001})
	equal(t, "tank", c.Tank, Tank{Lip: uncertainty.Value{X: 0.25}, Drop: uncertainty.Value{X: 1.1}})
	equal(t, "regime", c.Regime, Regime{2000, 4000})
	equal(t, "ports", c.Ports, []Port{
		{"bus", "/dev/serial/by-id/usb-rs485-0", 19200, 8, EvenParity, 1, 200 * time.Millisecond},
		{"tc", "/dev/ttyUSB1", 9600, 8, NoParity, 1, 200 * time.Millisecond},
	})
	equal(t, "mqtt", *c.MQTT, MQTT{
		Broker: "tls://broker.north-hall.example:8883", Topic: "flowrig", Every: time.Second, KeepAlive: 10 * time.Second,
		Username: "bench-3", PasswordFile: beside(t, "mqtt.secret"), CAFile: beside(t, "ca.pem"),
	})
	equal(t, "http", c.HTTP, HTTP{"127.0.0.1:8080", beside(t, "tokens")})
	equal(t, "record", c.Record, Record{"/var/lib/flowrigd", time.Second, time.Second, 400 * day, 30 * day, 20e9})
}

// beside is a file beside the good files, absolute.
func beside(t *testing.T, name string) string {
	t.Helper()
	path, err := filepath.Abs("../testdata/rigs/good/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func TestBenchInstruments(t *testing.T) {
	c := load(t, "bench")
	flow := c.Instrument(quantity.Flow)
	equal(t, "flow modbus", *flow.Modbus, Modbus{Address: 1, Table: InputTable, Register: 0, Type: Float32})
	equal(t, "flow every", flow.Every, 200*time.Millisecond)
	equal(t, "flow stale after", flow.StaleAfter, 2*time.Second)
	if r := flow.Range; !near(r.Low, 0.2e-3/60, 1e-12) || !near(r.High, 12e-3/60, 1e-12) {
		t.Errorf("range of flow: %+v", r)
	}
	if a := flow.Accuracy; !near(a.OfReading, 0.005, 1e-12) || !near(a.Fixed, 5e-6/60, 1e-12) || a.OfSpan != 0 {
		t.Errorf("accuracy of flow: %+v", a)
	}
	temperature := c.Instrument(quantity.Temperature)
	equal(t, "send", string(temperature.Query.Send), "T?\r")
	equal(t, "end", string(temperature.Query.End), "\r\n")
	equal(t, "type", temperature.Thermocouple.Type, "K")
	equal(t, "junction", *temperature.Thermocouple.ColdJunction, uncertainty.Value{X: 23, U: 1})
	if u := temperature.Unit; !near(u.Factor, 1, 1e-15) || u.Offset != 0 {
		t.Errorf("a thermocouple's mV must come as mV: %+v", u)
	}
	equal(t, "accuracy", *temperature.Accuracy, Accuracy{Fixed: 1.5})
	level := c.Instrument(quantity.Level)
	equal(t, "level modbus", *level.Modbus, Modbus{Address: 2, Table: HoldingTable, Register: 16, Type: Uint16})
	equal(t, "level scale", *level.Scale, Scale{From: [2]float64{4000, 20000}, To: [2]float64{0, 0.4}})
	equal(t, "level points", len(level.Correct), 2)
}

// The figures of the built-in alarms are those of the alarm table that users
// are told.
func TestBuiltInAlarms(t *testing.T) {
	c := load(t, "bench")
	var names []string
	for _, a := range c.Alarms {
		names = append(names, a.Name)
		if a.Cause == "" || a.Consequence == "" || a.Action == "" {
			t.Errorf("%s lacks a sentence", a.Name)
		}
	}
	equal(t, "names", names, []string{
		"water-overheat", "head-lost", "instrument-fault-flow", "instrument-fault-temperature",
		"instrument-fault-level", "recording-failed", "broker-lost", "fast-flow",
	})
	overheat, head, fast := c.Alarms[0], c.Alarms[1], c.Alarms[7]
	equal(t, "overheat above", *overheat.Above, 75.0)
	equal(t, "overheat deadband", overheat.Deadband, 2.0)
	equal(t, "overheat delay", overheat.OnDelay, 2*time.Second)
	equal(t, "overheat acts", []bool{overheat.Latch, overheat.Trip, overheat.BuiltIn}, []bool{true, true, true})
	equal(t, "head below", *head.Below, 0.25-0.02)
	equal(t, "head deadband", head.Deadband, 5e-3)
	equal(t, "head acts", []bool{head.Latch, head.Trip}, []bool{true, true})
	for i, trip := range []bool{false, true, true} {
		a := c.Alarms[2+i]
		equal(t, a.Name, []any{a.Kind, a.Priority, a.OnDelay, a.Trip, a.Latch}, []any{AlarmFault, "high", time.Duration(0), trip, false})
	}
	equal(t, "disk", []any{c.Alarms[5].Kind, c.Alarms[5].Priority, c.Alarms[5].OnDelay}, []any{AlarmDisk, "medium", 10 * time.Second})
	equal(t, "broker", []any{c.Alarms[6].Kind, c.Alarms[6].Priority, c.Alarms[6].OnDelay}, []any{AlarmBroker, "medium", time.Minute})
	equal(t, "own", []any{fast.On, *fast.Above, fast.Deadband, fast.OnDelay, fast.Priority, fast.Latch, fast.Trip},
		[]any{[]quantity.ID{quantity.Velocity}, 1.5, 0.02 * 1.5, 2 * time.Second, "low", false, false})
	equal(t, "own cause", fast.Cause, "The velocity is above its limit of 1.5 m/s.")
}

// The zone is for people; 5.5 h east of Greenwich is the IANA database's Asia/Kolkata.
func TestZone(t *testing.T) {
	noon := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	equal(t, "written", noon.In(load(t, "everything").Zone).Format("15:04 -0700"), "17:30 +0530")
	equal(t, "by default", load(t, "least").Zone, time.Local)
}

func TestDefaults(t *testing.T) {
	c := load(t, "least")
	equal(t, "altitude", c.Altitude, 0.0)
	equal(t, "interval", c.Interval, 200*time.Millisecond)
	equal(t, "roughness", c.Tube.Roughness, uncertainty.Value{X: 1.5e-6})
	equal(t, "orientation", c.Tube.Orientation, pipe.VerticalDown)
	equal(t, "regime", c.Regime, Regime{2000, 4000})
	equal(t, "port", c.Ports[0], Port{"bus", beside(t, "bus"), 19200, 8, EvenParity, 1, 200 * time.Millisecond})
	flow := c.Instrument(quantity.Flow)
	equal(t, "every", flow.Every, 200*time.Millisecond)
	equal(t, "stale after", flow.StaleAfter, 2*time.Second)
	equal(t, "none", []any{flow.Range, flow.Accuracy, flow.FrozenAfter, flow.Lag, flow.MaxStep, flow.Checksum},
		[]any{(*Range)(nil), (*Accuracy)(nil), time.Duration(0), time.Duration(0), 0.0, NoChecksum})
	if c.MQTT != nil {
		t.Error("a broker without a table")
	}
	if slices.ContainsFunc(c.Alarms, func(a Alarm) bool { return a.Kind == AlarmBroker }) {
		t.Error("broker-lost without a broker")
	}
	if slices.ContainsFunc(c.Alarms, func(a Alarm) bool { return a.Kind == AlarmReceiver }) {
		t.Error("receiver-failed without a receiver")
	}
	equal(t, "http", c.HTTP, HTTP{"127.0.0.1:8080", beside(t, "tokens")})
	equal(t, "record", c.Record, Record{beside(t, "record"), time.Second, time.Second, 400 * day, 400 * day, 20e9})
	equal(t, "digest", len(c.SHA256), 64)
}

func TestEverything(t *testing.T) {
	c := load(t, "everything")
	equal(t, "windows device", c.Port("flow").Device, "COM7")
	equal(t, "relative device", c.Port("tc").Device, beside(t, "links/tc"))
	flow, temperature := c.Instrument(quantity.Flow), c.Instrument(quantity.Temperature)
	equal(t, "checksum", flow.Checksum, XORChecksum)
	equal(t, "lag", flow.Lag, 500*time.Millisecond)
	if !near(flow.MaxStep, 2e-3/60, 1e-12) {
		t.Errorf("largest step %g", flow.MaxStep)
	}
	equal(t, "junction", []any{temperature.Thermocouple.From, temperature.Thermocouple.ColdJunction}, []any{quantity.Ambient, (*uncertainty.Value)(nil)})
	if !near(temperature.Unit.Factor, 1e-3, 1e-12) {
		t.Errorf("microvolts come as %g mV", temperature.Unit.Factor)
	}
	equal(t, "frozen", temperature.FrozenAfter, 10*time.Minute)
	equal(t, "level", *c.Instrument(quantity.Level).Modbus, Modbus{Address: 3, Table: HoldingTable, Register: 16, Type: Float64, WordsLittle: true, BytesSwapped: true})
	heater := c.Instrument(quantity.HeaterOutlet).Scale
	if !near(heater.To[1], 100, 1e-12) || heater.To[0] > 1e-12 || heater.To[0] < -1e-12 {
		t.Errorf("32 to 212 degF is %v", heater.To)
	}
	equal(t, "thermocouple's scale", c.Instrument(quantity.Tank).Scale.To, [2]float64{0, 10})
	equal(t, "kelvin", c.Instrument(quantity.Ambient).Unit.Offset, -273.15)
	pulses := c.Instrument(quantity.SupplyFlow).Pulses
	equal(t, "pulses", *pulses, Pulses{1420e3, 16, 3 * time.Second})
	equal(t, "switch", *c.Instrument(quantity.SupplyOn).Modbus, Modbus{Address: 4, Table: DiscreteTable, Type: Bit})
	equal(t, "coil", *c.Instrument(quantity.HeaterOn).Modbus, Modbus{Address: 4, Table: CoilTable, Type: Bit})
	equal(t, "yes or no", c.Instrument(quantity.HeaterOn).Boolean(), true)
	equal(t, "watched", c.Alarms[0].On, []quantity.ID{quantity.Temperature, quantity.HeaterOutlet, quantity.Tank})
	equal(t, "absolute level", *c.Alarms[1].Below, 0.2)
	last := c.Alarms[len(c.Alarms)-1]
	equal(t, "own", []any{last.Name, *last.Above, last.Deadband, last.Cause}, []any{"tube-fast", 20000.0, 400.0, "The valve is too far open."})
	equal(t, "embedded", c.MQTT.Embedded, true)
}

// A byte-order mark and Windows line ends change nothing.
func TestWindowsText(t *testing.T) {
	c := load(t, "least")
	text := slices.Concat([]byte(byteOrderMark), []byte(crlf(string(c.Text))))
	w, problems := Parse(c.Path, text)
	if w == nil {
		t.Fatal(problems)
	}
	w.Text, w.SHA256 = c.Text, c.SHA256
	equal(t, "config", w, c)
}

func crlf(text string) string {
	var out []byte
	for _, b := range []byte(text) {
		if b == '\n' {
			out = append(out, '\r')
		}
		out = append(out, b)
	}
	return string(out)
}

// Every quantity has the dimension that its unit says.
func TestDimensionOf(t *testing.T) {
	for id := range quantity.Count {
		row := quantity.Table[id]
		if (DimensionOf(id) == None) != (row.Unit == "" && id != quantity.SecondsToOverheat && id != quantity.SettlingSeconds) {
			t.Errorf("%s is %v", row.Name, DimensionOf(id))
		}
	}
}
