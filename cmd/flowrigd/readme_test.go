//go:build unix

package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"flowrigd/daq/daqtest"
)

// TestReadmeCommands: every command that README shows is one of the program,
// with flags that it has. The `$` of a prompt and sudo stand before it, a
// comment or a redirection behind it.
func TestReadmeCommands(t *testing.T) {
	text := read(t, filepath.Join("..", "..", "README.md"))
	shown := regexp.MustCompile("(?:`|\\$ |run )(?:sudo -u flowrigd )?(?:flowrigd|\\./cmd/flowrigd) ([a-z][^`\n]*)").FindAllStringSubmatch(text, -1)
	root := newRoot()
	root.InitDefaultCompletionCmd()
	verbs := map[string]bool{}
	for _, m := range shown {
		line, _, _ := strings.Cut(strings.NewReplacer(" > ", " # ", "  #", " # ").Replace(m[1]), " # ")
		words := strings.Fields(line)
		c, rest, err := root.Find(words)
		if err != nil || !c.HasParent() {
			t.Errorf("flowrigd %s: no such verb", line)
			continue
		}
		verbs[strings.Fields(c.CommandPath())[1]] = true
		for _, w := range rest {
			name, long := strings.CutPrefix(w, "--")
			if long && c.Flags().Lookup(name) == nil && c.InheritedFlags().Lookup(name) == nil {
				t.Errorf("flowrigd %s: no flag --%s", line, name)
			}
		}
	}
	for _, c := range root.Commands() {
		if !verbs[c.Name()] {
			t.Errorf("README shows no flowrigd %s", c.Name())
		}
	}
}

// TestReadmeScrape: promtool takes README's configuration of a metrics server.
func TestReadmeScrape(t *testing.T) {
	text := read(t, filepath.Join("..", "..", "README.md"))
	m := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindStringSubmatch(text)
	if m == nil {
		t.Fatal("README shows no configuration of a metrics server")
	}
	dir := t.TempDir()
	token := write(t, filepath.Join(dir, "flowrigd.token"), "token")
	write(t, filepath.Join(dir, "flowrigd-alerts.yml"), read(t, filepath.Join("..", "..", "dashboards", "alerts.yml")))
	config := write(t, filepath.Join(dir, "prometheus.yml"), strings.Replace(m[1], "/etc/prometheus/flowrigd.token", token, 1))
	out, errors, code := call(t, daqtest.Program(t, "promtool", "prometheus"), "check", "config", config)
	if code != 0 || !strings.Contains(out, "SUCCESS") {
		t.Errorf("promtool: %d %s%s", code, out, errors)
	}
}
