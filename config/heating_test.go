package config

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
)

// named finds an alarm; a missing one fails the test.
func named(t *testing.T, c *Config, name string) Alarm {
	t.Helper()
	i := slices.IndexFunc(c.Alarms, func(a Alarm) bool { return a.Name == name })
	if i < 0 {
		t.Fatalf("no alarm %s", name)
	}
	return c.Alarms[i]
}

// acts is what an alarm does, for comparison.
func (a Alarm) acts() []any {
	return []any{a.Kind, a.BuiltIn, a.Priority, a.Latch, a.Trip, a.OnDelay}
}

func TestTrip(t *testing.T) {
	equal(t, "refresh is a third of a short watchdog", *load(t, "heating").Trip,
		Trip{Port: "bus", Address: 9, Coil: 3, Refresh: 800 * time.Millisecond, Watchdog: 2400 * time.Millisecond})
	if load(t, "bench").Trip != nil {
		t.Error("a permit without a table")
	}
}

// With a heater, seen or permitted, up to 3 s between two readings of the
// temperature nothing is said, up to 10 s there is a warning, beyond it an error;
// without one there is a warning beyond 10 s.
func TestTemperaturePace(t *testing.T) {
	base, _ := Load("../testdata/rigs/good/bench.toml")
	slow := strings.Replace(string(base.Text), `every = "500 ms"`, `every = "10 s"`, 1)
	for _, heater := range []string{"", "[trip]\nport = \"bus\"\npulse = \"dtr\"", "[instruments.heater_on]\nport = \"bus\"\nmodbus = {address = 4, reference = 10001}"} {
		for every, want := range map[string]struct{ said, refused bool }{
			"3 s": {}, "3.001 s": {heater != "", false}, "10 s": {heater != "", false}, "10.001 s": {true, heater != ""},
		} {
			_, problems := Parse("rig.toml", []byte(strings.Replace(slow, `"10 s"`, `"`+every+`"`, 1)+"\n"+heater))
			got := slices.ContainsFunc(problems, func(p Problem) bool { return strings.Contains(p.Text, "temperature.every") })
			if got != want.said || Fatal(problems) != want.refused {
				t.Errorf("every %s, %q: %v", every, heater, problems)
			}
		}
	}
}

func TestTripDefaults(t *testing.T) {
	tests := []struct {
		name, text string
		want       Trip
	}{
		{"coil", "modbus = {address = 9, coil = 0}", Trip{Port: "bus", Address: 9, Refresh: time.Second, Watchdog: 3 * time.Second}},
		{"rts", `pulse = "rts"`, Trip{Port: "bus", Pulse: PulseRTS, Refresh: time.Second, Watchdog: 3 * time.Second}},
		{"dtr", `pulse = "dtr"`, Trip{Port: "bus", Pulse: PulseDTR, Refresh: time.Second, Watchdog: 3 * time.Second}},
		{"long watchdog", "pulse = \"dtr\"\nwatchdog = \"30 s\"", Trip{Port: "bus", Pulse: PulseDTR, Refresh: time.Second, Watchdog: 30 * time.Second}},
	}
	least := load(t, "least").Text
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, problems := Parse("rig.toml", slices.Concat(least, []byte("\n[trip]\nport = \"bus\"\n"+tt.text)))
			if c == nil {
				t.Fatal(problems)
			}
			equal(t, "trip", *c.Trip, tt.want)
		})
	}
}

// The figures are those of the alarm table that users are told.
func TestHeatingAlarms(t *testing.T) {
	c := load(t, "heating")
	var names []string
	for _, a := range c.Alarms {
		names = append(names, a.Name)
		if a.Cause == "" || a.Consequence == "" || a.Action == "" {
			t.Errorf("%s lacks a sentence", a.Name)
		}
	}
	equal(t, "names", names, []string{
		"water-overheat", "head-lost", "heating-without-supply", "temperature-implausible", "temperature-rising-fast", "tube-blocked",
		"instrument-fault-flow", "instrument-fault-temperature", "instrument-fault-level", "instrument-fault-supply_flow",
		"instrument-fault-supply_on", "instrument-fault-heater_on", "trip-ineffective", "recording-failed", "receiver-failed", "cool",
	})
	equal(t, "supply", named(t, c, "heating-without-supply").acts(), []any{AlarmNoSupply, true, "high", true, true, time.Second})
	equal(t, "implausible", named(t, c, "temperature-implausible").acts(), []any{AlarmImplausible, true, "high", false, true, time.Duration(0)})
	equal(t, "rate", named(t, c, "temperature-rising-fast").acts(), []any{AlarmRate, true, "high", false, false, 2 * time.Second})
	equal(t, "blocked", named(t, c, "tube-blocked").acts(), []any{AlarmBlocked, true, "low", false, false, 2 * time.Second})
	equal(t, "ineffective", named(t, c, "trip-ineffective").acts(), []any{AlarmIneffective, true, "high", true, false, 30 * time.Second})
	equal(t, "receiver", named(t, c, "receiver-failed").acts(), []any{AlarmReceiver, true, "medium", false, false, 5 * time.Minute})
}

