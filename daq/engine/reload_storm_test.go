package engine

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// changed is heatedText with some texts in place of others, in pairs.
func changed(t *testing.T, pairs ...string) string {
	t.Helper()
	text := heatedText
	for i := 0; i < len(pairs); i += 2 {
		next := strings.Replace(text, pairs[i], pairs[i+1], 1)
		if next == text {
			t.Fatalf("%q is not in the configuration, or stays", pairs[i])
		}
		text = next
	}
	return text
}

// of changes one table of an instrument or an alarm: its first line and what is put
// behind it.
func of(table, more string) [2]string { return [2]string{table + "\n", table + "\n" + more + "\n"} }

// storm reloads the texts in turn, one every so often, until the permit is down,
// and gives how long that took; the limit where it stays.
func (b *heated) storm(every, limit time.Duration, texts []string, celsius func(since time.Duration) float64) time.Duration {
	b.t.Helper()
	began, due := b.at, b.at
	for n := 0; b.state.Permit && b.at-began < limit; {
		if b.at >= due {
			b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(b.t, texts[n%len(texts)])}})
			n, due = n+1, due+every
		}
		b.run(200*time.Millisecond, 1.2, celsius(b.at-began), 255)
	}
	return b.at - began
}

func steadyAt(celsius float64) func(time.Duration) float64 {
	return func(time.Duration) float64 { return celsius }
}

const thermometerTable, contactTable = "[instruments.temperature]", "[instruments.heater_on]"

// settings are changes of a thermometer, two at a time, that a reload may bring.
var settings = map[string][2][2]string{
	"accuracy":    {{`fixed = "0.5 K"`, `fixed = "0.6 K"`}, {`fixed = "0.5 K"`, `fixed = "0.7 K"`}},
	"scale":       {{`"100 Cel"`, `"101 Cel"`}, {`"100 Cel"`, `"100.5 Cel"`}},
	"range":       {of(thermometerTable, `range = ["0 Cel", "100 Cel"]`), of(thermometerTable, `range = ["0 Cel", "99 Cel"]`)},
	"calibration": {of(thermometerTable, `correct = [["0 Cel", "0 Cel"], ["90 Cel", "90.1 Cel"]]`), of(thermometerTable, `correct = [["0 Cel", "0 Cel"], ["90 Cel", "90.2 Cel"]]`)},
	"pace":        {of(thermometerTable, `every = "300 ms"`), of(thermometerTable, `every = "400 ms"`)},
	"lag":         {of(thermometerTable, `lag = "1 s"`), of(thermometerTable, `lag = "2 s"`)},
	"address":     {{"address = 3", "address = 5"}, {"address = 3", "address = 6"}},
	"type":        {{`type = "int16"`, `type = "uint16"`}, {`type = "int16"`, `type = "float32"`}},
	"port": {{"[instruments.flow]", "[ports.tc]\ndevice = \"/dev/ttyUSB7\"\n[instruments.flow]"},
		{thermometerTable + "\nport = \"bus\"", "[ports.tc]\ndevice = \"/dev/ttyUSB7\"\n" + thermometerTable + "\nport = \"tc\""}},
	"max_step":     {of(thermometerTable, `max_step = "20 K"`), of(thermometerTable, `max_step = "30 K"`)},
	"frozen_after": {of(thermometerTable, `frozen_after = "10 min"`), of(thermometerTable, `frozen_after = "20 min"`)},
	"stale_after":  {of(thermometerTable, `stale_after = "2 s"`), of(thermometerTable, `stale_after = "2.1 s"`)},
	"nothing":      {{"[trip]", "[trip]\n"}, {"[trip]", "[trip]\n\n"}},
}

var storms = []time.Duration{200 * time.Millisecond, 600 * time.Millisecond, time.Second, 1800 * time.Millisecond, 2 * time.Second, 3 * time.Second}

