//go:build unix

package main

import (
	"encoding/json"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/daqtest"
)

// everyVerb is the words of every verb, those below other verbs too.
func everyVerb() (list [][]string) {
	root := newRoot()
	finish(root)
	var walk func(c *cobra.Command, words []string)
	walk = func(c *cobra.Command, words []string) {
		list = append(list, words)
		for _, sub := range c.Commands() {
			walk(sub, append(slices.Clone(words), sub.Name()))
		}
	}
	walk(root, nil)
	return list
}

func TestHelpEverywhere(t *testing.T) {
	t.Parallel()
	verbs := everyVerb()
	if len(verbs) < 15 {
		t.Fatalf("only %d verbs found: %v", len(verbs), verbs)
	}
	for _, words := range verbs {
		stdout, stderr, code := call(t, program, append(words, "--help")...)
		if code != exitDone || stderr != "" || !strings.Contains(stdout, "Usage:") {
			t.Errorf("%v --help ends with %d, stderr %q, stdout:\n%s", words, code, stderr, stdout)
		}
		if again, _, _ := call(t, program, append([]string{"help"}, words...)...); again != stdout {
			t.Errorf("help %v differs from %v --help", words, words)
		}
	}
}

// TestWrongUse holds that wrong words end with 2, and with a sentence on
// stderr that says what is wrong.
func TestWrongUse(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ words, want string }{
		{"", "no verb given"},
		{"rum", "rum: no verb of that name; see flowrigd --help"},
		{"run", "--config is missing; see flowrigd run --help"},
		{"run --cofnig x", "unknown flag: --cofnig; see flowrigd run --help"},
		{"run --config", "flag needs an argument: --config"},
		{"run bench --config x.toml", `"bench"`},
		{"run --config not-there.toml", "not-there.toml:1:1: read: "},
		{"check", "--config is missing"},
		{"demo --scenario calm", `scenario "calm": unknown; write one of steady, `},
		{"demo --speed 0", "speed 0: out of range; write 0.1 to 1000"},
		{"demo --speed fast", `invalid argument "fast" for "--speed"`},
		{"demo --listen here", `demo: --listen "here": not an address with a port; write 127.0.0.1:8080`},
		{"demo --listen 127.0.0.1:http", `demo: --listen "127.0.0.1:http": not an address with a port`},
		{"demo --listen 0.0.0.0:18099", "demo: --listen 0.0.0.0:18099: demo serves this machine only; write 127.0.0.1:18099"},
		{"demo --listen :18099", "demo: --listen :18099: demo serves this machine only"},
		{"demo --listen north-hall.example:18099", "demo serves this machine only"},
		{"simulate", "--links is missing"},
		{"simulate --links x --scenario calm", `scenario "calm": unknown`},
		{"calc", "calc: "},
		{"calc --flow 1.2 L/min --temperature 42 Cel", `calc: "L/min": unexpected argument; put number and unit in quotes, such as --flow "1.2 L/min"`},
		{"token", "add, list or remove?"},
		{"token ad", `"ad"`},
		{"token add --role operate me", "--config is missing"},
		{"token add --config x me", "token add: --role is missing; see flowrigd token add --help"},
		{"token add --config x --role king me", `--role "king": write watch (read) or operate (read and act)`},
		{"token add --config x --role watch a/b", `token name "a/b": use letters`},
		{"token add --config x --role watch", "the NAME of the person or program that gets it is missing; see flowrigd token add --help"},
		{"token list", "--config is missing"},
		{"token remove --config x", "the NAME that it was made for is missing; see flowrigd token remove --help"},
		{"token remove --config x me you", `"you": unexpected argument`},
		{"rum --data x", "rum: no verb of that name; see flowrigd --help"},
		{"--data x", "unknown flag: --data; see flowrigd --help"},
		{"export --data x --every 3 samples", `"3": the unit is missing; write a time such as "2 s"`},
		{"replay --data x --to noon", "not a time; write RFC 3339, such as 2026-03-02T09:00:00Z; see flowrigd replay --help"},
		{"probe --config x", "probe: the INSTRUMENT, by its name in the configuration, is missing; see flowrigd probe --help"},
		{"export --data x", "export: WHAT to export (samples, alarms, notes, test-points, observations, collections, experiments, strikes) is missing; see flowrigd export --help"},
		{"export --data x everything", `export "everything": write one of samples, alarms, notes, test-points, observations, collections, experiments, strikes`},
		{"export --data x --format xml samples", `--format "xml": write one of csv, json, jsonl, parquet`},
		{"version now", `"now"`},
		{"completion", "for which shell?"},
		{"completion dos", `"dos": nothing of that name here`},
		{"completion bash zsh", `"zsh": unexpected argument`},
		{"help rum", "rum: no verb of that name"},
	} {
		stdout, stderr, code := call(t, program, strings.Fields(c.words)...)
		if code != exitUsage || !strings.Contains(stderr, c.want) {
			t.Errorf("%q ends with %d, want %d, and stderr without %q:\n%s", c.words, code, exitUsage, c.want, stderr)
		}
		if strings.Contains(stderr, "command") {
			t.Errorf("%q: a word is called a command:\n%s", c.words, stderr)
		}
		if stdout != "" && !strings.Contains(stdout, "Usage:") {
			t.Errorf("%q has data on stdout: %q", c.words, stdout)
		}
	}
}

