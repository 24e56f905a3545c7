package config

import "testing"

// What moves a terminal's cursor, colours it or turns its reading direction
// stands as an escape; letters of every script stay.
func TestPrintable(t *testing.T) {
	for text, want := range map[string]string{
		"13 mm ± 0.04 mm, 水": "13 mm ± 0.04 mm, 水",
		"\x1b[31mred\x07":    `\x1b[31mred\a`,
		"a\r\nb\tc":          `a\r\nb\tc`,
		"\u009b2J":           `\u009b2J`,
		"abc\u202edcb":       `abc\u202edcb`,
		"no\u00a0break":      `no\u00a0break`,
		"\xb0C":              `\xb0C`,
		"�":                  "�",
		"":                   "",
	} {
		if got := Printable(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	p := Problem{File: "a\x1b.toml", Line: 1, Column: 2, Text: "b\nc", Remedy: "d\x9b"}
	if got := p.String(); got != `a\x1b.toml:1:2: b\nc; d\x9b` {
		t.Errorf("a problem: %q", got)
	}
}