// A thermometer that answers no more is stale when its time is over and drops the
// permit, however often and whatever a person changes of it meanwhile.
func TestReloadsDoNotHideADeadThermometer(t *testing.T) {
	for name, pairs := range settings {
		for _, every := range storms {
			b := given(t)
			b.dead = map[quantity.ID]bool{quantity.Temperature: true}
			texts := []string{changed(t, pairs[0][:]...), changed(t, pairs[1][:]...)}
			if took := b.storm(every, time.Minute, texts, steadyAt(50)); took > 2600*time.Millisecond || took < 2*time.Second {
				t.Errorf("%s, changed every %v: dropped after %v, want the 2 s until stale and two intervals", name, every, took)
			}
			if got := b.alarms(); !slices.Contains(got, "instrument-fault-temperature unacknowledged") {
				t.Errorf("%s, changed every %v: alarms %v", name, every, got)
			}
		}
	}
}

// What is overdue already is judged by a new time at once, be it longer or shorter.
func TestAReloadOfStaleAfterJudgesAtOnce(t *testing.T) {
	for _, c := range []struct {
		stale string
		want  time.Duration
	}{{"4 s", 4 * time.Second}, {"1 s", 1600 * time.Millisecond}} {
		b := given(t)
		began := b.at
		b.dead = map[quantity.ID]bool{quantity.Temperature: true}
		b.run(1600*time.Millisecond, 1.2, 50, 255)
		pair := of(thermometerTable, `stale_after = "`+c.stale+`"`)
		b.storm(time.Hour, time.Minute, []string{changed(t, pair[:]...)}, steadyAt(50))
		if took := b.at - began; took < c.want || took > c.want+600*time.Millisecond {
			t.Errorf("stale_after %s after 1.6 s: dropped after %v, want %v", c.stale, took, c.want)
		}
	}
}

// An instrument that has never answered is overdue since the start.
func TestReloadsDoNotExcuseASilentStart(t *testing.T) {
	b := newHeated(t)
	b.dead = map[quantity.ID]bool{quantity.Level: true}
	for n := 0; n < 30 && len(b.alarms()) == 0; n++ {
		pair := of("[instruments.level]", `lag = "`+string(rune('1'+n%2))+` s"`)
		b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, changed(t, pair[:]...))}})
		b.run(200*time.Millisecond, 1.2, 50, 255)
	}
	if got := b.alarms(); !slices.Equal(got, []string{"instrument-fault-level unacknowledged"}) || b.at > 2600*time.Millisecond {
		t.Errorf("alarms %v after %v", got, b.at)
	}
}

// A number that stands still has stood still since it came, whatever was changed of
// the instrument since.
func TestReloadsDoNotThawAFrozenSensor(t *testing.T) {
	for name, pairs := range settings {
		if name == "frozen_after" || name == "nothing" || name == "type" {
			continue
		}
		frozen := of(thermometerTable, `frozen_after = "10 s"`)
		b := given(t)
		began := b.at
		for n := range 5 { // alive
			b.run(time.Second, 1.2, 50+float64(n)/10, 255)
		}
		texts := []string{changed(t, append(pairs[0][:], frozen[:]...)...), changed(t, append(pairs[1][:], frozen[:]...)...)}
		took := b.storm(1800*time.Millisecond, time.Minute, texts, steadyAt(50.4))
		if took < 8*time.Second || took > 10*time.Second {
			t.Errorf("%s: dropped after %v (%v in all), want 10 s since the number changed", name, took, b.at-began)
		}
	}
}

// A number of another type is another one: that it differs is no sign of life, and
// that it comes is none of being frozen.
func TestReloadsOfTheTypeDoNotThawAFrozenSensor(t *testing.T) {
	frozen := of(thermometerTable, `frozen_after = "10 s"`)
	texts := []string{changed(t, append([]string{`type = "int16"`, `type = "uint16"`}, frozen[:]...)...), changed(t, frozen[:]...)}
	b := given(t)
	n := 0
	took := b.storm(1800*time.Millisecond, time.Minute, texts, func(since time.Duration) float64 {
		n = int(since / (1800 * time.Millisecond))
		return []float64{50.4, 50.6}[n%2] // another number under each type
	})
	if took < 8*time.Second || took > 10*time.Second {
		t.Errorf("dropped after %v, want 10 s since the number changed", took)
	}
	b = given(t)
	b.storm(1800*time.Millisecond, 40*time.Second, texts, func(since time.Duration) float64 { return 50 + since.Seconds()/100 })
	if !b.permitted() {
		t.Errorf("a living sensor counts as frozen: %v", b.alarms())
	}
}

