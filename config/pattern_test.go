package config

import (
	"math"
	"testing"
)

func TestPattern(t *testing.T) {
	tests := []struct {
		name, pattern, line string
		want                float64
		err                 string
	}{
		{"plain", "T={value}", "T=41.276", 41.276, ""},
		{"blanks", "T={value} mV", "T=  +1.5e1  mV", 15, ""},
		{"alone", "{value}", "-3", -3, ""},
		{"no leading digit", "{value}", ".5", 0.5, ""},
		{"literal signs", "a.*({value})", "a.*(7)", 7, ""},
		{"number in suffix", "{value};1", "2;1", 2, ""},
		{"expression", "/^T=(?P<value>[^,]+),/", "T=4.5,0", 4.5, ""},
		{"expression in the middle", "/T=(?P<value>[0-9]+)/", "??T=4", 4, ""},
		{"cut", "T={value}", "T", 0, `line: pattern: "T" does not fit "T={value}"`},
		{"noise before", "T={value}", "\xffT=1", 0, `line: pattern: "\xffT=1" does not fit "T={value}"`},
		{"noise behind", "T={value}", "T=1x", 0, `line: number: "1x" is not a decimal number`},
		{"overlap of the ends", "ab{value}b", "ab", 0, `line: pattern: "ab" does not fit "ab{value}b"`},
		{"two numbers", "T={value}", "T=1 2", 0, `line: number: "1 2" is not a decimal number`},
		{"empty", "T={value}", "T=", 0, `line: number: "" is not a decimal number`},
		{"nan", "T={value}", "T=NaN", 0, `line: number: "NaN" is not a decimal number`},
		{"inf", "T={value}", "T=-Inf", 0, `line: number: "-Inf" is not a decimal number`},
		{"hex", "T={value}", "T=0x1p-2", 0, `line: number: "0x1p-2" is not a decimal number`},
		{"underscore", "T={value}", "T=1_0", 0, `line: number: "1_0" is not a decimal number`},
		{"comma", "T={value}", "T=1,5", 0, `line: number: "1,5" has a decimal comma; set the instrument to send a point, or write decimal = "," beside the pattern`},
		{"thousands", "T={value}", "T=1,234.5", 0, `line: number: "1,234.5" is not a decimal number`},
		{"comma at the end", "T={value}", "T=1,", 0, `line: number: "1," is not a decimal number`},
		{"too large", "T={value}", "T=1e999", 0, `line: number: "1e999" is out of range or not a number`},
		{"bare point", "T={value}", "T=.", 0, `line: number: "." is out of range or not a number`},
		{"no match", "/^T=(?P<value>.+)$/", "F=1", 0, `line: pattern: "F=1" does not fit "/^T=(?P<value>.+)$/"`},
		{"group not taken", "/^(?:T=(?P<value>.+)|X)$/", "X", 0, `line: number: "" is not a decimal number`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, err := ParsePattern(tt.pattern)
			if err != nil {
				t.Fatal(err)
			}
			got, err := p.Match([]byte(tt.line))
			if text := errorText(err); got != tt.want || text != tt.err {
				t.Errorf("got %g, %s\nwant %g, %s", got, text, tt.want, tt.err)
			}
		})
	}
}

// TestDecimalComma holds numbers of an instrument that writes a comma.
func TestDecimalComma(t *testing.T) {
	p, err := ParsePattern("T={value}")
	if err != nil {
		t.Fatal(err)
	}
	p.comma = true
	for line, want := range map[string]float64{"T=12,5": 12.5, "T=-0,25e1": -2.5, "T=12": 12} {
		if got, err := p.Match([]byte(line)); got != want || err != nil {
			t.Errorf("%s: %v, %v", line, got, err)
		}
	}
	for line, want := range map[string]string{
		"T=12.5":    `line: number: "12.5" has a decimal point; write decimal = "." beside the pattern, or leave decimal out`,
		"T=1.234,5": `line: number: "1.234,5" is not a decimal number`,
		"T=1,2,3":   `line: number: "1,2,3" is not a decimal number`,
	} {
		if got, err := p.Match([]byte(line)); got != 0 || errorText(err) != want {
			t.Errorf("%s: %v, %v", line, got, err)
		}
	}
}

func errorText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestZeroPatternMatchesNothing(t *testing.T) {
	if v, err := (Pattern{}).Match([]byte("1")); err == nil || v != 0 {
		t.Errorf("got %g, %v", v, err)
	}
}

func FuzzPattern(f *testing.F) {
	f.Add("T={value}", []byte("T=41.276"))
	f.Add("/^T=(?P<value>[-+.0-9eE]+)$/", []byte("T=-1e5"))
	f.Add("/(?P<value>x*)*/", []byte("xxxx\xff\x00"))
	f.Add("{value}", []byte("1e308"))
	f.Fuzz(func(t *testing.T, pattern string, line []byte) {
		p, err := ParsePattern(pattern)
		if err != nil {
			return
		}
		v, err := p.Match(line)
		if math.IsNaN(v) || math.IsInf(v, 0) || err != nil && v != 0 {
			t.Fatalf("%q on %q gives %g, %v", pattern, line, v, err)
		}
	})
}

func TestPatternsOverlap(t *testing.T) {
	tests := []struct {
		a, b string
		want bool
	}{
		{"T={value}", "T={value}", true},
		{"T={value}", "H={value}", false},
		{"T={value}", "{value}", true},
		{"T={value} C", "T={value} K", false},
		{"T={value} C", "T={value}C", true},
		{"T={value}", "/^H=(?P<value>[0-9]+)$/", true}, // it cannot be told
	}
	for _, tt := range tests {
		a, errA := ParsePattern(tt.a)
		b, errB := ParsePattern(tt.b)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if a.Overlaps(b) != tt.want || b.Overlaps(a) != tt.want {
			t.Errorf("%s and %s: %v, %v", tt.a, tt.b, a.Overlaps(b), b.Overlaps(a))
		}
	}
}
