package config

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const syntaxRemedy = `write TOML: [table], key = value, text in "quotes"`

// printedQuotes are what word processors make of straight quotation marks.
const printedQuotes = "“”„‟«»‹›‘’‚‛′″´`"

// brokenSyntax explains what stands at a place that the parser refuses: the
// mistakes that people make, and the parser's own words for the others.
func brokenSyntax(text []byte, at place, parser string) (wrong, remedy string) {
	line := lineOf(text, at.line)
	cut := min(max(at.column-1, 0), len(line))
	before, rest := line[:cut], line[cut:]
	r, _ := utf8.DecodeRuneInString(rest)
	key, value, assigned := strings.Cut(line, "=")
	key, value = strings.TrimSpace(key), strings.TrimSpace(withoutComment(value))
	printed := strings.IndexAny(line, printedQuotes)
	header := strings.TrimSpace(withoutComment(line))
	unclosed := strings.Count(header, "[") - strings.Count(header, "]")
	switch {
	case printed >= 0 && (strings.ContainsRune(printedQuotes, r) || strings.Contains(parser, "new lines") || strings.Contains(parser, "unterminated")):
		mark, _ := utf8.DecodeRuneInString(line[printed:])
		return fmt.Sprintf("broken syntax: %c (U+%04X) is a printed quotation mark", mark, mark), `write the straight one of the keyboard, ", before and behind the text`
	case strings.Contains(parser, "strings cannot have new lines") || strings.Contains(parser, "unterminated"):
		return "broken syntax: text in quotes has no end in this line", "write the same quotation mark at its end as at its beginning"
	case strings.Contains(parser, "to close") && unclosed > 0:
		return "broken syntax: the bracket of a table's name is not closed", "write " + header + strings.Repeat("]", unclosed)
	case strings.Contains(parser, "to close"):
		return "broken syntax: a table's name is one word, or words with dots between them", "write [tube], or [instruments.flow]"
	case strings.Contains(parser, "escape"):
		return `broken syntax: \ begins an escape in text in "double quotes"`, `write the text in 'single quotes', such as 'C:\rig\tokens', or write each \ twice`
	case r > 127 && unicode.IsSpace(r):
		return fmt.Sprintf("broken syntax: a space of another kind (U+%04X), as word processors write it", r), "write it anew with the space bar"
	case strings.HasPrefix(rest, ":") || strings.HasSuffix(strings.TrimSpace(before), ":"):
		return "broken syntax: a colon behind the key", "write key = value"
	case strings.HasPrefix(rest, "="):
		return "broken syntax: = stands here twice", "write it once: key = value"
	case strings.HasPrefix(rest, ";"):
		return "broken syntax: a semicolon between two values", "write a comma"
	case assigned && strings.HasPrefix(rest, ",") && commaInNumber.MatchString(value):
		return "broken syntax: a comma in the number", "write a decimal point, and nothing between thousands"
	case assigned && (value == "True" || value == "False" || value == "TRUE" || value == "FALSE"):
		return "broken syntax: " + value + " is not known", "write " + strings.ToLower(value)
	case assigned && bareText.MatchString(value):
		return "broken syntax: text without quotes", fmt.Sprintf("write %s = %s", key, strconv.Quote(value))
	}
	return "broken syntax: " + strings.Join(strings.Fields(parser), " "), syntaxRemedy
}

// bareText is a value that would be text in quotes: words, paths, addresses, or
// a number with a unit.
var bareText = regexp.MustCompile(`^([\pL/]|[-+]?[0-9.,]+ *[\pL°%µ])[^"'\[\]{}=]*$`)

var commaInNumber = regexp.MustCompile(`^[-+]?[0-9]+,[0-9]`)

func withoutComment(value string) string {
	value, _, _ = strings.Cut(value, "#")
	return value
}

// lineOf is a line of the text without its end; "" beyond the last.
func lineOf(text []byte, number int) string {
	for ; number > 1; number-- {
		_, rest, found := bytes.Cut(text, []byte("\n"))
		if !found {
			return ""
		}
		text = rest
	}
	line, _, _ := bytes.Cut(text, []byte("\n"))
	return strings.TrimRight(string(line), "\r")
}

const byteOrderMark = "\xef\xbb\xbf"

// encodingMistake says why a file cannot be read as text, and where; nil where
// it can.
func encodingMistake(text []byte) (place, *Mistake) {
	top := place{1, 1}
	switch {
	case len(text) > maxFile:
		return top, &Mistake{fmt.Sprintf("the file has %d bytes", len(text)), fmt.Sprintf("write a configuration of up to %d bytes", maxFile)}
	case bytes.HasPrefix(text, []byte("\xff\xfe")), bytes.HasPrefix(text, []byte("\xfe\xff")):
		return top, &Mistake{"the file is UTF-16 text", "save it as UTF-8"}
	}
	if at := bytes.IndexByte(text, 0); at >= 0 {
		return placeOf(text, at), &Mistake{"a zero byte: the file is UTF-16 text, or no text at all", "save it as UTF-8"}
	}
	for at, r := range string(text) {
		if _, size := utf8.DecodeRune(text[at:]); r == utf8.RuneError && size == 1 {
			return placeOf(text, at), &Mistake{fmt.Sprintf("the file is not UTF-8: the byte %02X%s", text[at], inLatin1(text[at])), "save it as UTF-8, which editors offer beside the name or under encoding"}
		}
	}
	return top, nil
}

// windows1252 are the letters of the code page 1252 from 0x80 to 0x9F that
// stand in texts; above, it is the same as ISO 8859-1 (Latin-1).
var windows1252 = map[byte]rune{0x80: '€', 0x84: '„', 0x91: '‘', 0x92: '’', 0x93: '“', 0x94: '”', 0x96: '–', 0x97: '—'}

// inLatin1 says what a byte is in the encoding that most files have which are
// not UTF-8.
func inLatin1(b byte) string {
	r, ok := windows1252[b]
	switch {
	case !ok && b <= 0xa0:
		return ""
	case !ok:
		r = rune(b)
	}
	return fmt.Sprintf(" is %c in Latin-1", r)
}

func placeOf(text []byte, offset int) place {
	before := text[:offset]
	return place{1 + bytes.Count(before, []byte("\n")), offset - bytes.LastIndexByte(before, '\n')}
}