// TestCompletion has bash load the script, and asks for what it would offer.
func TestCompletion(t *testing.T) {
	t.Parallel()
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		if script, stderr, code := call(t, program, "completion", shell); code != exitDone || stderr != "" || !strings.Contains(script, "flowrigd") {
			t.Errorf("completion %s ends with %d, %q", shell, code, stderr)
		}
	}
	script, _, _ := call(t, program, "completion", "bash")
	bash := exec.Command(daqtest.Program(t, "bash", "bash"), "-n")
	bash.Stdin = strings.NewReader(script)
	if out, err := bash.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("bash does not understand the script: %v\n%s", err, out)
	}
	offered, _, _ := call(t, program, "__complete", "si")
	if !strings.HasPrefix(offered, "simulate\t") {
		t.Errorf("for \"si\" it offers %q", offered)
	}
}

func TestVersion(t *testing.T) {
	t.Parallel()
	stdout, stderr, code := call(t, program, "version", "--json")
	var b map[string]string
	if err := json.Unmarshal([]byte(stdout), &b); err != nil || code != exitDone || stderr != "" {
		t.Fatalf("version --json ends with %d, %v, %q, %q", code, err, stdout, stderr)
	}
	for _, key := range []string{"version", "commit", "go"} {
		if b[key] == "" {
			t.Errorf("no %s in %s", key, stdout)
		}
	}
	text, _, code := call(t, program, "version")
	if code != exitDone || !strings.Contains(text, b["version"]) || !strings.Contains(text, b["commit"]) || !strings.Contains(text, b["go"]) {
		t.Errorf("version ends with %d, %q; --json says %s", code, text, stdout)
	}
}

