package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestBadFiles holds all that is said of every file of ../testdata/rigs/bad, in order,
// against what stands in expected.txt; a file of which nothing stands there fails.
func TestBadFiles(t *testing.T) {
	const directory = "../testdata/rigs/bad/"
	text, err := os.ReadFile(directory + "expected.txt")
	if err != nil {
		t.Fatal(err)
	}
	expected := map[string]string{}
	for line := range strings.Lines(string(text)) {
		name, _, _ := strings.Cut(line, ":")
		expected[name] += line
	}
	files, err := filepath.Glob(directory + "*.toml")
	if err != nil || len(files) != len(expected) || len(files) == 0 {
		t.Fatalf("%d files, %d of them expected, %v", len(files), len(expected), err)
	}
	for _, path := range files {
		name := filepath.Base(path)
		t.Run(name, func(t *testing.T) {
			c, problems := Load(path)
			var got strings.Builder
			for _, p := range problems {
				got.WriteString(strings.TrimPrefix(p.String(), directory) + "\n")
			}
			if got.String() != expected[name] {
				t.Errorf("got\n%s\nwant\n%s", got.String(), expected[name])
			}
			if (c == nil) != Fatal(problems) {
				t.Errorf("config %v beside these problems", c)
			}
		})
	}
}

func TestMissingFile(t *testing.T) {
	c, problems := Load(filepath.Join(t.TempDir(), "none.toml"))
	if c != nil || len(problems) != 1 || !strings.Contains(problems[0].String(), "none.toml:1:1: read: ") {
		t.Errorf("got %v", problems)
	}
}

func TestTooLargeFile(t *testing.T) {
	c, problems := Parse("big.toml", []byte(strings.Repeat("# nothing\n", maxFile/10+1)))
	if c != nil || len(problems) != 1 || problems[0].Remedy != "write a configuration of up to 131072 bytes" {
		t.Errorf("got %v", problems)
	}
}
