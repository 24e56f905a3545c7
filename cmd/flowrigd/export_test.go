//go:build unix

package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// TestExportForASpreadsheet: with the flags of its country the file is what a spreadsheet
// there opens, beside it stands its description, and nothing is written over.
func TestExportForASpreadsheet(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(1, tapedRig)
	p.end()
	file := filepath.Join(t.TempDir(), "sweep.csv")
	args := []string{"export", "--data", p.dir, "--units", "bench", "--separator", ";", "--decimal", ",", "--zone", "local",
		"--every", "20 s", "--columns", "time,flow,level,reynolds_number,regime", "--out", file, "samples"}
	export := func() (string, error) {
		cmd := exec.Command(program, args...)
		cmd.Env = append(os.Environ(), "TZ=Europe/Paris")
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	if out, err := export(); err != nil || out != "" {
		t.Fatalf("%v: %s", err, out)
	}
	r := csv.NewReader(strings.NewReader(read(t, file)))
	r.Comma = ';'
	lines, err := r.ReadAll()
	must(t, err)
	if got := strings.Join(lines[0], " "); got != "time flow_liters_per_minute level_millimeters reynolds_number regime" || len(lines) != 5 && len(lines) != 4 {
		t.Errorf("%d lines, %s", len(lines), got)
	}
	shape := regexp.MustCompile(`^2031-05-06 09:0[01]:\d\d\.\d{3} \d+,\d+ \d+(,\d+)? \d+,\d+ (laminar|transitional|turbulent)$`)
	for _, line := range lines[2:] {
		if got := strings.Join(line, " "); !shape.MatchString(got) {
			t.Errorf("the line %q", got)
		}
	}
	var description struct {
		URL         string
		TableSchema struct{ Columns []struct{ Name string } }
	}
	must(t, json.Unmarshal([]byte(read(t, file+"-metadata.json")), &description))
	if c := description.TableSchema.Columns; description.URL != "sweep.csv" || len(c) != 5 || c[1].Name != "flow_liters_per_minute" {
		t.Errorf("described as %+v", description)
	}
	before := read(t, file)
	if out, err := export(); err == nil || !strings.Contains(out, "sweep.csv: exists already; name a new file") || read(t, file) != before {
		t.Errorf("over a file: %v, %s", err, out)
	}
	must(t, os.Remove(file))
	if out, err := export(); err == nil || !strings.Contains(out, "sweep.csv-metadata.json: exists already") {
		t.Errorf("over a description: %v, %s", err, out)
	}
	if _, err := os.Stat(file); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a table stays without its description: %v", err)
	}
}

// TestExportNothing: a time without rows is said, with the time in which there are some,
// and is no failure; the file is a table without rows.
func TestExportNothing(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(1, tapedRig)
	p.end()
	out, diag, code := call(t, program, "export", "--data", p.dir, "--to", "2030-01-01T00:00:00Z", "--columns", "sequence", "samples")
	if code != exitDone || out != "sequence\r\n" || !strings.Contains(diag, "no samples in that time; the recording has some from 2031-05-06T07:00:0") {
		t.Errorf("code %d, %q, %s", code, out, diag)
	}
	out, diag, code = call(t, program, "export", "--data", p.dir, "--format", "jsonl", "collections")
	if code != exitDone || out != "" || !strings.Contains(diag, "this recording has no collections") {
		t.Errorf("code %d, %q, %s", code, out, diag)
	}
	_, diag, code = call(t, program, "export", "--data", p.dir, "--from", "2031-05-06T07:01:00Z", "--to", "2031-05-06T07:01:00Z", "samples")
	if code != exitUsage || !strings.Contains(diag, "--to is not after --from") {
		t.Errorf("from and to the same: code %d, %s", code, diag)
	}
}

// TestABackupIsRead: export and replay take a database file where they take a directory.
func TestABackupIsRead(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(1, tapedRig)
	p.end()
	copied := filepath.Join(t.TempDir(), "bench-3 of may.db")
	if _, diag, code := call(t, program, "backup", "--data", p.dir, "--to", copied); code != exitDone {
		t.Fatal(diag)
	}
	for _, words := range []string{"export samples", "export --format json alarms", "replay"} {
		want, _, _ := call(t, program, append(strings.Fields(words), "--data", p.dir)...)
		got, diag, code := call(t, program, append(strings.Fields(words), "--data", copied)...)
		if code != exitDone || len(got) < 100 || got != want {
			t.Errorf("%s: code %d, %d bytes, want %d, %s", words, code, len(got), len(want), diag)
		}
	}
	if left, _ := filepath.Glob(copied + "?*"); left != nil {
		t.Errorf("reading leaves %v", left)
	}
}

// TestReadmeExports runs every command that README shows for getting the data out, in a
// shell, against a recording and its backup.
func TestReadmeExports(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(1, tapedRig)
	p.end()
	dir := t.TempDir()
	backup := filepath.Join(dir, "bench-3.db")
	if _, diag, code := call(t, program, "backup", "--data", p.dir, "--to", backup); code != exitDone {
		t.Fatal(diag)
	}
	must(t, os.Mkdir(filepath.Join(dir, "bin"), 0o700))
	must(t, os.Symlink(program, filepath.Join(dir, "bin", "flowrigd")))
	_, text, _ := strings.Cut(read(t, filepath.Join("..", "..", "README.md")), "\n## Get the data out\n")
	text, _, _ = strings.Cut(text, "\n## ")
	at := strings.NewReplacer("/var/lib/flowrigd/record", p.dir, "/var/lib/flowrigd/bench-3.db", backup, "2026-03-02T09:00:00Z", tapeBegin.Format(time.RFC3339))
	shown := regexp.MustCompile(`(?m)^\$ (flowrigd .*)$`).FindAllStringSubmatch(text, -1)
	if len(shown) < 5 {
		t.Fatalf("README shows %q", shown)
	}
	for _, m := range shown {
		cmd := exec.Command("sh", "-c", at.Replace(m[1]))
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "PATH="+filepath.Join(dir, "bin")+":"+os.Getenv("PATH"))
		out, err := cmd.CombinedOutput()
		if err != nil || strings.Contains(string(out), "has no ") || strings.Contains(string(out), "in that time") {
			t.Errorf("%s: %v: %.400s", m[1], err, out)
		}
		if m := regexp.MustCompile(`(?:> |--out )(\S+)`).FindStringSubmatch(m[1]); m != nil && len(read(t, filepath.Join(dir, m[1]))) < 200 {
			t.Errorf("%s is almost empty", m[1])
		}
	}
}