// A sensor whose number differs at each reload lives, where the reload asks it the same.
func TestReloadsDoNotFreezeALivingSensor(t *testing.T) {
	frozen := of(thermometerTable, `frozen_after = "10 s"`)
	pairs := settings["accuracy"]
	texts := []string{changed(t, append(pairs[0][:], frozen[:]...)...), changed(t, append(pairs[1][:], frozen[:]...)...)}
	b := given(t)
	b.storm(1800*time.Millisecond, 30*time.Second, texts, func(since time.Duration) float64 {
		return []float64{50.4, 50.6}[int(since/(1800*time.Millisecond))%2]
	})
	if !b.permitted() {
		t.Errorf("a living sensor counts as frozen: %v", b.alarms())
	}
}

// The delay of an alarm runs on through reloads that change the alarm, its
// instrument or its name, and through one that takes either away for a while.
func TestReloadsDoNotLengthenADelay(t *testing.T) {
	const overheat, supply = "[alarms.water-overheat]", "[instruments.supply_flow]"
	alarmOf := func(text string) string { return changed(t, "[trip]", text+"\n[trip]") }
	hot := func(name string) string {
		return alarmOf("[alarms." + name + "]\non = \"temperature\"\nabove = \"60 Cel\"\ntrip = true\non_delay = \"2 s\"")
	}
	for name, c := range map[string]struct {
		texts   []string
		celsius float64
		begin   func(*heated)
		want    time.Duration
	}{
		"the limit":     {[]string{alarmOf(overheat + "\nabove = \"74 Cel\""), alarmOf(overheat + "\nabove = \"73 Cel\"")}, 80, nil, 2 * time.Second},
		"the delay":     {[]string{alarmOf(overheat + "\non_delay = \"2 s\""), alarmOf(overheat + "\non_delay = \"2.1 s\"")}, 80, nil, 2 * time.Second},
		"its latch":     {[]string{alarmOf(overheat + "\nlatch = false"), heatedText}, 80, nil, 2 * time.Second},
		"its sensor":    {[]string{changed(t, `fixed = "0.5 K"`, `fixed = "0.6 K"`), heatedText}, 80, nil, 2 * time.Second},
		"its name":      {[]string{hot("warm"), hot("hot")}, 65, nil, 2 * time.Second},
		"its existence": {[]string{hot("warm"), heatedText}, 65, nil, 4 * time.Second},
		"the meter of a supply that ended": {[]string{changed(t, `of_reading = "1 %"`, `of_reading = "2 %"`), heatedText}, 50,
			func(b *heated) { b.supply = 0 }, 2 * time.Second},
		"a meter that is silent": {[]string{changed(t, `of_reading = "1 %"`, `of_reading = "2 %"`), heatedText}, 50,
			func(b *heated) { b.dead = map[quantity.ID]bool{quantity.SupplyFlow: true} }, 4 * time.Second},
		"the existence of the meter of a supply that ended": {[]string{heatedText, unsupplied(t)}, 50,
			func(b *heated) { b.supply = 0 }, 4 * time.Second},
		"the existence of a meter that is silent": {[]string{heatedText, unsupplied(t)}, 50,
			func(b *heated) { b.dead = map[quantity.ID]bool{quantity.SupplyFlow: true} }, 8 * time.Second},
	} {
		for _, every := range storms {
			b := given(t)
			if c.begin != nil {
				c.begin(b)
			}
			if took := b.storm(every, time.Minute, c.texts, steadyAt(c.celsius)); took > c.want+2*every+600*time.Millisecond {
				t.Errorf("%s, changed every %v: dropped after %v, want about %v", name, every, took, c.want)
			}
		}
	}
}

