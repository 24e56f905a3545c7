package config

import (
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// node is a value of the file with its place.
type node struct {
	kind     unstable.Kind // Table for a table of either notation
	key      string        // its own name in the table above
	at       place         // of the key, for a table of its header
	value    place
	text     string // of a String; the raw text of any other scalar
	children []*node
	header   bool // has had a [header] of its own
	inline   bool // is complete as it stands
}

// child finds a key of a table; nil where there is none.
func (n *node) child(key string) *node {
	if n == nil {
		return nil
	}
	for _, c := range n.children {
		if c.key == key {
			return c
		}
	}
	return nil
}

func (n *node) newTable(key string, at place) *node {
	table := &node{kind: unstable.Table, key: key, at: at, value: at}
	n.children = append(n.children, table)
	return table
}

func (n *node) isTable() bool { return n != nil && n.kind == unstable.Table }

// parseTree reads the text into a tree; syntax errors and keys that stand
// there twice are reported. It gives nil when the syntax is broken.
func parseTree(text []byte, r *report) *node {
	t := &treeBuilder{report: r, root: &node{kind: unstable.Table, at: place{1, 1}, value: place{1, 1}}, text: text}
	t.table = t.root
	t.parser.Reset(text)
	for t.parser.NextExpression() {
		t.expression(t.parser.Expression())
	}
	before := len(r.problems)
	if err := t.parser.Error(); err != nil {
		at, text := place{1, 1}, err.Error()
		if p, ok := errors.AsType[*unstable.ParserError](err); ok {
			at, text = t.place(t.parser.Range(p.Highlight)), p.Message
		}
		t.broken(at, text)
		return nil
	}
	// The whole decoder knows rules that the bare parser does not.
	var all any
	if err := toml.Unmarshal(text, &all); err != nil && before == 0 {
		at := place{1, 1}
		if d, ok := errors.AsType[*toml.DecodeError](err); ok {
			at.line, at.column = d.Position()
		}
		t.broken(at, strings.TrimPrefix(err.Error(), "toml: "))
		return nil
	}
	return t.root
}

type treeBuilder struct {
	parser unstable.Parser
	report *report
	root   *node
	text   []byte
	table  *node // that the next key goes to
}

func (t *treeBuilder) broken(at place, parser string) {
	wrong, remedy := brokenSyntax(t.text, at, parser)
	t.report.add(at, wrong, remedy)
}

func (t *treeBuilder) place(r unstable.Range) place {
	return placeOf(t.text, int(r.Offset))
}

// expression takes one [header], [[header]] or key = value.
func (t *treeBuilder) expression(n *unstable.Node) {
	switch n.Kind {
	case unstable.Table:
		t.openTable(n)
	case unstable.ArrayTable:
		t.openElement(n)
	case unstable.KeyValue:
		t.keyValue(t.table, n)
	}
}

// openTable enters the table that a [header] names.
func (t *treeBuilder) openTable(n *unstable.Node) {
	last := t.descend(t.root, n.Key())
	switch {
	case last == nil:
		t.table = &node{kind: unstable.Table} // a bin for what follows
	case last.header || last.inline:
		t.twice(last, t.lastPlace(n))
		t.table = &node{kind: unstable.Table}
	default:
		last.header, last.at = true, t.lastPlace(n)
		t.table = last
	}
}

func (t *treeBuilder) lastPlace(n *unstable.Node) (at place) {
	for it := n.Key(); it.Next(); {
		at = t.place(it.Node().Raw)
	}
	return at
}

// openElement enters a new element of the array of tables that [[header]] names.
func (t *treeBuilder) openElement(n *unstable.Node) {
	element := &node{kind: unstable.Table, at: t.lastPlace(n), header: true}
	t.table = element
	array := t.descend(t.root, n.Key())
	switch {
	case array == nil:
	case array.kind == unstable.Table && len(array.children) == 0 && !array.header:
		array.kind = unstable.ArrayTable
		fallthrough
	case array.kind == unstable.ArrayTable:
		array.children = append(array.children, element)
	default:
		t.twice(array, element.at)
	}
}

// descend finds or makes the table that a dotted key names, below from. It
// gives nil when a part of the name is a value, and has said so.
func (t *treeBuilder) descend(from *node, key unstable.Iterator) *node {
	for key.Next() {
		name, at := string(key.Node().Data), t.place(key.Node().Raw)
		if from.kind == unstable.ArrayTable {
			from = from.children[len(from.children)-1]
		}
		next := from.child(name)
		if next == nil {
			next = from.newTable(name, at)
		}
		if next.kind != unstable.Table && next.kind != unstable.ArrayTable {
			t.report.add(at, fmt.Sprintf("%s is a value in line %d and cannot be a table too", name, next.at.line), "write it once")
			return nil
		}
		from = next
	}
	return from
}

func (t *treeBuilder) keyValue(to *node, n *unstable.Node) {
	value := t.convert(n.Value())
	var path []*unstable.Node
	for it := n.Key(); it.Next(); {
		path = append(path, it.Node())
	}
	for _, part := range path[:len(path)-1] {
		at := t.place(part.Raw)
		below := to.child(string(part.Data))
		if below == nil {
			below = to.newTable(string(part.Data), at)
		}
		if below.kind != unstable.Table || below.inline {
			t.twice(below, at)
			return
		}
		to = below
	}
	last := path[len(path)-1]
	value.key, value.at = string(last.Data), t.place(last.Raw)
	value.placed(value.at)
	if old := to.child(value.key); old != nil {
		t.twice(old, value.at)
		return
	}
	to.children = append(to.children, value)
}

// placed gives a value that the parser places nowhere, an empty list above
// all, the place of what it stands in.
func (n *node) placed(at place) {
	if n.value == (place{}) {
		n.value = at
	}
	if n.kind != unstable.Array {
		return
	}
	for _, c := range n.children {
		c.placed(n.value)
	}
}

func (t *treeBuilder) twice(old *node, at place) {
	t.report.add(at, fmt.Sprintf("%s stands here again, first in line %d", old.key, old.at.line), "write it once")
}

func (t *treeBuilder) convert(n *unstable.Node) *node {
	out := &node{kind: n.Kind, text: string(n.Data)}
	if n.Raw.Length > 0 {
		out.value = t.place(n.Raw)
	}
	switch n.Kind {
	case unstable.InlineTable:
		out.kind, out.inline = unstable.Table, true
		for it := n.Children(); it.Next(); {
			t.keyValue(out, it.Node())
		}
	case unstable.Array:
		for it := n.Children(); it.Next(); {
			out.children = append(out.children, t.convert(it.Node()))
		}
		if len(out.children) > 0 {
			out.value = out.children[0].value
		}
	}
	return out
}
