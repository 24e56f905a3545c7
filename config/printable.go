package config

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// PrintableLines is Printable for a text of several lines.
func PrintableLines(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = Printable(lines[i])
	}
	return strings.Join(lines, "\n")
}

// Printable shows a text of the file, the wire or a command line on a terminal:
// what would move the cursor, change colours or turn the reading direction
// stands as an escape such as \x1b. A line stays one line.
func Printable(text string) string {
	if utf8.ValidString(text) && !strings.ContainsFunc(text, hidden) {
		return text
	}
	var out strings.Builder
	for i, r := range text {
		switch _, size := utf8.DecodeRuneInString(text[i:]); {
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&out, `\x%02x`, text[i])
		case hidden(r):
			quoted := strconv.QuoteRune(r)
			out.WriteString(quoted[1 : len(quoted)-1])
		default:
			out.WriteRune(r)
		}
	}
	return out.String()
}

// hidden reports a character that has no shape of its own.
func hidden(r rune) bool { return !unicode.IsPrint(r) }