// A probe out of the water is seen though its settings change, and so is one that
// does not answer to heating.
func TestReloadsDoNotHideAProbeOutOfTheWater(t *testing.T) {
	more := map[string][2][2]string{
		"the heater's contact":                  {of(contactTable, `stale_after = "3 s"`), of(contactTable, `stale_after = "4 s"`)},
		"the existence of the heater's contact": {{contactTable + "\nport = \"bus\"\nmodbus = {address = 9, table = \"discrete\", register = 0}\n", ""}, {"[trip]", "[trip]\n"}},
	}
	for _, name := range []string{"accuracy", "pace", "port", "lag"} { // a scale or calibration moves the number itself
		more[name] = settings[name]
	}
	for name, pairs := range more {
		for _, every := range []time.Duration{600 * time.Millisecond, 1800 * time.Millisecond, 5 * time.Second} {
			texts := []string{changed(t, pairs[0][:]...), changed(t, pairs[1][:]...)}
			b := given(t)
			b.run(10*time.Second, 1.2, 50, 255)
			took := b.storm(every, time.Minute, texts, func(since time.Duration) float64 { return 50 - min(25, 1.5*since.Seconds()) })
			if got := b.alarms(); took > 12*time.Second || !slices.Contains(got, "temperature-implausible unacknowledged") {
				t.Errorf("%s, changed every %v: it falls, alarms %v after %v", name, every, got, took)
			}
			if every != 1800*time.Millisecond {
				continue
			}
			b = newHeated(t)
			b.run(10*time.Second, 1.2, 21, 255)
			b.must(b.do(daq.Give, ""))
			b.run(time.Second, 1.2, 21, 255)
			took = b.storm(every, 10*time.Minute, texts, steadyAt(21))
			if got := b.alarms(); took > 5*time.Minute+10*time.Second || !slices.Contains(got, "temperature-implausible unacknowledged") {
				t.Errorf("%s, changed every %v: it does not answer to heating, alarms %v after %v", name, every, got, took)
			}
		}
	}
}

// reload takes up a text.
func (b *heated) reload(text string) {
	b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(b.t, text)}})
}

// An instrument that comes back into the configuration has its whole time to answer,
// less what it had been silent for when it went.
func TestAnInstrumentComesBack(t *testing.T) {
	const fault = "instrument-fault-supply_flow unacknowledged"
	for _, silent := range []time.Duration{0, time.Second} {
		b := newHeated(t)
		b.run(10*time.Second, 1.2, 50, 255)
		b.dead = map[quantity.ID]bool{quantity.SupplyFlow: true}
		if silent > 0 {
			b.run(silent, 1.2, 50, 255)
		}
		b.reload(unsupplied(t))
		b.run(time.Minute, 1.2, 50, 255)
		b.reload(heatedText)
		b.run(1800*time.Millisecond-silent, 1.2, 50, 255)
		if got := b.alarms(); len(got) > 0 {
			t.Errorf("silent for %v when it went: %v before its 2 s are over", silent, got)
		}
		if _, known := b.state.Values.Get(quantity.SupplyFlow); known {
			t.Error("a value of before it went stands")
		}
		b.run(600*time.Millisecond, 1.2, 50, 255)
		if got := b.alarms(); !slices.Equal(got, []string{fault}) {
			t.Errorf("silent for %v when it went: %v, want its fault", silent, got)
		}
	}
	frozen := of("[instruments.supply_flow]", `frozen_after = "10 s"`)
	text := changed(t, frozen[:]...)
	b := newHeated(t)
	b.reload(text)
	b.run(5*time.Second, 1.2, 50, 255)
	b.reload(unsupplied(t))
	b.run(time.Minute, 1.2, 50, 255)
	b.reload(text)
	b.run(4*time.Second, 1.2, 50, 255)
	if got := b.alarms(); len(got) > 0 {
		t.Errorf("alarms %v, though the same number stood for 9 s while it was read", got)
	}
	b.run(4*time.Second, 1.2, 50, 255)
	if got := b.alarms(); !slices.Equal(got, []string{fault}) {
		t.Errorf("alarms %v, want that it is frozen", got)
	}
}

