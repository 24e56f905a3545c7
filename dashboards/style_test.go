package dashboards

import (
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var variable = regexp.MustCompile(`--([a-z-]+): #([0-9a-f]{6})`)

// schemes reads the colours of the light and the dark scheme.
func schemes(t *testing.T) map[string]map[string]float64 {
	t.Helper()
	data, err := fs.ReadFile(Files, "assets/style.css")
	if err != nil {
		t.Fatal(err)
	}
	light, dark, ok := strings.Cut(string(data), "@media (prefers-color-scheme: dark)")
	if !ok {
		t.Fatal("there is no dark scheme")
	}
	// The focus ring is the system's colour of text, CanvasText (CSS Color 4, 6.2),
	// which browsers give as black in the light scheme and white in the dark one.
	if !strings.Contains(string(data), ":focus-visible { outline: 3px solid CanvasText;") {
		t.Fatal("the focus ring is not in the system's colour")
	}
	list := map[string]map[string]float64{"light": {"focus": 0}, "dark": {"focus": 1}}
	for name, text := range map[string]string{"light": light, "dark": dark} {
		for _, m := range variable.FindAllStringSubmatch(text, -1) {
			list[name][m[1]] = luminance(t, m[2])
		}
	}
	return list
}

// luminance is the relative luminance of WCAG 2.2.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	var sum float64
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, err := strconv.ParseUint(hex[2*i:2*i+2], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c := float64(n) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

// TestContrast: WCAG 2.2, 1.4.3 wants 4.5 for text, 1.4.11 wants 3 for what
// must be seen beside it.
func TestContrast(t *testing.T) {
	for _, c := range []struct {
		front, back string
		least       float64
	}{
		{"ink", "paper", 4.5}, {"ink", "card", 4.5}, {"soft", "paper", 4.5}, {"soft", "card", 4.5}, {"ink", "shade", 4.5},
		{"on-high", "high", 4.5}, {"on-medium", "medium", 4.5}, {"on-low", "low", 4.5}, {"card", "mark", 4.5},
		{"ink", "trouble-back", 4.5}, {"ink", "caution-back", 4.5}, {"medium", "card", 4.5},
		{"high", "card", 3}, {"low", "card", 3}, {"mark", "card", 3}, {"focus", "card", 3}, {"focus", "paper", 3}, {"ink", "water", 3}, {"mark", "water", 3},
	} {
		for name, colours := range schemes(t) {
			front, ok := colours[c.front]
			back, there := colours[c.back]
			if !ok || !there {
				t.Fatalf("%s: %s or %s is not a colour", name, c.front, c.back)
			}
			ratio := (max(front, back) + 0.05) / (min(front, back) + 0.05)
			if ratio < c.least {
				t.Errorf("%s: %s on %s: %.2f; want %.1f", name, c.front, c.back, ratio, c.least)
			}
		}
	}
}
