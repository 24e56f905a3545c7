//go:build unix

package main

import (
	"slices"
	"strings"
	"testing"
)

// Every wrong quantity is named with what was written, the allowed range and
// the remedy.
func TestCalcRefuses(t *testing.T) {
	const (
		flows = "; allowed: 0.0006 L/min to 60000 L/min"
		warm  = "; allowed: 0 Cel to 99.6059 Cel"
		bores = "; allowed: 0.1 mm to 1 m"
	)
	for _, c := range []struct {
		name string
		flag string // replaces that of a right call, or stands beside it
		text string
		says string
	}{
		{"flow zero", "--flow", "0 L/min", `flow (--flow): "0 L/min" is out of range; give the flow that runs through the tube` + flows},
		{"flow negative", "--flow", "-1.2 L/min", `flow (--flow): "-1.2 L/min" is out of range; give the flow that runs through the tube` + flows},
		{"flow not a number", "--flow", "NaN L/min", `flow (--flow): "NaN L/min": no number at the beginning; write a volume flow such as "1.2 L/min"` + flows},
		{"flow infinite", "--flow", "Inf L/min", `flow (--flow): "Inf L/min": no number at the beginning; write a volume flow such as "1.2 L/min"` + flows},
		{"flow huge", "--flow", "1e999 L/min", `flow (--flow): "1e999 L/min": the number is too large; write a volume flow such as "1.2 L/min"` + flows},
		{"flow without unit", "--flow", "1.2", `flow (--flow): "1.2": the unit is missing; write a volume flow such as "1.2 L/min"` + flows},
		{"flow as volume", "--flow", "1.2 L", `flow (--flow): "1.2 L": L is not the unit of a volume flow; write one of L/min, L/h, mL/s, m3/h, m3/s` + flows},
		{"flow missing", "--flow", "", `flow (--flow) is missing; give --flow "1.2 L/min", or --volume "200 mL" with --time "30.0 s"`},
		{"ice", "--temperature", "-1 Cel", `temperature (--temperature): "-1 Cel" is out of range; that would be ice; give the temperature of liquid water` + warm},
		{"ice in kelvin", "--temperature", "20 K", `temperature (--temperature): "20 K" is out of range; that would be ice; give the temperature of liquid water` + warm},
		{"steam", "--temperature", "120 Cel", `temperature (--temperature): "120 Cel" is out of range; that would be steam; give the temperature of liquid water` + warm},
		{"temperature in mm", "--temperature", "20 mm", `temperature (--temperature): "20 mm": mm is not the unit of a temperature; write one of Cel, °C, K, degF` + warm},
		{"temperature missing", "--temperature", "", `temperature (--temperature) is missing; give that of the water, such as --temperature "20 Cel"`},
		{"temperature uncertain", "--temperature", "20 Cel ± 25 K", `temperature (--temperature): "20 Cel ± 25 K": what stands behind ± is more than 20 K; give a smaller one` + warm},
		{"temperature in percent", "--temperature", "20 Cel ± 1 %", `temperature (--temperature): "20 Cel ± 1 %": a percentage of a temperature depends on where its scale begins; write ± in kelvin, such as ± 0.5 K` + warm},
		{"bore zero", "--bore", "0 mm", `bore (--bore): "0 mm" is out of range; give the inner diameter of the tube, such as 13 mm` + bores},
		{"bore in metres", "--bore", "13 m", `bore (--bore): "13 m" is out of range; give the inner diameter of the tube, such as 13 mm` + bores},
		{"bore without unit behind ±", "--bore", "13 mm ± 0.05", `bore (--bore): "13 mm ± 0.05": behind ±: the unit is missing; write "13 mm ± 0.05 mm"` + bores},
		{"bore with nothing behind ±", "--bore", "13 mm ± ", `bore (--bore): "13 mm ± ": nothing stands behind ±; write a number and a unit, such as ± 0.05 mm, or leave ± out` + bores},
		{"bore uncertain", "--bore", "13 mm ± 9 mm", `bore (--bore): "13 mm ± 9 mm": what stands behind ± is more than 50 % of the value; give a smaller one` + bores},
		{"bore missing", "--bore", "", `bore (--bore) is missing; give the inner diameter of the tube, such as --bore "13 mm"`},
		{"flow and volume", "--volume", "200 mL", `flow (--flow) stands beside --volume or --time; give either --flow "1.2 L/min" or --volume "200 mL" with --time "30.0 s"`},
		{"flow and time", "--time", "30 s", `flow (--flow) stands beside --volume or --time; give either --flow "1.2 L/min" or --volume "200 mL" with --time "30.0 s"`},
		{"length", "--length", "0 mm", `length (--length): "0 mm" is out of range; give the length of the tube, such as 900 mm; allowed: 1 mm to 100 m`},
		{"head", "--head", "-1 m", `head (--head): "-1 m" is out of range; give the height of the water above the outlet, such as 1.35 m; allowed: 1 mm to 20 m`},
		{"roughness", "--roughness", "1 mm", `roughness (--roughness): "1 mm" is out of range; give the roughness of the wall, 0.0015 mm for drawn glass; allowed: 0 mm to 0.65 mm, 5 % of the bore`},
		{"roughness uncertain", "--roughness", "0.0015 mm ± 2 mm", `roughness (--roughness): "0.0015 mm ± 2 mm" has too much behind ±; give the roughness of the wall, 0.0015 mm for drawn glass; allowed: 0 mm to 0.65 mm, 5 % of the bore`},
		{"flow uncertain", "--flow", "1.2 L/min ± 51 % (limits)", `flow (--flow): "1.2 L/min ± 51 % (limits)": what stands behind ± is more than 50 % of the value; give a smaller one` + flows},
		{"room as hot as steam", "--ambient", "70 Cel", `ambient (--ambient): "70 Cel" is out of range; give the temperature of the room; allowed: -20 Cel to 60 Cel
calc: length (--length) is missing beside --ambient; give that of the tube, such as --length "900 mm"`},
		{"room too cold", "--ambient", "-21 Cel", `ambient (--ambient): "-21 Cel" is out of range; give the temperature of the room; allowed: -20 Cel to 60 Cel
calc: length (--length) is missing beside --ambient; give that of the tube, such as --length "900 mm"`},
		{"outer without room", "--outer", "16 mm", `outer diameter (--outer) is for the heat lost; give the room with it, such as --ambient "20 Cel"`},
		{"place without room", "--watched-at", "45 cm", `watched at (--watched-at) is for the heat lost; give the room with it, such as --ambient "20 Cel"`},
		{"orientation", "--orientation", "down", `--orientation: "down" is no choice; write one of vertical-down, vertical-up, horizontal`},
		{"vessel", "--vessel", "mug", `--vessel: "mug" is no choice; write one of borosilicate, glass, steel, plastic`},
		{"vessel of no volume", "--vessel", "glass", `vessel (--vessel) belongs to a volume; give --volume "200 mL" with --time "30.0 s"`},
		{"vessel's water of no volume", "--vessel-temperature", "58 Cel", `vessel temperature (--vessel-temperature) belongs to a volume; give --volume "200 mL" with --time "30.0 s"`},
		{"limit not a number", "--turbulent-above", "NaN", `upper limit (--turbulent-above): "NaN": no number at the beginning; write a plain number such as "0.5"; allowed: 1 to 1000000`},
		{"limits swapped", "--laminar-below", "4000", `lower limit (--laminar-below): "4000" is not below the upper limit "4000"; give the lower one there, such as 2000 and 4000`},
		{"limit empty", "--laminar-below", "", `lower limit (--laminar-below) is empty; give about 2000`},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := []string{"--flow", "1.2 L/min", "--temperature", "20 Cel", "--bore", "13 mm"}
			if i := slices.Index(args, c.flag); i >= 0 {
				args[i+1] = c.text
			} else {
				args = append(args, c.flag, c.text)
			}
			stdout, stderr, code := calc(args...)
			if stdout != "" || code != exitUsage || stderr != "flowrigd: calc: "+c.says+"\n" {
				t.Errorf("exit %d, stdout %q\ngot  %swant flowrigd: calc: %s", code, stdout, stderr, c.says)
			}
		})
	}
}