// A delay does not run while its alarm is not configured.
func TestADelayStandsWhileItsAlarmIsGone(t *testing.T) {
	warm := changed(t, "[trip]", "[alarms.warm]\non = \"temperature\"\nabove = \"60 Cel\"\non_delay = \"4 s\"\n[trip]")
	b := newHeated(t)
	b.reload(warm)
	b.run(2*time.Second, 1.2, 65, 255)
	b.reload(heatedText)
	b.run(time.Minute, 1.2, 65, 255)
	b.reload(warm)
	b.run(1600*time.Millisecond, 1.2, 65, 255)
	if got := b.alarms(); len(got) > 0 {
		t.Errorf("alarms %v before the rest of its delay", got)
	}
	b.run(time.Second, 1.2, 65, 255)
	if got := b.alarms(); !slices.Equal(got, []string{"warm unacknowledged"}) {
		t.Errorf("alarms %v, want it after the rest of its delay", got)
	}
}

// Two alarms that watch the same thing come back each with its own delay, in
// whatever order they went.
func TestEachAlarmTakesBackItsOwnDelay(t *testing.T) {
	text := func(alarms ...string) string {
		return changed(t, "[trip]", strings.Join(alarms, "")+"[trip]")
	}
	alarm := func(name, above string) string {
		return "[alarms." + name + "]\non = \"temperature\"\nabove = \"" + above + "\"\non_delay = \"4 s\"\n"
	}
	b := newHeated(t)
	b.reload(text(alarm("warm", "60 Cel"), alarm("hot", "70 Cel")))
	b.reload(text(alarm("warm", "60 Cel")))
	b.run(3*time.Second, 1.2, 65, 255)
	b.reload(text(alarm("tepid", "60 Cel")))
	b.run(1400*time.Millisecond, 1.2, 65, 255)
	if got := b.alarms(); !slices.Equal(got, []string{"tepid unacknowledged"}) {
		t.Errorf("alarms %v, want the one with the new name after the rest of its delay", got)
	}
	for _, names := range [][2]string{{"a", "b"}, {"b", "a"}} {
		warm, hot := alarm(names[0], "60 Cel"), alarm(names[1], "70 Cel")
		for _, between := range []string{text(warm), text(hot)} {
			b := newHeated(t)
			b.reload(text(warm, hot))
			b.run(3*time.Second, 1.2, 65, 255)
			b.reload(between)
			b.reload(heatedText)
			b.reload(text(warm, hot))
			b.run(1400*time.Millisecond, 1.2, 65, 255)
			if got := b.alarms(); !slices.Equal(got, []string{names[0] + " unacknowledged"}) {
				t.Errorf("alarms %v, want %s after the rest of its delay", got, names[0])
			}
		}
	}
}

// What was seen over the last minute stands through a reload that reads the
// thermometer at another pace: the slope, and that the rig is steady.
func TestAReloadKeepsTheLastMinute(t *testing.T) {
	pace := of(thermometerTable, `every = "300 ms"`)
	text := changed(t, append([]string{`"12 L/min"`, `"11 L/min"`}, pace[:]...)...)
	b := newHeated(t)
	b.run(2*time.Minute, 1.2, 50, 255)
	if b.value(quantity.Steady) != 1 {
		t.Fatal("it is not steady: the test shows nothing")
	}
	b.reload(text)
	if b.value(quantity.Steady) != 1 {
		t.Error("it is not steady any more after the reload")
	}
	b.run(10*time.Second, 1.2, 50, 255)
	if b.value(quantity.Steady) != 1 {
		t.Error("it is not steady any more 10 s after the reload")
	}
	b = newHeated(t)
	for n := range 600 {
		b.run(200*time.Millisecond, 1.2, 40+0.01*float64(n), 255) // 0.05 K/s
	}
	before := b.value(quantity.TemperatureRate)
	b.reload(text)
	if after := b.value(quantity.TemperatureRate); after != before {
		t.Errorf("%v K/s, after the reload %v", before, after)
	}
	b.run(2*time.Second, 1.2, 46, 255)
	if after := b.value(quantity.TemperatureRate); after < before/2 || after > 1.1*before {
		t.Errorf("%v K/s, 2 s after the reload %v", before, after)
	}
}

