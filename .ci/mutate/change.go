package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strings"
)

// change is one small change to one file.
type change struct {
	file     string
	source   string // of the file, unchanged
	line     int
	from, to int // bytes of it that are replaced
	was, now string
}

func (c change) String() string {
	return fmt.Sprintf("%s:%d: %s → %s", c.file, c.line, short(c.was), short(c.now))
}

// short keeps a change on one line.
func short(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > 70 {
		return string(r[:67]) + "…"
	}
	return text
}

// others are what each operator is changed into.
var others = map[token.Token][]string{
	token.LSS: {"<=", ">"}, token.LEQ: {"<", ">"}, token.GTR: {">=", "<"}, token.GEQ: {">", "<"},
	token.EQL: {"!="}, token.NEQ: {"=="},
	token.LAND: {"||"}, token.LOR: {"&&"},
	token.ADD: {"-"}, token.SUB: {"+"}, token.MUL: {"/"}, token.QUO: {"*"},
}

// finder collects the changes of one file.
type finder struct {
	file   string
	source string
	set    *token.FileSet
	found  []change
}

func changesOf(file string) ([]change, error) {
	source, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	f := &finder{file: file, source: string(source), set: token.NewFileSet()}
	tree, err := parser.ParseFile(f.set, file, source, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	ast.Inspect(tree, f.look)
	return f.found, nil
}

func (f *finder) look(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.ImportSpec, *ast.Field:
		return false // names, types and tags
	case *ast.BinaryExpr:
		for _, other := range others[n.Op] {
			f.replace(n.OpPos, n.OpPos+token.Pos(len(n.Op.String())), other)
		}
	case *ast.UnaryExpr:
		if n.Op == token.NOT || n.Op == token.SUB {
			f.replace(n.OpPos, n.OpPos+1, "")
		}
	case *ast.IfStmt:
		f.replace(n.Cond.Pos(), n.Cond.End(), "!("+f.text(n.Cond.Pos(), n.Cond.End())+")")
	case *ast.BasicLit:
		if n.Kind == token.INT || n.Kind == token.FLOAT {
			f.replace(n.Pos(), n.End(), "("+n.Value+"*2+1)")
		}
	case *ast.Ident:
		switch n.Name {
		case "true":
			f.replace(n.Pos(), n.End(), "false")
		case "false":
			f.replace(n.Pos(), n.End(), "true")
		}
	case *ast.ExprStmt:
		f.replace(n.Pos(), n.End(), "")
	case *ast.AssignStmt:
		if n.Tok != token.DEFINE {
			f.replace(n.Pos(), n.End(), "")
		}
	case *ast.IncDecStmt:
		f.replace(n.Pos(), n.End(), "")
	}
	return true
}

func (f *finder) replace(from, to token.Pos, now string) {
	f.found = append(f.found, change{
		file: f.file, source: f.source, line: f.set.Position(from).Line,
		from: f.set.Position(from).Offset, to: f.set.Position(to).Offset,
		was: f.text(from, to), now: now,
	})
}

func (f *finder) text(from, to token.Pos) string {
	return f.source[f.set.Position(from).Offset:f.set.Position(to).Offset]
}