// What does not fit the tube is said with what it does not fit.
func TestCalcRefusesWhatDoesNotFit(t *testing.T) {
	for _, c := range []struct{ flag, text, says string }{
		{"--outer", "13 mm", `outer diameter (--outer): "13 mm" is not more than the bore "13 mm"; give the outer diameter of the tube`},
		{"--watched-at", "901 mm", `watched at (--watched-at): "901 mm" is beyond the length "900 mm"; give the place from the inlet`},
	} {
		_, stderr, code := calc("--flow", "1.2 L/min", "--temperature", "60 Cel", "--bore", "13 mm", "--length", "900 mm", "--ambient", "20 Cel", c.flag, c.text)
		if code != exitUsage || stderr != "flowrigd: calc: "+c.says+"\n" {
			t.Errorf("exit %d\ngot  %swant flowrigd: calc: %s", code, stderr, c.says)
		}
	}
}

// The bound of 50 % is on what was written, limits of error or not.
func TestCalcTakesWideLimits(t *testing.T) {
	for _, flow := range []string{"1.2 L/min ± 45 % (limits)", "1.2 L/min ± 50 % (limits)", "1.2 L/min ± 0.6 L/min (limits)", "1.2 L/min ± 50 %"} {
		if _, stderr, code := calc("--flow", flow, "--temperature", "20 Cel ± 20 K (limits)", "--bore", "13 mm ± 0.05 mm"); code != exitDone {
			t.Errorf("%s: exit %d, %s", flow, code, stderr)
		}
	}
}

