package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// functions gives each function of the program, by package, type and name, with
// every word that its body uses.
func functions(t *testing.T) map[string]map[string]bool {
	t.Helper()
	all := map[string]map[string]bool{}
	for file := range houseFiles(t) {
		if strings.HasSuffix(file, "_test.go") || strings.HasPrefix(file, ".") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", "..", file), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			name := f.Name.Name + "."
			if fn.Recv != nil {
				of := fn.Recv.List[0].Type
				if p, ok := of.(*ast.StarExpr); ok {
					of = p.X
				}
				if id, ok := of.(*ast.Ident); ok {
					name += id.Name + "."
				}
			}
			words := map[string]bool{}
			ast.Inspect(fn.Body, func(n ast.Node) bool {
				if id, ok := n.(*ast.Ident); ok {
					words[id.Name] = true
				}
				return true
			})
			all[name+fn.Name.Name] = words
		}
	}
	return all
}

// TestTheWiringIsSmall holds what cmd/flowrigd may grow to: what decides anything
// has a room of its own.
func TestTheWiringIsSmall(t *testing.T) {
	const most = 1700
	lines := 0
	for file := range houseFiles(t) {
		if !strings.HasPrefix(file, "cmd/") || strings.HasSuffix(file, "_test.go") {
			continue
		}
		text, err := os.ReadFile(filepath.Join("..", "..", file))
		if err != nil {
			t.Fatal(err)
		}
		lines += strings.Count(string(text), "\n")
	}
	if lines < 1000 || lines > most {
		t.Errorf("the wiring has %d lines, and may have %d", lines, most)
	}
}

var walked = regexp.MustCompile("(?m)^(?:[0-9]+\\. `([^`]+)`|   - (over), )")

// TestTheWalk holds the lists of DEVELOPERS.md against the source: each function is
// there, and another one of its road calls it, or the wiring hands it over; the road
// of a reading is short.
func TestTheWalk(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, walk, _ := strings.Cut(string(text), "## The walk\n")
	walk, _, _ = strings.Cut(walk, "### The feed")
	all := functions(t)
	wired := map[string]bool{}
	for name, words := range all {
		for word := range words {
			wired[word] = wired[word] || strings.HasPrefix(name, "main.")
		}
	}
	roads := strings.Split(walk, "### ")[1:]
	if len(roads) != 3 {
		t.Fatalf("%d roads, want those of a reading, a command and a reload", len(roads))
	}
	for i, road := range roads {
		title, _, _ := strings.Cut(road, "\n")
		var list []string
		overs := 0
		for _, m := range walked.FindAllStringSubmatch(road, -1) {
			if m[2] != "" {
				overs++
				continue
			}
			list = append(list, m[1])
		}
		if len(list) < 15 || i == 0 && (len(list) > 25 || overs > 4) {
			t.Errorf("%s: %d functions and %d hand-overs", title, len(list), overs)
		}
		for at, name := range list {
			if all[name] == nil {
				t.Errorf("%s: there is no function %s", title, name)
				continue
			}
			own := name[strings.LastIndexByte(name, '.')+1:]
			called := wired[own]
			for k, other := range list {
				called = called || k != at && all[other][own]
			}
			if begins := at+1 < len(list) && all[name][list[at+1][strings.LastIndexByte(list[at+1], '.')+1:]]; !called && !begins {
				t.Errorf("%s: nothing on the road calls %s", title, name)
			}
		}
	}
}
