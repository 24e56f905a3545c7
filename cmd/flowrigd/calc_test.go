//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
)

// calc runs the verb within the test.
func calc(args ...string) (stdout, stderr string, code int) {
	var out, diag bytes.Buffer
	code = run(context.Background(), append([]string{"calc"}, args...), &out, &diag)
	return out.String(), diag.String(), code
}

// calcJSON is the object that calc prints.
func calcJSON(t *testing.T, args ...string) map[string]any {
	t.Helper()
	stdout, stderr, code := calc(append(args, "--json")...)
	var m map[string]any
	if code != exitDone || json.Unmarshal([]byte(stdout), &m) != nil {
		t.Fatalf("%v: exit %d\n%s%s", args, code, stdout, stderr)
	}
	return m
}

// nu is the kinematic viscosity of water at 0.1 MPa in m²/s, from the
// coefficients printed in IAPWS SR6-08(2011), summed up term by term.
func nu(celsius float64) float64 {
	t := celsius + 273.15
	type term struct{ factor, power float64 }
	sum := func(x float64, terms ...term) (y float64) {
		for _, c := range terms {
			y += c.factor * math.Pow(x, c.power)
		}
		return y
	}
	eta := 1e-6 * sum(t/300, term{280.68, -1.9}, term{511.45, -7.7}, term{61.131, -19.6}, term{0.45903, -40})
	v := 461.51805 * 10 / 1e5 * (1.93763157e-2 +
		sum(10/(593-t), term{6.74458446e3, 4}, term{-2.22521604e5, 5}, term{1.00231247e8, 7}, term{-1.63552118e9, 8}, term{8.32299658e9, 9}) +
		sum(10/(t-232), term{5.78545292e-3, 1}, term{-1.53195665e-2, 2}, term{3.11337859e-2, 3}, term{-4.23546241e-2, 4}, term{3.38713507e-2, 5}, term{-1.19946761e-2, 6}))
	return eta * v
}

// The oracle is 4V/(πDtν) with nu above, and at 20 °C once more with the ν of
// python3-iapws 1.5.3.
func TestCalcJSON(t *testing.T) {
	m := calcJSON(t, "--volume", "200 mL", "--time", "30.0 s", "--temperature", "20 Cel", "--bore", "13 mm")
	if len(m) != int(quantity.Count) {
		t.Errorf("%d names, want the %d of the table", len(m), quantity.Count)
	}
	flow := 200e-6 / 30
	for name, want := range map[string]float64{
		"flow_cubic_meters_per_second":                 flow,
		"temperature_celsius":                          20,
		"kinematic_viscosity_square_meters_per_second": 1.0033667563000113e-6,
		"velocity_meters_per_second":                   flow / (math.Pi * 0.013 * 0.013 / 4),
		"reynolds_number":                              4 * flow / (math.Pi * 0.013 * nu(20)),
		"friction_factor":                              16 * math.Pi * 0.013 * nu(20) / flow,
		"entrance_length_meters":                       0.06 * 4 * flow / (math.Pi * nu(20)),
		"laminar_limit_flow_cubic_meters_per_second":   2000 * math.Pi * 0.013 * nu(20) / 4,
		"turbulent_limit_flow_cubic_meters_per_second": 4000 * math.Pi * 0.013 * nu(20) / 4,
	} {
		if got, ok := m[name].(float64); !ok || math.Abs(got-want) > 1e-9*want {
			t.Errorf("%s = %v, want %v", name, m[name], want)
		}
	}
	if m["regime"] != "laminar" {
		t.Errorf("regime %v", m["regime"])
	}
	for _, name := range []string{"reynolds_number_uncertainty", "probability_below_limits", "level_meters", "head_meters",
		"loss_coefficient", "developed", "steady", "heating_permitted", "supply_on"} {
		if v, there := m[name]; !there || v != nil {
			t.Errorf("%s = %v (there: %v), want null", name, v, there)
		}
	}
}

// Check values of a vertical tube of 13 mm × 900 mm in a room of 20 °C at 65 °C and Re
// 1500, computed independently for this project: 0.78 K, Gr/Re 78. A horizontal tube
// loses more, 0.97 K; at the inlet itself Re is the inlet's.
func TestCalcHeat(t *testing.T) {
	args := []string{"--flow", "0.4057 L/min", "--temperature", "65 Cel", "--bore", "13 mm", "--length", "900 mm", "--ambient", "20 Cel"}
	m := calcJSON(t, append(args, "--outer", "16 mm")...)
	near := func(name string, want, within float64) {
		if got, ok := m[name].(float64); !ok || math.Abs(got/want-1) > within {
			t.Errorf("%s = %v, want %v", name, m[name], want)
		}
	}
	near("tube_temperature_fall_kelvin", 0.78, 0.02)
	near("grashof_reynolds_ratio", 78, 0.05)
	near("tube_temperature_celsius", 64.61, 1e-4)
	near("reynolds_number", 4*0.4057/60000/(math.Pi*0.013*nu(m["tube_temperature_celsius"].(float64))), 1e-9)
	if m["friction_factor"] != nil {
		t.Errorf("friction of a profile that is no parabola: %v", m["friction_factor"])
	}
	m = calcJSON(t, append(args, "--orientation", "horizontal", "--watched-at", "0 mm")...)
	near("tube_temperature_fall_kelvin", 0.97, 0.02)
	near("reynolds_number", 4*0.4057/60000/(math.Pi*0.013*nu(65)), 1e-9)
}

