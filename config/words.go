package config

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// oneOf writes a choice: "a", "a or b", "one of a, b, c".
func oneOf(words []string) string {
	switch len(words) {
	case 0:
		return "nothing"
	case 1:
		return words[0]
	case 2:
		return words[0] + " or " + words[1]
	}
	return "one of " + strings.Join(words, ", ")
}

// nearest finds the known word that a mistyped one is closest to; "" where
// none is close.
func nearest(word string, known []string) string {
	best, least := "", 3
	if len(word) < 5 {
		least = 2
	}
	for _, k := range known {
		if d := distance(word, k); d < least {
			best, least = k, d
		}
	}
	return best
}

// distance counts the letters to change, add or leave out (Levenshtein);
// words too different in length are far.
func distance(a, b string) int {
	if len(a) > 40 || len(b) > 40 {
		return 40
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}

func quoteAll(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = strconv.Quote(w)
	}
	return out
}

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
