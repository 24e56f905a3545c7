package explain

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// columns is the width of the page, in characters.
const columns = 96

// paper is plain text that grows: numbered headings, formulas, wrapped prose.
type paper struct {
	text    strings.Builder
	section int
}

func (p *paper) heading(title string) {
	p.section++
	fmt.Fprintf(&p.text, "\n%d. %s\n", p.section, title)
}

// line is a formula or a row of a table, as it stands.
func (p *paper) line(format string, args ...any) {
	p.text.WriteString(strings.TrimRight("   "+fmt.Sprintf(format, args...), " ") + "\n")
}

// prose wraps a sentence under the headings.
func (p *paper) prose(format string, args ...any) { p.hang("", format, args...) }

// hang wraps a sentence behind a label that stands alone at the left.
func (p *paper) hang(label, format string, args ...any) {
	indent := 3 + utf8.RuneCountInString(label)
	p.text.WriteString("   " + label)
	at := indent
	for i, word := range strings.Fields(fmt.Sprintf(format, args...)) {
		width := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case at+1+width > columns:
			p.text.WriteString("\n" + strings.Repeat(" ", indent))
			at = indent
		default:
			p.text.WriteString(" ")
			at++
		}
		p.text.WriteString(word)
		at += width
	}
	p.text.WriteString("\n")
}

// num writes a number with so many significant digits, without trailing zeros:
// 0.013, 2.5·10⁻⁵.
func num(v float64, digits int) string {
	if v == 0 {
		return "0"
	}
	if math.IsNaN(v) {
		return "not stated"
	}
	mantissa, power, _ := strings.Cut(strconv.FormatFloat(v, 'e', digits-1, 64), "e")
	n, err := strconv.Atoi(power)
	if err != nil { // infinite
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	if n < -3 || n > 5 {
		return minus(trim(mantissa)) + "·10" + superscript(n)
	}
	return minus(trim(strconv.FormatFloat(v, 'f', max(0, digits-1-n), 64)))
}

func trim(text string) string {
	if !strings.Contains(text, ".") {
		return text
	}
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}

func minus(text string) string { return strings.Replace(text, "-", "−", 1) }

var superscripts = strings.NewReplacer("-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹")

func superscript(n int) string { return superscripts.Replace(strconv.Itoa(n)) }

// WithUncertainty writes a value and its expanded uncertainty, the latter with
// two significant digits and the value to the same place (JCGM 100:2008,
// 7.2.6). Without an uncertainty the value has four digits.
func WithUncertainty(v, expanded float64) string {
	if math.IsNaN(expanded) {
		return num(v, 4)
	}
	if expanded == 0 {
		return num(v, 6) + " ± 0"
	}
	n := int(math.Floor(math.Log10(math.Max(math.Abs(v), expanded))))
	if n < -3 || n > 5 {
		scale := math.Pow(10, float64(n))
		return "(" + samePlace(v/scale, expanded/scale) + ")·10" + superscript(n)
	}
	return samePlace(v, expanded)
}

func samePlace(v, expanded float64) string {
	place := int(math.Floor(math.Log10(expanded))) - 1
	// 0.0996 becomes 0.10, one place less.
	if rounded(expanded, place) >= math.Pow10(place+2) {
		place++
	}
	decimals := max(0, -place)
	return fmt.Sprintf("%s ± %s",
		minus(strconv.FormatFloat(rounded(v, place), 'f', decimals, 64)),
		strconv.FormatFloat(rounded(expanded, place), 'f', decimals, 64))
}

// rounded to a power of ten.
func rounded(v float64, place int) float64 {
	if place <= 0 {
		scale := math.Pow10(-place)
		return math.Round(v*scale) / scale
	}
	scale := math.Pow10(place)
	return math.Round(v/scale) * scale
}

// percent writes a probability; near the ends it promises no more than it can.
func percent(p float64) string {
	switch {
	case p < 0.001:
		return "under 0.1 %"
	case p > 0.999:
		return "over 99.9 %"
	}
	return strconv.FormatFloat(100*p, 'f', 1, 64) + " %"
}

func litres(flow float64) string { return num(flow*60000, 4) + " L/min" }
