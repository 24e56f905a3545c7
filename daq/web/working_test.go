package web

import (
	"regexp"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// TestWorkingEndsAtTheRe: the working uses the present readings. 0.7116 L/min at 42.03 °C
// in 13 mm: v = Q / (π D²/4) = 0.08935 m/s and, with ν = 0.6335 mm²/s of the state,
// Re = 1834; the working takes ν from its own water (IAPWS), so 1 % is allowed.
func TestWorkingEndsAtTheRe(t *testing.T) {
	b := testBed(t, func(o *Options) {
		o.Facts.Tube.Bore, o.Facts.Tube.Length = uncertainty.Expanded(0.013, 0.00004, 2), uncertainty.Value{X: 0.9}
	})
	s := steadyState()
	s.U.Put(quantity.Flow, 3e-8)
	b.rig.set(func(f *fakeRig) { f.state = s })
	status, header, text := b.ask("GET", "/page/working", "", "")
	if status != 200 || !strings.HasPrefix(header.Get("Content-Type"), "text/plain") {
		t.Fatalf("%d %s", status, text)
	}
	if !strings.Contains(text, "0.7116 L/min ± 0.0036 L/min") || !regexp.MustCompile(`Re\b.*18[2-4]\d`).MatchString(text) {
		t.Errorf("the working is:\n%s", text)
	}
	b.rig.set(func(f *fakeRig) { f.state = badState() })
	if status, _, text := b.ask("GET", "/page/working", "", ""); status != 503 || !strings.Contains(text, "the temperature is not known") {
		t.Errorf("without a thermocouple: %d %s", status, text)
	}
}
