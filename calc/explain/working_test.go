package explain_test

import (
	"strings"
	"testing"

	"flowrigd/calc/explain"
	"flowrigd/calc/uncertainty"
)

func contains(t *testing.T, text string, lines ...string) {
	t.Helper()
	for _, line := range lines {
		if !strings.Contains(text, line) {
			t.Errorf("%q is not in\n%s", line, text)
		}
	}
}

// Each figure was computed apart with python3 and python3-iapws 1.5.3 at
// 293.15 K and 0.1 MPa from the formula that the line shows.
func TestWorkingLaminar(t *testing.T) {
	contains(t, solve(t, jug()).Working(),
		"Q = V / t = 2·10⁻⁴ m³ / 30 s = 6.66667·10⁻⁶ m³/s = 0.4 L/min",
		"T  = 20 + 273.15 = 293.15 K,  θ = T / 300 K = 0.9771667",
		"280.68·θ^−1.9    = 293.272",
		"511.45·θ^−7.7    = 611.005",
		"61.131·θ^−19.6   = 96.1338",
		"0.45903·θ^−40    = 1.15637",
		"= 1001.57 µPa·s",
		"[a₅ + Σ aᵢ·α^nᵢ + Σ bᵢ·β^mᵢ]", "aᵢ: i = 6 to 10, bᵢ: i = 5 to 10",
		"ν  = η / ρ = 0.00100157 / 998.207 = 1.00337·10⁻⁶ m²/s",
		"v  = 4·Q / (π·D²) = 4 × 6.66667·10⁻⁶ / (π × (0.013)²) = 0.0502264 m/s",
		"Re = 4·Q / (π·D·ν) = 4 × 6.66667·10⁻⁶ / (π × 0.013 × 1.00337·10⁻⁶) = 650.752",
		"reaction at start                      0.1 s",
		"Re    = 651 ± 13 (k = 2)",
		"Re = 650.75 is below 2000: laminar by the limits.",
		"f  = 64 / Re = 64 / 650.75 = 0.09835  (Darcy)",
		"Le = 0.06·Re·D = 0.06 × 650.75 × 0.013 = 0.5076 m",
		"K     = 1.35 / 1.2862·10⁻⁴ − 2 − 6.8087 = 10487",
		"Re = 2000   Q = 2000 × π × 0.013 × 1.00337·10⁻⁶ / 4 = 2.0489·10⁻⁵ m³/s = 1.229 L/min",
		"only the dye shows the flow", "IAPWS SR6-08", "JCGM 100:2008", "never heat without flow",
	)
}

// The friction factor solves the equation printed above it, both sides.
func TestWorkingTurbulent(t *testing.T) {
	r := jug()
	r.Volume, r.Time = explain.Given{}, explain.Given{}
	r.Flow = sure(uncertainty.Limits(5./60000, 5e-4/60000))
	text := solve(t, r).Working()
	contains(t, text, "Re = 8134.4 is above 4000: turbulent by the limits.",
		"drawn glass, ε = 0.0015 mm", "left side  1/√f = 5.52144", "right side −2·log₁₀(3.119·10⁻⁵ + 0.0017", "α = 1.06")
	_, left, _ := strings.Cut(text, "left side  1/√f = ")
	_, right, _ := strings.Cut(left, "= ")
	if l, rt := left[:7], right[:7]; l != rt {
		t.Errorf("left side %q, right side %q", l, rt)
	}
}

func TestWorkingTransitional(t *testing.T) {
	r := jug()
	r.Volume, r.Time = explain.Given{}, explain.Given{}
	r.Flow = sure(uncertainty.Expanded(2.03e-5, 4e-7, 2))
	contains(t, solve(t, r).Working(), "laminar by the limits", "reaches across 2000: this reading alone does not decide")
	r.Flow.X = 3e-5
	contains(t, solve(t, r).Working(), "lies between 2000 and 4000: transitional by the limits",
		"no friction factor and no entrance length", "No one law of friction holds here",
		"α = 1.53 ± 0.47", "entrance, valve, bends and outlet together")
	r.Length = explain.Given{}
	contains(t, solve(t, r).Working(), "The loss coefficient needs the friction of the tube, and that a length")
}

// Conversions as they would stand on the board; the factors are those of UCUM.
func TestConversions(t *testing.T) {
	r := jug()
	r.Temperature = explain.Given{Value: uncertainty.Value{X: 20}, Text: "68 degF ± 0 K", Number: "68", Factor: 5. / 9, Offset: -160. / 9}
	r.Bore = explain.Given{Value: uncertainty.Limits(0.0127, 1e-4), Text: "0.5 in ± 0.1 mm (limits)", Number: "0.5", Factor: 0.0254}
	contains(t, solve(t, r).Working(),
		"temperature  T = 68 degF ± 0 K", "= 68 × 0.555556 − 17.7778 = 20 °C",
		"bore         D = 0.5 in ± 0.1 mm (limits)", "= 0.5 × 0.0254 = 0.0127 m",
		"± limits of error (rectangular): u = 1·10⁻⁴ / √3 = 5.774·10⁻⁵ m")
}

func TestNotes(t *testing.T) {
	r := jug()
	r.Flow, r.Volume, r.Time = bare(5e-3), explain.Given{}, explain.Given{}
	r.Temperature.X = 65
	contains(t, solve(t, r).Short(), "look again: 37.7 m/s is more than a supply of about 1 bar can give",
		"caution: water of 60 °C and more burns skin", "note: head is too small for this flow: check head, bore and flow")
	if text := solve(t, jug()).Short(); strings.Contains(text, "look again") || strings.Contains(text, "caution") {
		t.Errorf("notes without need:\n%s", text)
	}
}

// The bound on the chances grows with the uncertainty: 2 % of Re, and 23 %
// (20 % as limits, times 2/√3).
func TestWorkingSaysHowGoodTheChancesAre(t *testing.T) {
	contains(t, oneLine(solve(t, jug()).Working()), "of Re a probability so found may be off by up to 1 % absolute")
	r := jug()
	r.Volume, r.Time, r.Flow = explain.Given{}, explain.Given{}, sure(uncertainty.Limits(2e-5, 4e-6))
	contains(t, oneLine(solve(t, r).Working()), "At a U(Re) of 23.1 % of Re a probability so found may be off by up to 4 % absolute")
}

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
