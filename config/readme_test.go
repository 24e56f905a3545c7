package config

import (
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// readme is README.md, and its blocks of one language.
func readme(t *testing.T, language string) (text string, blocks []string) {
	t.Helper()
	b, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	text = string(b)
	for _, m := range regexp.MustCompile("(?s)```"+language+"\n(.*?)```").FindAllStringSubmatch(text, -1) {
		blocks = append(blocks, m[1])
	}
	return text, blocks
}

var header = regexp.MustCompile(`(?m)^\[+[a-z0-9._-]+\]+`)

// tables parts a file before each header; the first part is what stands above
// all of them.
func tables(text string) (parts []string) {
	from := 0
	for _, at := range header.FindAllStringIndex(text, -1) {
		parts = append(parts, text[from:at[0]])
		from = at[0]
	}
	return append(parts, text[from:])
}

// merged is a file with another one's tables in it, in place of its own of the
// same names.
func merged(file, more string) string {
	added := tables(more)
	parts := tables(file)
	top := parts[0] + added[0]
	var kept []string
	for _, p := range parts[1:] {
		if !slices.ContainsFunc(added[1:], func(a string) bool { return header.FindString(a) == header.FindString(p) }) {
			kept = append(kept, p)
		}
	}
	return top + strings.Join(append(kept, added[1:]...), "\n")
}

// TestReadmeExamples: the first example of README is a whole file, and each
// other one has its place in it. Nothing is wrong or unwise in any.
func TestReadmeExamples(t *testing.T) {
	_, blocks := readme(t, "toml")
	if len(blocks) < 10 {
		t.Fatalf("%d examples", len(blocks))
	}
	for i, b := range blocks {
		file := blocks[0]
		if i > 0 {
			file = merged(file, b)
		}
		cfg, problems := Parse("/etc/flowrigd/rig.toml", []byte(file))
		for _, p := range problems {
			t.Errorf("%s\nin the example:\n%s", p, b)
		}
		if cfg == nil {
			t.Fatalf("it is refused:\n%s", file)
		}
	}
}

// TestReadmeHasEveryKey asks the parser of each table which keys it knows, with
// one that none knows, and finds each in README: in an example or in the table
// of keys.
func TestReadmeHasEveryKey(t *testing.T) {
	text, blocks := readme(t, "toml")
	whole := ""
	for _, b := range blocks {
		whole = merged(whole, b)
	}
	const stranger = "zzzzzzzz"
	known := regexp.MustCompile(`[ .]` + stranger + `: unknown key; write (?:one of )?(.*), or leave it out`)
	places := append([][]int{{0, 0}}, regexp.MustCompile(`(?m)^\[+[a-z0-9._-]+\]+.*\n|= \{`).FindAllStringIndex(whole, -1)...)
	keys := map[string]bool{}
	for _, at := range places {
		add := stranger + " = 1\n"
		if strings.HasSuffix(whole[:at[1]], "{") {
			add = stranger + " = 1, "
		}
		_, problems := Parse("/etc/flowrigd/rig.toml", []byte(whole[:at[1]]+add+whole[at[1]:]))
		found := false
		for _, p := range problems {
			if m := known.FindStringSubmatch(p.String()); m != nil {
				found = true
				for _, key := range strings.Split(strings.ReplaceAll(m[1], " or ", ", "), ", ") {
					keys[strings.TrimPrefix(key, "or ")] = true
				}
			}
		}
		if !found {
			t.Errorf("an unknown key at %q is not reported: %v", whole[at[0]:at[1]], problems)
		}
	}
	if len(keys) < 60 {
		t.Fatalf("keys: %v", slices.Sorted(maps.Keys(keys)))
	}
	for key := range keys {
		q := regexp.QuoteMeta(key)
		written := regexp.MustCompile(fmt.Sprintf("(?m)^%[1]s = |[{,] ?%[1]s = |^\\[+(\\w+\\.)?%[1]s[.\\]]|`%[1]s`", q))
		if !written.MatchString(text) {
			t.Errorf("README shows no %s", key)
		}
	}
}

// TestReadmeHasEveryAlarm: each built-in alarm stands in README by its name.
func TestReadmeHasEveryAlarm(t *testing.T) {
	text, _ := readme(t, "toml")
	for _, file := range []string{"heating", "bench"} {
		for _, a := range load(t, file).Alarms {
			name := a.Name
			if strings.HasPrefix(name, faultPrefix) {
				name = faultPrefix + "…"
			}
			if a.BuiltIn && !strings.Contains(text, "| `"+name+"` |") {
				t.Errorf("README's table of alarms lacks %s", name)
			}
		}
	}
}
