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

// Simultaneous resistance and reactance, JCGM 100:2008, annex H.2: correlated
// inputs. Data and results as read; further digits computed independently.
func TestResistanceReactanceH2(t *testing.T) {
	observed := [][]float64{
		{5.007, 4.994, 5.005, 4.990, 4.999},
		{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
		{1.0456, 1.0438, 1.0468, 1.0428, 1.0433},
	}
	cov := make([][]float64, 3)
	for i := range cov {
		cov[i] = make([]float64, 3)
		for j := range cov {
			cov[i][j] = uncertainty.CovarianceOfMeans(observed[i], observed[j])
		}
	}
	v, dof := uncertainty.Sample(observed[0])
	near(t, "V", v.X, 4.9990, 1e-9)
	near(t, "u(V)", v.U, 0.0032, 0.00005)
	near(t, "dof(V)", dof, 4, 0)
	near(t, "r(V,I)", correlation(cov, 0, 1), -0.35531, 1e-5)
	near(t, "r(V,phi)", correlation(cov, 0, 2), 0.85762, 1e-5)
	near(t, "r(I,phi)", correlation(cov, 1, 2), -0.64511, 1e-5)

	i, phi := uncertainty.Mean(observed[1]), uncertainty.Mean(observed[2])
	r, x, z := v.X/i*math.Cos(phi), v.X/i*math.Sin(phi), v.X/i
	near(t, "R", r, 127.73217, 1e-5)
	near(t, "X", x, 219.84651, 1e-5)
	near(t, "Z", z, 254.25970, 1e-5)
	jacobian := [][]float64{{r / v.X, -r / i, -x}, {x / v.X, -x / i, r}, {z / v.X, -z / i, 0}}
	out := uncertainty.Propagate(jacobian, cov)
	near(t, "u(R)", math.Sqrt(out[0][0]), 0.07107, 1e-5)
	near(t, "u(X)", math.Sqrt(out[1][1]), 0.29558, 1e-5)
	near(t, "u(Z)", uncertainty.CombineCorrelated(jacobian[2], cov), 0.23634, 1e-5)
	near(t, "r(R,X)", correlation(out, 0, 1), -0.588, 5e-4)
	near(t, "r(R,Z)", correlation(out, 0, 2), -0.485, 5e-4)
	near(t, "r(X,Z)", correlation(out, 1, 2), 0.993, 6e-4)
}

func correlation(cov [][]float64, i, j int) float64 {
	return cov[i][j] / math.Sqrt(cov[i][i]*cov[j][j])
}

// The calibration line of a thermometer, JCGM 100:2008, annex H.3. Intercept
// and slope are linear in the eleven corrections, so the covariance law gives
// their uncertainties and correlation; the last line uses both, correlated.
func TestCalibrationLineH3(t *testing.T) {
	temperature := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	correction := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	theta := make([]float64, len(temperature))
	for i := range theta {
		theta[i] = temperature[i] - 20
	}
	jacobian := lineSensitivities(theta)
	y1, y2 := dot(jacobian[0], correction), dot(jacobian[1], correction)
	near(t, "y1", y1, -0.171203790, 1e-9)
	near(t, "y2", y2, 0.002182697740, 1e-12)

	squares := 0.0
	for i := range theta {
		residual := correction[i] - y1 - y2*theta[i]
		squares += residual * residual
	}
	variance := squares / float64(len(theta)-2)
	near(t, "s", math.Sqrt(variance), 0.003497564, 1e-9)
	cov := uncertainty.Propagate(jacobian, diagonal(len(theta), variance))
	near(t, "u(y1)", math.Sqrt(cov[0][0]), 0.002877598, 1e-9)
	near(t, "u(y2)", math.Sqrt(cov[1][1]), 0.000667939, 1e-9)
	near(t, "r(y1,y2)", correlation(cov, 0, 1), -0.930430, 1e-6)
	near(t, "b(30)", y1+y2*10, -0.149376813, 1e-9)
	near(t, "u(b(30))", uncertainty.CombineCorrelated([]float64{1, 10}, cov), 0.004138596, 1e-9)
}

// lineSensitivities are the derivatives of intercept and slope of a least
// squares line to each observation (JCGM 100:2008, equations H.13a and H.13b).
func lineSensitivities(x []float64) [][]float64 {
	n, sx, sxx := float64(len(x)), 0.0, 0.0
	for _, v := range x {
		sx, sxx = sx+v, sxx+v*v
	}
	d := n*sxx - sx*sx
	out := [][]float64{make([]float64, len(x)), make([]float64, len(x))}
	for i, v := range x {
		out[0][i], out[1][i] = (sxx-sx*v)/d, (n*v-sx)/d
	}
	return out
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

func diagonal(n int, v float64) [][]float64 {
	out := make([][]float64, n)
	for i := range out {
		out[i] = make([]float64, n)
		out[i][i] = v
	}
	return out
}
