//go:build unix

package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestExportIsAVerb hands over a recording in both formats, between two times
// and thinned, and refuses what it does not know.
func TestExportIsAVerb(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(3, tapedRig)
	p.end()
	table := func(args ...string) [][]string {
		out, diag, code := call(t, program, append([]string{"export", "--data", p.dir}, args...)...)
		if code != exitDone {
			t.Fatalf("export %v: code %d, %s", args, code, diag)
		}
		lines, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		must(t, err)
		return lines
	}
	all := table("samples")
	if n := len(all) - 1; n < 178 || n > 181 { // a row a second for 3 min
		t.Errorf("%d rows", n)
	}
	if !slices.IsSortedFunc(all[1:], func(a, b []string) int { return strings.Compare(a[1], b[1]) }) || all[1][0] != "1" {
		t.Errorf("the rows are not in the order in which they were made: the first is %v", all[1][:2])
	}
	from, to := tapeBegin.Add(time.Minute), tapeBegin.Add(2*time.Minute)
	some := table("--from", from.Format(time.RFC3339), "--to", to.Format(time.RFC3339), "samples")
	if n := len(some) - 1; n != 60 || some[1][1] < from.Format(time.RFC3339)[:19] || some[n][1] >= to.Format(time.RFC3339)[:19] {
		t.Errorf("of a minute %d rows, from %s to %s", n, some[1][1], some[n][1])
	}
	if n := len(table("--every", "10 s", "samples")) - 1; n < 18 || n > 19 {
		t.Errorf("of 3 min, one each 10 s: %d rows", n)
	}
	if lines := table("alarms"); len(lines) < 2 || !strings.Contains(strings.Join(lines[1], "|"), "water-overheat") {
		t.Errorf("alarms: %v", lines)
	}
	out, _, code := call(t, program, "export", "--data", p.dir, "--format", "json", "notes")
	var notes []map[string]any
	if err := json.Unmarshal([]byte(out), &notes); err != nil || code != exitDone || len(notes) != 1 || notes[0]["kind"] != "reload" || notes[0]["recording"] == nil {
		t.Errorf("notes: %v, code %d: %s", err, code, out)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--data", p.dir, "poems"}, exitUsage, "samples, alarms, notes"},
		{[]string{"--data", p.dir, "--format", "xml", "notes"}, exitUsage, "csv, json"},
		{[]string{"--data", p.dir, "--from", "yesterday", "notes"}, exitUsage, "RFC 3339"},
		{[]string{"--data", filepath.Join(p.dir, "none"), "notes"}, exitFailed, "no recording there"},
	} {
		if _, diag, code := call(t, program, append([]string{"export"}, c.args...)...); code != c.code || !strings.Contains(diag, c.says) {
			t.Errorf("export %v: code %d, %s", c.args, code, diag)
		}
	}
}

// TestWhatCannotBePrintedIsAFailure gives the verbs an output that takes nothing, as
// a full disk does: what they hand over is not whole, and they say so.
func TestWhatCannotBePrintedIsAFailure(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(1, tapedRig)
	p.end()
	for _, words := range []string{"export samples", "export --format json samples", "export alarms", "export --format json notes", "replay", "replay --to 2031-05-06T07:00:00.5Z"} {
		shut, err := os.Open(filepath.Join(p.dir, "flowrig.db")) // for reading alone
		must(t, err)
		var diag bytes.Buffer
		cmd := exec.Command(program, append(strings.Fields(words), "--data", p.dir)...)
		cmd.Stdout, cmd.Stderr = shut, &diag
		err = cmd.Run()
		shut.Close()
		if exit := (*exec.ExitError)(nil); !errors.As(err, &exit) || exit.ExitCode() != exitFailed || !strings.Contains(diag.String(), "bad file descriptor") {
			t.Errorf("%s: %v, %s", words, err, &diag)
		}
	}
}

// TestBackupIsAVerb copies a recording into a file that nobody else reads, that
// replays as the original does, and that is never written over.
func TestBackupIsAVerb(t *testing.T) {
	t.Parallel()
	p := newTape(t)
	p.run(2, tapedRig)
	p.end()
	copied := filepath.Join(t.TempDir(), "flowrig.db")
	if _, diag, code := call(t, program, "backup", "--data", p.dir, "--to", copied); code != exitDone {
		t.Fatalf("code %d: %s", code, diag)
	}
	info, err := os.Stat(copied)
	if err != nil || info.Mode().Perm()&0o007 != 0 {
		t.Errorf("the copy: %v, %v", info, err)
	}
	out, diag, code := call(t, program, "replay", "--data", filepath.Dir(copied))
	if code != exitDone || out != strings.Join(p.states[0], "\n")+"\n" {
		t.Errorf("replay of the copy: code %d, %d bytes, %s", code, len(out), diag)
	}
	before := read(t, copied)
	if _, diag, code := call(t, program, "backup", "--data", p.dir, "--to", copied); code != exitFailed || !strings.Contains(diag, "exists already; name a new file") {
		t.Errorf("over a file: code %d, %s", code, diag)
	}
	if read(t, copied) != before {
		t.Error("the file that was there is changed")
	}
}
