package uncertainty_test

import (
	"math"
	"testing"

	"flowrigd/calc/uncertainty"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

// The end gauge of JCGM 100:2008, annex H.1. Inputs as read in two public
// transcriptions; the digits beyond the printed ones were computed
// independently from those inputs.
func TestEndGaugeH1(t *testing.T) {
	const ls, theta, alpha = 50000623.0, -0.1, 11.5e-6
	d := uncertainty.Combine(
		uncertainty.Contribution{Name: "repeated observations", U: 5.8, Sensitivity: 1, DoF: 24},
		uncertainty.Contribution{Name: "comparator, random", U: 3.9, Sensitivity: 1, DoF: 5},
		uncertainty.Contribution{Name: "comparator, systematic", U: 6.7, Sensitivity: 1, DoF: 8},
	)
	near(t, "u(d)", d.U, 9.6819, 0.0001)
	near(t, "dof(d)", d.DoF, 25.4, 0.1)
	rows := []uncertainty.Contribution{
		{Name: "standard", U: 25, Sensitivity: 1, DoF: 18},
		{Name: "difference", U: d.U, Sensitivity: 1, DoF: d.DoF},
		{Name: "expansion difference", U: uncertainty.Limits(0, 1e-6).U, Sensitivity: -ls * theta, DoF: 50},
		{Name: "temperature difference", U: uncertainty.Limits(0, 0.05).U, Sensitivity: -ls * alpha, DoF: 2},
		// Both sensitivities are zero at first order: dalpha = dtheta = 0.
		{Name: "expansion", U: uncertainty.Limits(alpha, 2e-6).U, Sensitivity: 0},
		{Name: "temperature", U: 0.41, Sensitivity: 0},
	}
	for i, want := range []float64{25, 9.7, 2.9, 16.6} { // printed
		near(t, rows[i].Name, rows[i].Share(), want, 0.05)
	}
	all := uncertainty.Combine(rows...)
	near(t, "u(l)", all.U, 32, 0.5)      // printed
	near(t, "u(l)", all.U, 31.664, 5e-3) // computed
	// The GUM prints 16 degrees of freedom after cutting 16.7.
	near(t, "dof(l)", all.DoF, 16.75, 0.05)
	// The GUM prints 93 nm from the rounded 2.92 × 32; unrounded it is 92.5.
	near(t, "U99(l)", all.Expanded(0.99), 92.5, 0.05)
}

// Five voltages of JCGM 100:2008, annex H.2, data and results as read.
func TestSampleH2(t *testing.T) {
	v, dof := uncertainty.Sample([]float64{5.007, 4.994, 5.005, 4.990, 4.999})
	near(t, "V", v.X, 4.9990, 1e-9)
	near(t, "u(V)", v.U, 0.0032, 0.00005)
	near(t, "dof(V)", dof, 4, 0)
}
