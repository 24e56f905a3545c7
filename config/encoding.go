package config

import (
	"bytes"
	"fmt"
	"unicode/utf8"
)

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

// placeOf is the line and column of an offset.
func placeOf(text []byte, offset int) place {
	before := text[:offset]
	return place{1 + bytes.Count(before, []byte("\n")), offset - bytes.LastIndexByte(before, '\n')}
}
