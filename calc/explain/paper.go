package explain

import (
	"fmt"
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