// TestCheckSaysEveryProblem runs check on each bad file: its lines are those
// that the table of the configuration's own tests holds, on stdout; it ends
// with 2, or with 0 where there are warnings alone.
func TestCheckSaysEveryProblem(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/rigs/bad/*.toml")
	if err != nil || len(files) < 25 {
		t.Fatalf("%d bad files, %v", len(files), err)
	}
	wrong, least := 0, 25
	if testing.Short() { // a program for each file is what takes long under the race detector
		files, least = files[:20], 15
	}
	for _, file := range files {
		_, problems := config.Load(file)
		var want strings.Builder
		for _, p := range problems {
			want.WriteString(p.String() + "\n")
		}
		wantCode := exitDone
		if config.Fatal(problems) {
			wantCode = exitUsage
			wrong++
		}
		stdout, stderr, code := call(t, program, "check", "--config", file)
		if stdout != want.String() || stderr != "" || code != wantCode {
			t.Errorf("%s: ends with %d, want %d, stderr %q, and says\n%swant\n%s", file, code, wantCode, stderr, stdout, &want)
		}
		if !strings.HasPrefix(stdout, file+":") {
			t.Errorf("%s: the first line does not begin with the file's name: %q", file, stdout)
		}
	}
	if wrong < least {
		t.Errorf("only %d files are wrong", wrong)
	}
	five, _, _ := call(t, program, "check", "--config", "../../testdata/rigs/bad/five-mistakes.toml")
	if n := strings.Count(five, "\n"); n != 5 {
		t.Errorf("of five mistakes it lists %d:\n%s", n, five)
	}
}

func TestCheckOfGoodFiles(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/rigs/good/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d good files, %v", len(files), err)
	}
	for _, file := range files {
		stdout, stderr, code := call(t, program, "check", "--config", file)
		if code != exitDone || (stdout == "") != (stderr == file+": nothing is wrong or unwise in it\n") || stdout != "" && stderr != "" {
			t.Errorf("%s: ends with %d: %s%s", file, code, stdout, stderr)
		}
	}
}

// TestCheckOfAPerfectFile holds the one sentence where there is nothing to say,
// and that a name moves no terminal.
func TestCheckOfAPerfectFile(t *testing.T) {
	t.Parallel()
	text := read(t, "../../testdata/rigs/bad/warn-unused.toml")
	text, _, _ = strings.Cut(text, "[ports.spare]")
	file := write(t, filepath.Join(t.TempDir(), "rig.toml"), text)
	stdout, stderr, code := call(t, program, "check", "--config", file)
	if code != exitDone || stdout != "" || stderr != file+": nothing is wrong or unwise in it\n" {
		t.Errorf("ends with %d: %q, %q", code, stdout, stderr)
	}
	for _, words := range [][]string{
		{"check", "--config", "none\x1b[31m.toml"},
		{"calc", "--flow", "1\x1b[31m L/min", "--temperature", "20 Cel", "--bore", "13 mm"},
		{"probe", "--config", file, "flow\x1b[31m"},
		{"\x1b[31mverb"},
		{"demo", "--scenario", "\x1b[31m"},
	} {
		stdout, stderr, code := call(t, program, words...)
		if text := stdout + stderr; code != exitUsage || strings.Contains(text, "\x1b") || !strings.Contains(text, `\x1b[31m`) {
			t.Errorf("%q ends with %d: %q", words, code, text)
		}
	}
}

// TestTokensOfARunningDaemon makes and removes tokens beside a running daemon,
// which takes each change up by itself.
func TestTokensOfARunningDaemon(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	file := b.config(at, "")
	running(t, file, at)
	acknowledge := func(token string) int {
		status, _, _ := post(t, "http://"+at+"/api/alarms/head-lost/acknowledge", token, "{}")
		return status
	}
	if got := acknowledge(""); got != 401 {
		t.Errorf("without a token: %d, want 401", got)
	}
	operator := b.newToken(file, "operate", "jo")
	watcher := b.newToken(file, "watch", "wall")
	if got := acknowledge(watcher); got != 403 {
		t.Errorf("with a token to watch: %d, want 403", got)
	}
	if got := acknowledge(operator); got != 409 { // there is nothing to acknowledge
		t.Errorf("with a token to operate: %d, want 409", got)
	}
	b.keepsOnlyHashes(file, operator, watcher)
	if _, stderr, code := call(t, program, "token", "add", "--config", file, "--role", "watch", "jo"); code != exitFailed || !strings.Contains(stderr, "there is one of this name; remove it first") {
		t.Errorf("a second jo: %d, %s", code, stderr)
	}
	if stdout, _, code := call(t, program, "token", "remove", "--config", file, "jo"); code != exitDone || stdout != "" {
		t.Errorf("remove ends with %d, %q", code, stdout)
	}
	if got := acknowledge(operator); got != 401 {
		t.Errorf("with a removed token: %d, want 401", got)
	}
	if _, stderr, code := call(t, program, "token", "remove", "--config", file, "jo"); code != exitFailed || !strings.Contains(stderr, "there is none of this name") {
		t.Errorf("removed twice: %d, %s", code, stderr)
	}
}

// newToken adds a token, which comes alone on stdout.
func (b *handBench) newToken(file, role, name string) string {
	b.t.Helper()
	stdout, _, code := call(b.t, program, "token", "add", "--config", file, "--role", role, name)
	token := strings.TrimSuffix(stdout, "\n")
	if code != exitDone || len(token) < 20 || strings.ContainsAny(token, " \n") {
		b.t.Fatalf("token add ends with %d and prints %q", code, stdout)
	}
	return token
}

// keepsOnlyHashes holds that list shows names and roles, and that neither it
// nor the file has a token in it.
func (b *handBench) keepsOnlyHashes(file string, tokens ...string) {
	b.t.Helper()
	list, _, code := call(b.t, program, "token", "list", "--config", file)
	if code != exitDone || !strings.Contains(list, "jo ") || !strings.Contains(list, "operate") || !strings.Contains(list, "wall ") {
		b.t.Errorf("token list ends with %d:\n%s", code, list)
	}
	for _, token := range tokens {
		if strings.Contains(list+read(b.t, filepath.Join(b.dir, "tokens")), token) {
			b.t.Error("a token stands in the list or in the file")
		}
	}
}