// A reload that reads a thermometer far less often judges by windows of the new
// length: what was too few readings for a minute is enough then.
func TestAReloadTakesTheWindowsOfItsPace(t *testing.T) {
	b := benchOf(t)
	b.run(2*time.Minute, 1.2, 50, 255)
	b.reload(strings.Replace(benchText, thermometerTable+"\n", thermometerTable+"\nevery = \"20 s\"\n", 1))
	b.every, b.readAt = 20*time.Second, b.at
	b.run(15*time.Minute, 1.2, 50, 255)
	if b.value(quantity.Steady) != 1 {
		t.Error("read each 20 s since the reload: not steady after 15 min at rest")
	}
	for began := b.at; b.at < began+4*time.Minute; {
		b.run(200*time.Millisecond, 1.2, 50+0.01*(b.at-began).Seconds(), 255)
	}
	if got := b.value(quantity.TemperatureRate); math.Abs(got-0.01) > 1e-3 {
		t.Errorf("rate %v K/s, want 0.01", got)
	}
}

// Water that cools as a tank may is no probe out of the water, once a reload says that
// the rig heats: where nobody watches for a fall there is none to remember.
func TestAReloadThatBringsHeatingFindsNoFall(t *testing.T) {
	for slope, want := range map[float64]bool{-0.1: false, -0.5: false, -2: true} { // K/s; max_fall is 0.8
		b := benchOf(t)
		b.supply = 4
		b.run(time.Minute, 1.2, 60, 255)
		began := b.at
		for b.at < began+10*time.Second {
			b.run(200*time.Millisecond, 1.2, 60+slope*(b.at-began).Seconds(), 255)
		}
		b.reload(heatedText)
		b.run(time.Second, 1.2, 60+slope*11, 255)
		if got := slices.Contains(b.alarms(), "temperature-implausible unacknowledged"); got != want {
			t.Errorf("%v K/s before the reload: alarms %v, want temperature-implausible among them: %v", slope, b.alarms(), want)
		}
	}
}

// A reload between two readings that do not come does not forget that the first one
// changed how the number is asked for.
func TestTwoReloadsOfAFrozenSensor(t *testing.T) {
	frozen := of(thermometerTable, `frozen_after = "10 s"`)
	other := changed(t, append([]string{`type = "int16"`, `type = "uint16"`}, frozen[:]...)...)
	b := given(t)
	b.reload(changed(t, frozen[:]...))
	b.run(8*time.Second, 1.2, 50, 255)
	b.reload(other)
	b.reload(strings.Replace(other, `fixed = "0.5 K"`, `fixed = "0.6 K"`, 1))
	b.run(3*time.Second, 1.2, 50.5, 255)
	if b.permitted() {
		t.Error("the other number counts as a sign of life")
	}
}

// The word of a flow that hovers at a limit does not change with a reload.
func TestAReloadKeepsTheRegime(t *testing.T) {
	b := newHeated(t)
	flow := 1.2 * 1950 / reynoldsAt(b, 1.2)
	b.run(5*time.Second, flow, 50, 255)
	band := b.state.Values.Band()
	b.run(400*time.Millisecond, flow*2003/1950, 50, 255)
	if re := b.value(quantity.Reynolds); re <= 2000 || b.state.Values.Band() != band {
		t.Fatalf("Re %v, %v after %v: the test shows nothing", re, b.state.Values.Band(), band)
	}
	b.reload(changed(t, "[trip]", "[trip]\n"))
	if got := b.state.Values.Band(); got != band {
		t.Errorf("%v after the reload, %v before", got, band)
	}
}

// reynoldsAt is the Reynolds number at a flow and 50 °C.
func reynoldsAt(b *heated, lpm float64) float64 {
	b.run(time.Second, lpm, 50, 255)
	return b.value(quantity.Reynolds)
}
