package config

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// placeholder stands for the number in a text pattern.
const placeholder = "{value}"

// Pattern finds the number in a line of text. Its zero value matches nothing.
type Pattern struct {
	text           string
	before, after  []byte // of a text pattern
	expression     *regexp.Regexp
	group          int // of the number in expression
	anchored, made bool
	comma          bool // the decimal mark is a comma, not a point
}

// ParsePattern reads a pattern: text with one {value}, all else literal, or a
// regular expression (RE2) with (?P<value>…) between slashes. The error is a
// *Mistake.
func ParsePattern(text string) (Pattern, error) {
	if len(text) > 1 && text[0] == '/' && text[len(text)-1] == '/' {
		return expressionPattern(text)
	}
	before, after, found := strings.Cut(text, placeholder)
	if !found || strings.Contains(after, placeholder) {
		return Pattern{}, &Mistake{
			fmt.Sprintf("%s holds {value} %d times", quoted(text), strings.Count(text, placeholder)),
			`write the line with one {value} in place of its number, such as "T={value}"`}
	}
	return Pattern{text: text, before: []byte(before), after: []byte(after), anchored: true, made: true}, nil
}

func expressionPattern(text string) (Pattern, error) {
	const remedy = `write the number as (?P<value>…) once, such as "/^T=(?P<value>[-+.0-9]+)$/"`
	expression, err := regexp.Compile(text[1 : len(text)-1])
	if err != nil {
		cause := strings.ReplaceAll(strings.TrimPrefix(err.Error(), "error parsing regexp: "), "\n", " ")
		return Pattern{}, &Mistake{fmt.Sprintf("%s is not a regular expression: %s", quoted(text), cause), remedy}
	}
	values := slices.DeleteFunc(slices.Clone(expression.SubexpNames()), func(name string) bool { return name != "value" })
	if times := len(values); times != 1 {
		return Pattern{}, &Mistake{fmt.Sprintf("%s holds (?P<value>…) %d times", quoted(text), times), remedy}
	}
	inner := expression.String()
	return Pattern{
		text: text, expression: expression, group: expression.SubexpIndex("value"), made: true,
		anchored: strings.HasPrefix(inner, "^") && strings.HasSuffix(inner, "$"),
	}, nil
}

// String is the pattern as it was written.
func (p Pattern) String() string { return p.text }

// Match finds the number in a line without its end. A text pattern must fit
// the whole line; blanks around the number are passed over. The number is
// decimal, with the pattern's decimal mark and perhaps an exponent, and finite. The
// error of one with the other mark is a *Mistake: what to do is known.
func (p Pattern) Match(line []byte) (float64, error) {
	field, err := p.field(line)
	if err != nil {
		return 0, err
	}
	text, mark, other := strings.TrimSpace(string(field)), ".", ","
	if p.comma {
		mark, other = other, mark
	}
	if otherMark.MatchString(text) && strings.Contains(text, other) {
		m := &Mistake{fmt.Sprintf("line: number: %s has a decimal comma", quoted(text)), `set the instrument to send a point, or write decimal = "," beside the pattern`}
		if p.comma {
			m = &Mistake{fmt.Sprintf("line: number: %s has a decimal point", quoted(text)), `write decimal = "." beside the pattern, or leave decimal out`}
		}
		return 0, m
	}
	number, rest := "", text
	if !strings.Contains(text, other) {
		number, rest = cutNumber(strings.Replace(text, mark, ".", 1))
	}
	v, err := strconv.ParseFloat(number, 64)
	switch {
	case rest != "" || number == "":
		return 0, fmt.Errorf("line: number: %s is not a decimal number", quoted(string(field)))
	case err != nil:
		return 0, fmt.Errorf("line: number: %s is out of range or not a number", quoted(string(field)))
	}
	return v, nil
}

// otherMark is a number with one decimal mark.
var otherMark = regexp.MustCompile(`^[-+]?[0-9]*[.,][0-9]+([eE][-+]?[0-9]+)?$`)

// Overlaps says whether one line may fit both patterns; true where it cannot be
// told.
func (p Pattern) Overlaps(other Pattern) bool {
	if p.expression != nil || other.expression != nil {
		return true
	}
	return (bytes.HasPrefix(p.before, other.before) || bytes.HasPrefix(other.before, p.before)) &&
		(bytes.HasSuffix(p.after, other.after) || bytes.HasSuffix(other.after, p.after))
}

// field is the text in place of the number.
func (p Pattern) field(line []byte) ([]byte, error) {
	switch {
	case !p.made:
		return nil, errors.New("line: pattern: none is configured")
	case p.expression != nil:
		if m := p.expression.FindSubmatch(line); m != nil {
			return m[p.group], nil
		}
	case len(line) >= len(p.before)+len(p.after) && bytes.HasPrefix(line, p.before) && bytes.HasSuffix(line, p.after):
		return line[len(p.before) : len(line)-len(p.after)], nil
	}
	return nil, fmt.Errorf("line: pattern: %s does not fit %s", quoted(string(line)), quoted(p.text))
}
