package explain

import (
	"math"
	"testing"
)

func TestNum(t *testing.T) {
	for _, c := range []struct {
		v      float64
		digits int
		want   string
	}{
		{0, 4, "0"}, {0.013, 6, "0.013"}, {2.5e-5, 4, "2.5·10⁻⁵"}, {-2.5e-5, 4, "−2.5·10⁻⁵"},
		{1952.257, 4, "1952"}, {12345.6, 4, "12346"}, {0.00099996, 4, "0.001"}, {999999.6, 6, "1·10⁶"},
		{6.486e8, 4, "6.486·10⁸"}, {0.001, 4, "0.001"}, {2000, 6, "2000"}, {math.NaN(), 4, "not stated"}, {1e-12, 4, "1·10⁻¹²"},
	} {
		if got := num(c.v, c.digits); got != c.want {
			t.Errorf("num(%v, %d) = %q, want %q", c.v, c.digits, got, c.want)
		}
	}
}

// JCGM 100:2008, 7.2.6: an uncertainty has two significant digits at most, and
// the value as many places as it.
func TestWithUncertainty(t *testing.T) {
	for _, c := range []struct {
		v, expanded float64
		want        string
	}{
		{650.752, 12.83, "651 ± 13"}, {17722.6, 232.7, "17720 ± 230"}, {64.251, 1.7123, "64.3 ± 1.7"},
		{10487, 345.6, "10490 ± 350"}, {0.02712, 0.000996, "0.0271 ± 0.0010"}, {8134.4, 99.6, "8130 ± 100"},
		{1952.26, math.NaN(), "1952"}, {-3.21, 0.5, "−3.21 ± 0.50"}, {5, 0, "5 ± 0"}, {123.4, 9.96, "123 ± 10"},
		{3.8e19, 3.04e19, "(3.8 ± 3.0)·10¹⁹"}, {1.2e-5, 3e-7, "(1.200 ± 0.030)·10⁻⁵"},
	} {
		if got := WithUncertainty(c.v, c.expanded); got != c.want {
			t.Errorf("%v, %v: %q, want %q", c.v, c.expanded, got, c.want)
		}
	}
}

func TestPercent(t *testing.T) {
	for p, want := range map[float64]string{0: "under 0.1 %", 0.0005: "under 0.1 %", 0.0123: "1.2 %", 0.5: "50.0 %", 0.9995: "over 99.9 %", 1: "over 99.9 %"} {
		if got := percent(p); got != want {
			t.Errorf("percent(%v) = %q, want %q", p, got, want)
		}
	}
}
