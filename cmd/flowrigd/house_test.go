package main

import (
	"flowrigd/daq/daqtest"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "flowrigd/"

// houseFiles gives every Go file of the repository with its imports.
func houseFiles(t *testing.T) map[string][]string {
	t.Helper()
	root := filepath.Join("..", "..")
	files := map[string][]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		for _, i := range f.Imports {
			files[filepath.ToSlash(rel)] = append(files[filepath.ToSlash(rel)], strings.Trim(i.Path.Value, `"`))
		}
		return err
	})
	daqtest.Must(t, err)
	return files
}

// allowed says which of our own packages a room may import.
func allowed(room string) []string {
	switch {
	case slices.Contains([]string{"daq/alarm", "daq/snapshot", "daq/clock", "daq/parts", "daq/build", "daq/modbus", "daq/peer", "dashboards", "cmd/flowrigd/hangup"}, room):
		return nil
	case strings.HasPrefix(room, "calc"):
		return []string{"calc/"}
	case room == "config":
		return []string{"calc/"}
	case room == "daq":
		return []string{"calc/", "config", "daq/alarm"}
	case room == "daq/channel" || room == "daq/experiment":
		return []string{"calc/", "config", "daq"}
	case room == "daq/engine":
		return []string{"calc/", "config", "daq", "daq/alarm", "daq/channel", "daq/experiment", "daq/snapshot"}
	case room == "daq/live":
		return []string{"calc/", "config", "daq", "daq/alarm", "daq/clock", "daq/engine", "daq/hold"}
	case room == "daq/instrument": // a probe asks the leaf what its numbers mean
		return []string{"calc/", "config", "daq", "daq/channel", "daq/clock", "daq/modbus"}
	case room == "daq/record": // asks the leaf which observation is of which test point
		return []string{"calc/", "config", "daq", "daq/alarm", "daq/experiment", "daq/table"}
	case room == "daq/table" || room == "daq/request": // leaves: the forms in which a table is handed over; how what is asked is read
		return []string{"calc/", "config", "daq"}
	case strings.HasPrefix(room, "daq/"):
		return []string{"calc/", "config", "daq", "daq/alarm", "daq/clock", "daq/modbus", "daq/peer", "daq/request", "daq/table", "dashboards"}
	}
	return []string{"calc/", "config", "daq", "daq/", "dashboards", "cmd/flowrigd/hangup"}
}

func permits(list []string, path string) bool {
	return slices.ContainsFunc(list, func(a string) bool {
		return path == a || strings.HasSuffix(a, "/") && strings.HasPrefix(path, a)
	})
}

// TestImportsRunOneWay holds calc ← config ← daq ← daq/… ← cmd; tests of a room
// may import what they need to test against.
func TestImportsRunOneWay(t *testing.T) {
	files := houseFiles(t)
	if len(files) < 30 {
		t.Fatalf("only %d files found: the walk is wrong", len(files))
	}
	for file, imports := range files {
		room := filepath.ToSlash(filepath.Dir(file))
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		for _, path := range imports {
			own, ours := strings.CutPrefix(path, module)
			if ours && own != room && !permits(allowed(room), own) {
				t.Errorf("%s imports %s: %s may import only %v", file, own, room, allowed(room))
			}
			if own == "daq/daqtest" && ours {
				t.Errorf("%s imports %s, which is for tests alone", file, own)
			}
		}
	}
}