// A collection has its own ways of being wrong.
func TestCalcRefusesCollection(t *testing.T) {
	for _, c := range []struct{ volume, time, says string }{
		{"200 mL", "", `time (--time) is missing beside --volume; give the seconds of the collection, such as --time "30.0 s"`},
		{"", "30 s", `volume (--volume) is missing beside --time; give what was caught, such as --volume "200 mL"`},
		{"200 mL", "0.5 s", `time (--time): "0.5 s" is out of range; collect for about 30 s or longer; allowed: 1 s to 24 h`},
		{"-200 mL", "30 s", `volume (--volume): "-200 mL" is out of range; give what was caught, a jug of 200 mL for example; allowed: 1 mL to 100000 L`},
		{"200 g", "30 s", `volume (--volume): "200 g": g is not the unit of a volume; write one of mL, L, m3; allowed: 1 mL to 100000 L`},
	} {
		_, stderr, code := calc("--volume", c.volume, "--time", c.time, "--temperature", "20 Cel", "--bore", "13 mm")
		if code != exitUsage || stderr != "flowrigd: calc: "+c.says+"\n" {
			t.Errorf("%q in %q: exit %d\ngot  %swant flowrigd: calc: %s", c.volume, c.time, code, stderr, c.says)
		}
	}
}

// Everything that is wrong is said at once, a line each.
func TestCalcRefusesAll(t *testing.T) {
	_, stderr, code := calc("--flow", "0 L/min", "--temperature", "20 mm")
	const want = `flowrigd: calc: flow (--flow): "0 L/min" is out of range; give the flow that runs through the tube; allowed: 0.0006 L/min to 60000 L/min
calc: temperature (--temperature): "20 mm": mm is not the unit of a temperature; write one of Cel, °C, K, degF; allowed: 0 Cel to 99.6059 Cel
calc: bore (--bore) is missing; give the inner diameter of the tube, such as --bore "13 mm"
`
	if code != exitUsage || stderr != want {
		t.Errorf("exit %d\n%s", code, stderr)
	}
}

// Whatever is written, calc answers with numbers or refuses with a remedy.
func FuzzCalc(f *testing.F) {
	f.Add("1.2 L/min", "42 Cel ± 0.5 K", "13 mm +/- 0.05 mm (limits)")
	f.Add("\u22121 m³/s", "68 degF", "0.5 in ± 1 %")
	f.Fuzz(func(t *testing.T, flow, temperature, bore string) {
		stdout, stderr, code := calc("--flow="+flow, "--temperature="+temperature, "--bore="+bore, "--explain")
		switch {
		case code == exitDone && strings.Contains(stdout, "only the dye shows the flow") && !strings.Contains(stdout, "NaN"):
		case code == exitUsage && stdout == "" && strings.Contains(stderr, "; "):
		default:
			t.Fatalf("exit %d\n%s%s", code, stdout, stderr)
		}
	})
}