// The limits, turned into SI by hand.
func TestHeatingLimits(t *testing.T) {
	c := load(t, "heating")
	supply := named(t, c, "heating-without-supply")
	equal(t, "evidence", supply.On, []quantity.ID{quantity.SupplyFlow, quantity.SupplyOn})
	// 2 % of the range from 1 to 21 L/min is 1.4 L/min.
	if !near(*supply.Below, 1.4e-3/60, 1e-12) || !near(supply.Deadband, 0.028e-3/60, 1e-12) {
		t.Errorf("supply below %g, deadband %g", *supply.Below, supply.Deadband)
	}
	rate := named(t, c, "temperature-rising-fast")
	if !near(*rate.Above, 0.1, 1e-12) || !near(c.Tube.MaxRate, 0.1, 1e-12) || !near(rate.Deadband, 1.0/60, 1e-12) {
		t.Errorf("rate above %g, deadband %g", *rate.Above, rate.Deadband)
	}
	if fall := named(t, c, "temperature-implausible").MaxFall; !near(fall, 1, 1e-12) {
		t.Errorf("fall of %g K/s", fall)
	}
}

// What is not there has no alarm.
func TestHeatingAlarmsNeedTheirParts(t *testing.T) {
	tests := []struct {
		name, text string
		want, not  []string
	}{
		{"nothing", "", nil, []string{"heating-without-supply", "temperature-implausible", "temperature-rising-fast", "tube-blocked", "trip-ineffective"}},
		{"permit", "[trip]\nport = \"bus\"\npulse = \"dtr\"", []string{"temperature-implausible", "trip-ineffective"}, []string{"heating-without-supply", "temperature-rising-fast", "tube-blocked"}},
		{"heater seen", "[instruments.heater_on]\nport = \"bus\"\nmodbus = {address = 4, reference = 10001}", []string{"temperature-implausible"}, []string{"heating-without-supply", "trip-ineffective"}},
		{"blocked", "[alarms.tube-blocked]", []string{"tube-blocked"}, nil},
		{"supply flow", "[trip]\nport = \"bus\"\npulse = \"dtr\"\n[instruments.supply_flow]\nport = \"bus\"\nmodbus = {address = 4, register = 0}\nunit = \"L/h\"", []string{"heating-without-supply"}, nil},
		{"supply alone", "[instruments.supply_on]\nport = \"bus\"\nmodbus = {address = 4, reference = 10001}", nil, []string{"heating-without-supply", "temperature-implausible"}},
	}
	base, _ := Load("../testdata/rigs/good/bench.toml")
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, problems := Parse("rig.toml", slices.Concat(base.Text, []byte("\n"+tt.text)))
			if c == nil {
				t.Fatal(problems)
			}
			for _, name := range tt.want {
				named(t, c, name)
			}
			for _, name := range tt.not {
				if slices.ContainsFunc(c.Alarms, func(a Alarm) bool { return a.Name == name }) {
					t.Errorf("%s is there", name)
				}
			}
		})
	}
}

// Without a range 0.2 L/min prove a supply.
func TestSupplyWithoutRange(t *testing.T) {
	c := load(t, "everything")
	a := named(t, c, "heating-without-supply")
	if !near(*a.Below, 0.2e-3/60, 1e-12) {
		t.Errorf("below %g", *a.Below)
	}
}

func TestNotify(t *testing.T) {
	c := load(t, "heating")
	equal(t, "receivers", c.Notify, []Notify{
		{Webhook: "https://desk.north-hall.example/hook", TokenFile: beside(t, "hook.token"), CAFile: beside(t, "ca.pem"), Priorities: []string{"high", "medium"}},
		{Webhook: "http://127.0.0.1:9099/hook", Priorities: []string{"low"}},
		{Mail: &Mail{To: []string{"night@north-hall.example", "desk@north-hall.example"}, From: "bench-3@north-hall.example", Server: "smtp.north-hall.example:587",
			Username: "bench-3", PasswordFile: beside(t, "mail.secret")}, Priorities: []string{"high"}},
		{Mail: &Mail{To: []string{"archive@north-hall.example"}, From: "bench-3@north-hall.example", Server: "smtp.north-hall.example:465", Security: ImplicitTLS}, Priorities: []string{"high", "medium"}},
	})
	equal(t, "addresses", c.Notify[2].Addresses(), []string{"night@north-hall.example", "desk@north-hall.example"})
	equal(t, "hosts", []string{c.Notify[0].Host(), c.Notify[3].Host()}, []string{"desk.north-hall.example", "smtp.north-hall.example:465"})
}

// A list in one line is the same as tables.
func TestNotifyInline(t *testing.T) {
	text := slices.Concat([]byte("notify = [{webhook = \"https://desk.north-hall.example/hook\"}]\n"), load(t, "least").Text)
	c, problems := Parse("rig.toml", text)
	if c == nil {
		t.Fatal(problems)
	}
	equal(t, "receivers", c.Notify, []Notify{{Webhook: "https://desk.north-hall.example/hook", Priorities: []string{"high", "medium"}}})
}
