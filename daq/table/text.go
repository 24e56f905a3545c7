package table

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"
)

// textCell is a text that people or other programs have written, fit for a CSV
// that is opened in a spreadsheet or shown by a terminal. One that a spreadsheet
// would take for a formula gets an apostrophe before it (OWASP, "CSV Injection");
// control characters, which move a terminal's cursor or worse, are written as in
// JSON. Line ends and tabs inside stay: RFC 4180 quotes them.
func textCell(text string) string {
	text = visible(strings.ToValidUTF8(text, "\uFFFD"))
	if strings.HasPrefix(text, "\t") || strings.IndexAny(text, "=+-@\n＝＋－＠") == 0 {
		return "'" + text
	}
	return text
}

// visible writes what no terminal may get: control characters but tab and new
// line, and what reverses the direction of a line. A lone carriage return
// would let what follows cover what stands before it.
func visible(text string) string {
	if !strings.ContainsFunc(text, hidden) {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		if hidden(r) {
			fmt.Fprintf(&b, `\u%04x`, r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

func hidden(r rune) bool {
	return r != '\t' && r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r))
}

// visibleJSON does so to a JSON text, where encoding/json leaves some of them
// as they are; within a string the escape means the same character.
func visibleJSON(object []byte) []byte {
	if !bytes.ContainsFunc(object, hidden) {
		return object
	}
	return []byte(visible(string(object)))
}
