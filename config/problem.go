package config

import (
	"cmp"
	"fmt"
	"slices"
)

// Problem is one mistake in the file, or a warning of what is legal but unwise.
type Problem struct {
	File    string
	Line    int // from 1
	Column  int // from 1, in bytes
	Text    string
	Remedy  string
	Warning bool
}

// String is `file:line:column: what is wrong; what to write instead`, with
// `warning: ` before the sentence of a warning. It is one printable line.
func (p Problem) String() string {
	mark := ""
	if p.Warning {
		mark = "warning: "
	}
	return Printable(fmt.Sprintf("%s:%d:%d: %s%s; %s", p.File, p.Line, p.Column, mark, p.Text, p.Remedy))
}

// Fatal reports whether one of the problems is more than a warning.
func Fatal(problems []Problem) bool {
	return slices.ContainsFunc(problems, func(p Problem) bool { return !p.Warning })
}

// place is where something stands in the text.
type place struct{ line, column int }

// report gathers the problems of one file.
type report struct {
	file     string
	problems []Problem
}

func (r *report) add(at place, text, remedy string) {
	r.problems = append(r.problems, Problem{File: r.file, Line: at.line, Column: at.column, Text: text, Remedy: remedy})
}

func (r *report) warn(at place, text, remedy string) {
	r.add(at, text, remedy)
	r.problems[len(r.problems)-1].Warning = true
}

// has reports whether something has been said of a place.
func (r *report) has(at place) bool {
	return slices.ContainsFunc(r.problems, func(p Problem) bool { return p.Line == at.line && p.Column == at.column })
}

// sorted puts the problems in order of their place.
func (r *report) sorted() []Problem {
	slices.SortStableFunc(r.problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return r.problems
}