// A jug of plastic at 65 °C is 1.35 % wider than at 20 °C (3·1e-4·45).
func TestCalcVessel(t *testing.T) {
	args := []string{"--volume", "200 mL", "--time", "30 s", "--temperature", "65 Cel", "--bore", "13 mm"}
	bare, wide := calcJSON(t, args...), calcJSON(t, append(args, "--vessel", "plastic")...)
	if got := wide["reynolds_number"].(float64) / bare["reynolds_number"].(float64); math.Abs(got-1.0135) > 1e-9 {
		t.Errorf("%v of the Reynolds number without a vessel", got)
	}
}

// One flow in three units is one Reynolds number, to 12 digits.
func TestCalcUnits(t *testing.T) {
	re := func(flow string) float64 {
		m := calcJSON(t, "--flow", flow, "--temperature", "293.15 K", "--bore", "1.3 cm")
		return m["reynolds_number"].(float64)
	}
	want := 4 * 2e-5 / (math.Pi * 0.013 * nu(20))
	for _, flow := range []string{"1.2 L/min", "72 L/h", "2e-5 m3/s", "20 mL/s", "0.072 m³/h"} {
		if got := re(flow); math.Abs(got-want) > 5e-13*want {
			t.Errorf("%s: Re %.14g, want %.14g", flow, got, want)
		}
	}
}

// The budget of JCGM 100, 5.1.6: 1 %, 0.19 % and 0.1 % of the formula, and
// 0.25 K at the slope of nu.
func TestCalcUncertainty(t *testing.T) {
	m := calcJSON(t, "--flow", "1.2 L/min ± 2 %", "--temperature", "42 Cel +/- 0.5 K", "--bore", "13 mm ± 0.05 mm",
		"--length", "900 mm", "--head", "1.35 m ± 2 mm", "--laminar-below", "2100", "--turbulent-above", "2300")
	slope := (nu(42.01) - nu(41.99)) / 0.02 / nu(42)
	formula := 0.0010 + 2.0/55*0.0007
	u := math.Sqrt(1e-4 + math.Pow(2.5e-5/0.013, 2) + formula*formula + math.Pow(slope*0.25, 2))
	re := m["reynolds_number"].(float64)
	if got := m["reynolds_number_uncertainty"].(float64); math.Abs(got-2*u*re) > 1e-5*got {
		t.Errorf("U = %v, want %v", got, 2*u*re)
	}
	below, between, above := m["probability_below_limits"].(float64), m["probability_between_limits"].(float64), m["probability_above_limits"].(float64)
	if math.Abs(below+between+above-1) > 1e-12 || above < 0.999 || m["regime"] != "turbulent" {
		t.Errorf("Re %v is %v with %v, %v, %v", re, m["regime"], below, between, above)
	}
	if m["loss_coefficient"] == nil || m["loss_coefficient_uncertainty"] != nil || m["developed"] != true {
		t.Errorf("K %v ± %v, developed %v", m["loss_coefficient"], m["loss_coefficient_uncertainty"], m["developed"])
	}
}

func TestCalcText(t *testing.T) {
	stdout, stderr, code := calc("--flow", "1.2 L/min", "--temperature", "20 Cel", "--bore", "13 mm")
	const want = `Re 1952, uncertainty unknown: no ± given for flow, temperature and bore
regime: laminar by the limits 2000 and 4000
flow 1.2 L/min, mean velocity 0.1507 m/s
at 20 °C Re meets 2000 at 1.229 L/min and 4000 at 2.459 L/min
Re gives a band; only the dye shows the flow.
`
	if stdout != want || stderr != "" || code != exitDone {
		t.Errorf("exit %d, %s\n%s\nwant\n%s", code, stderr, stdout, want)
	}
	stdout, _, _ = calc("--volume", "500 mL ± 5 mL (limits)", "--time", "15.0 s", "--temperature", "20 Cel ± 1 K", "--bore", "13 mm ± 0.05 mm")
	// By hand: √(0.577² + 0.943² + 1.215² + 0.192² + 0.1²) % = 1.657 % of 3253.8, twice.
	if !strings.HasPrefix(stdout, "Re 3250 ± 110 (k = 2)\n") {
		t.Errorf("with uncertainties:\n%s", stdout)
	}
}

// With both wishes the working lies in the JSON object.
func TestCalcExplain(t *testing.T) {
	args := []string{"--flow", "1.2 L/min ± 1 %", "--temperature", "20 Cel ± 0.5 K", "--bore", "13 mm ± 0.05 mm"}
	stdout, stderr, code := calc(append(args, "--explain")...)
	if code != exitDone || stderr != "" || !strings.Contains(stdout, "= 1.2 × 1.66667·10⁻⁵ = 2·10⁻⁵ m³/s") {
		t.Errorf("exit %d, %s\n%s", code, stderr, stdout)
	}
	lines, _ := calcJSON(t, append(args, "--explain")...)["working"].([]any)
	if len(lines) != strings.Count(strings.TrimSpace(stdout), "\n")+1 || lines[0] != "The Reynolds number of water in a round tube, step by step" {
		t.Errorf("%d lines of working: %v", len(lines), lines)
	}
}

// The program itself says the same with the same exit codes.
func TestCalcProgram(t *testing.T) {
	args := []string{"calc", "--flow", "1.2 L/min", "--temperature", "20 Cel", "--bore", "13 mm", "--json"}
	want, _, _ := calc(args[1:]...)
	if stdout, stderr, code := call(t, program, args...); stdout != want || stderr != "" || code != 0 {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
	args[2] = "0 L/min"
	if stdout, stderr, code := call(t, program, args...); stdout != "" || !strings.Contains(stderr, "flow (--flow)") || code != 2 {
		t.Errorf("exit %d\n%s%s", code, stdout, stderr)
	}
}
