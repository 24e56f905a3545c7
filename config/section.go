package config

import (
	"fmt"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// section reads one table of the file. Each read names its key; done reports
// the keys that nobody has named.
type section struct {
	node   *node
	name   string // with its dots; "" for the whole file
	report *report
	known  []string
	ok     bool // no problem so far in this section
}

func newSection(n *node, name string, r *report) *section {
	return &section{node: n, name: name, report: r, ok: true}
}

func (s *section) path(key string) string {
	if s.name == "" {
		return cut(key)
	}
	return s.name + "." + cut(key)
}

// take finds a key and marks it as known; nil where it is not written.
func (s *section) take(key string) *node {
	if !slices.Contains(s.known, key) {
		s.known = append(s.known, key)
	}
	return s.node.child(key)
}

// bad reports a wrong value of a key.
func (s *section) bad(key string, n *node, wrong, remedy string) {
	s.ok = false
	s.report.add(n.value, s.path(key)+": "+wrong, remedy)
}

// refuse reports a key that must not stand here, at its name.
func (s *section) refuse(n *node, wrong, remedy string) {
	s.ok = false
	s.report.add(n.at, wrong, remedy)
}

func (s *section) missing(key, remedy string) {
	s.refuse(s.node, s.path(key)+" is missing", remedy)
}

// require reports a key that is not written.
func (s *section) require(key, remedy string) {
	if s.take(key) == nil {
		s.missing(key, remedy)
	}
}

// place of a key's value, or of the section where it is not written.
func (s *section) place(key string) place {
	if n := s.node.child(key); n != nil {
		return n.value
	}
	return s.node.at
}

// done reports every key that has not been taken.
func (s *section) done() {
	for _, n := range s.node.children {
		if slices.Contains(s.known, n.key) {
			continue
		}
		remedy := "write " + oneOf(s.known) + ", or leave it out"
		if best := nearest(n.key, s.known); best != "" {
			remedy = "write " + best
		}
		s.refuse(n, s.path(n.key)+": unknown key", remedy)
	}
}

// text reads a string; it may be absent.
func (s *section) text(key, example string) (string, *node) {
	n := s.take(key)
	if n == nil {
		return "", nil
	}
	if n.kind != unstable.String {
		s.bad(key, n, kindName(n)+" where text belongs", fmt.Sprintf("write text in quotes, such as %s = %q", key, example))
		return "", nil
	}
	return n.text, n
}

func (s *section) requiredText(key, example, remedy string) (string, *node) {
	s.require(key, remedy)
	return s.text(key, example)
}

// choice reads one of the given words; the first is the default.
func (s *section) choice(key string, words ...string) string {
	text, n := s.text(key, words[0])
	switch {
	case n == nil:
		return words[0]
	case slices.Contains(words, text):
		return text
	}
	remedy := "write " + oneOf(quoteAll(words))
	for _, word := range words {
		if strings.EqualFold(word, text) {
			remedy = fmt.Sprintf("write %q, capital and small letters matter", word)
		}
	}
	s.bad(key, n, quoted(text)+" is not known here", remedy)
	return words[0]
}

// chosen reads one of the given words as its constant; they stand in the order of
// the constants, and the first is the default.
func chosen[T ~uint8](s *section, key string, words []string) T {
	return T(slices.Index(words, s.choice(key, words...)))
}

func (s *section) flag(key string, byDefault bool) bool {
	n := s.take(key)
	switch {
	case n == nil:
		return byDefault
	case n.kind != unstable.Bool:
		s.bad(key, n, kindName(n)+" where yes or no belongs", "write true or false without quotes")
		return byDefault
	}
	return n.text == "true"
}

func kindName(n *node) string {
	switch n.kind {
	case unstable.Table:
		return "a table"
	case unstable.Array, unstable.ArrayTable:
		return "a list"
	case unstable.String:
		return "text"
	case unstable.Bool:
		return n.text
	case unstable.Integer, unstable.Float:
		return "the number " + n.text
	}
	return "a date or time"
}

// table opens a table below; nil where it is not written, or no table.
func (s *section) table(key string) *section {
	n := s.take(key)
	if n == nil {
		return nil
	}
	if !n.isTable() {
		s.bad(key, n, kindName(n)+" where a table belongs", fmt.Sprintf("write [%s] and its keys below, or %s = {…}", s.path(key), key))
		return nil
	}
	return newSection(n, s.path(key), s.report)
}

// below reads all of a table of the section; nil where it is not written, or no table.
func below[T any](s *section, key string, read func(*section) *T) *T {
	t := s.table(key)
	if t == nil {
		return nil
	}
	out := read(t)
	t.done()
	return out
}

func (s *section) pair(key, example string) []*node {
	n := s.take(key)
	if n == nil {
		return nil
	}
	if n.kind != unstable.Array || len(n.children) != 2 {
		s.bad(key, n, "a list of two values belongs here", fmt.Sprintf("write %s = %s", key, example))
		return nil
	}
	return n.children
}