// TestTheDrawing holds the drawing of the rooms in DEVELOPERS.md against what they
// import: an arrow too many is as wrong as one that is missing.
func TestTheDrawing(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "DEVELOPERS.md"))
	daqtest.Must(t, err)
	_, drawing, _ := strings.Cut(string(text), "### The rooms and their arrows")
	_, drawing, _ = strings.Cut(drawing, "```text\n")
	drawing, _, _ = strings.Cut(drawing, "```")
	drawn := map[string][]string{}
	for line := range strings.Lines(drawing) {
		room, to, arrow := strings.Cut(line, "->")
		if !arrow {
			t.Fatalf("no arrow in %q", line)
		}
		drawn[strings.TrimSpace(room)] = strings.Fields(to)
	}
	roomOf := func(path string) string {
		if strings.HasPrefix(path, "calc/") {
			return "calc"
		}
		return path
	}
	is := map[string][]string{}
	for file, imports := range houseFiles(t) {
		room := roomOf(filepath.ToSlash(filepath.Dir(file)))
		if strings.HasSuffix(file, "_test.go") || strings.HasPrefix(room, ".") {
			continue
		}
		if is[room] == nil {
			is[room] = []string{}
		}
		for _, path := range imports {
			if own, ours := strings.CutPrefix(path, module); ours && roomOf(own) != room && !slices.Contains(is[room], roomOf(own)) {
				is[room] = append(is[room], roomOf(own))
			}
		}
	}
	for room, to := range is {
		slices.Sort(to)
		if want, known := drawn[room]; !known || !slices.Equal(want, to) {
			t.Errorf("%s imports %v, and the drawing says %v", room, to, want)
		}
	}
	for room := range drawn {
		if _, known := is[room]; !known {
			t.Errorf("the drawing has %s, and there is no such room", room)
		}
	}
}

// TestPureRooms holds that what a replay runs through depends on its inputs alone:
// no clock of the machine, no file, no line, no goroutine that waits.
func TestPureRooms(t *testing.T) {
	impure := []string{"os", "sync", "sync/atomic", "net", "net/http", "syscall", "math/rand", "math/rand/v2", "crypto/rand"}
	clocks := []string{"Now", "Since", "Until", "After", "AfterFunc", "Sleep", "Tick", "NewTicker", "NewTimer"}
	seen := 0
	for file, imports := range houseFiles(t) {
		room := filepath.ToSlash(filepath.Dir(file))
		pure := room == "daq" || room == "daq/alarm" || room == "daq/snapshot" || room == "daq/channel" || room == "daq/experiment" || room == "daq/engine" || strings.HasPrefix(room, "calc/")
		if !pure || strings.HasSuffix(file, "_test.go") {
			continue
		}
		seen++
		for _, path := range imports {
			if slices.Contains(impure, path) {
				t.Errorf("%s imports %s: the room is pure", file, path)
			}
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", "..", file), nil, 0)
		daqtest.Must(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				t.Errorf("%s starts a goroutine: the room is pure", file)
			case *ast.SelectorExpr:
				if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clocks, n.Sel.Name) {
					t.Errorf("%s uses time.%s: the room is pure", file, n.Sel.Name)
				}
			}
			return true
		})
	}
	if seen < 50 {
		t.Fatalf("only %d files of pure rooms found: the walk is wrong", seen)
	}
}

// TestOneDoorForEachLibrary holds that each outside library has one room.
func TestOneDoorForEachLibrary(t *testing.T) {
	doors := map[string]string{
		"go.bug.st/serial":                    "daq/instrument",
		"github.com/eclipse/paho.mqtt.golang": "daq/mqtt",
		"github.com/prometheus/client_golang": "daq/web",
		"modernc.org/sqlite":                  "daq/record",
		"gonum.org/v1/plot":                   "daq/report",
		"github.com/parquet-go/parquet-go":    "daq/table",
		"github.com/mochi-mqtt/server/v2":     "daq/broker",
		"github.com/pelletier/go-toml/v2":     "config",
		"github.com/spf13/cobra":              "cmd/flowrigd",
	}
	used := map[string]bool{}
	for file, imports := range houseFiles(t) {
		room := filepath.ToSlash(filepath.Dir(file))
		for _, path := range imports {
			for library, door := range doors {
				if !strings.HasPrefix(path, library) {
					continue
				}
				used[library] = true
				if room != door && !strings.HasSuffix(file, "_test.go") {
					t.Errorf("%s imports %s: its door is %s", file, path, door)
				}
			}
		}
	}
	for library := range doors {
		if !used[library] {
			t.Errorf("nothing imports %s", library)
		}
	}
}

// TestTopLevel holds the agreed top level of the repository.
func TestTopLevel(t *testing.T) {
	agreed := []string{"cmd", "daq", "calc", "config", "dashboards", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE"}
	entries, err := os.ReadDir(filepath.Join("..", ".."))
	daqtest.Must(t, err)
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(agreed, e.Name()) {
			t.Errorf("%s stands at the top level, which holds only %v", e.Name(), agreed)
		}
	}
}
