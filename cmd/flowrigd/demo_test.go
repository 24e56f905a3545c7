//go:build unix

package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"flowrigd/daq/daqtest"
)

// demoLines are the two lines that demo prints.
func demoLines(t *testing.T, p *process) (page, broker string) {
	t.Helper()
	within(t, 10*time.Second, "two lines on stdout", func() bool { return strings.Count(p.out.String(), "\n") >= 2 })
	for _, line := range strings.Split(strings.TrimSpace(p.out.String()), "\n") {
		word, rest, _ := strings.Cut(line, " ")
		switch word {
		case "page":
			page = rest
		case "broker":
			broker = rest
		default:
			t.Errorf("stdout has a line %q", line)
		}
	}
	return page, broker
}

func TestDemoGivesALiveRig(t *testing.T) {
	at := daqtest.FreeAddress(t)
	began := time.Now()
	p := start(t, program, "demo", "--listen", at, "--data", t.TempDir())
	within(t, 5*time.Second-time.Since(began), "reynolds_number with all instruments good", func() bool {
		s := now(at)
		return s != nil && s["reynolds_number"] != nil && allGood(s)
	})
	t.Logf("a live state after %v", time.Since(began).Round(time.Millisecond))
	page, broker := demoLines(t, p)
	hearState(t, broker)
	seePage(t, page)
	p.ends(exitDone)
}

// hearState is a subscriber that nobody here wrote, at the embedded broker.
func hearState(t *testing.T, broker string) {
	t.Helper()
	u, err := url.Parse(broker)
	must(t, err)
	out, err := exec.Command(daqtest.Program(t, "mosquitto_sub", "mosquitto-clients"),
		"-h", u.Hostname(), "-p", u.Port(), "-t", "flowrig/+/+/state", "-C", "1", "-W", "5").Output()
	if err != nil {
		t.Fatalf("mosquitto_sub: %v", err)
	}
	var state map[string]any
	if err := json.Unmarshal(out, &state); err != nil || state["rig"] != "bench-3" {
		t.Errorf("state on the broker: %v, %s", err, out)
	}
}

// browser is a headless Chromium of the test's own.
func browser(t *testing.T) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(daqtest.Program(t, "chromium", "chromium")), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	ctx, stop := context.WithTimeout(t.Context(), 60*time.Second)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	return ctx
}

func seePage(t *testing.T, page string) {
	t.Helper()
	ctx := browser(t)
	must(t, chromedp.Do(ctx, chromedp.Navigate(page)))
	live := `document.documentElement.dataset.link === 'live' && document.documentElement.dataset.role === 'operate'`
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool](live, chromedp.WithPollingTimeout(10*time.Second))); err != nil {
		t.Fatalf("the page is not live, or its one-time link made no operator: %v", err)
	}
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText`))
	must(t, err)
	says(t, "the page", text, "bench-3", "Re", "±")
}

// TestDemoThatCannotBeginLeavesNothing holds that a wrong flag, or a page whose
// address another program has, leaves no temporary directory behind.
func TestDemoThatCannotBeginLeavesNothing(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	defer taken.Close()
	for _, c := range []struct {
		words []string
		code  int
		says  string
	}{
		{[]string{"--scenario", "nonsense"}, exitUsage, `scenario "nonsense": unknown; write one of steady, `},
		{[]string{"--speed", "0"}, exitUsage, "speed 0: out of range; write 0.1 to 1000"},
		{[]string{"--listen", taken.Addr().String()}, exitFailed, "another program has this port"},
	} {
		dir := t.TempDir()
		p := startWith(t, []string{"TMPDIR=" + dir}, program, append([]string{"demo"}, c.words...)...)
		if code := p.code(20 * time.Second); code != c.code {
			t.Errorf("%v ends with %d, want %d", c.words, code, c.code)
		}
		says(t, "stderr", p.err.String(), c.says)
		if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
			t.Errorf("%v leaves %v, %v", c.words, left, err)
		}
	}
}

// TestDemoNamesItsTemporaryDirectory holds that a demo without --data says where
// it records, and that this stays.
func TestDemoNamesItsTemporaryDirectory(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	p := startWith(t, []string{"TMPDIR=" + dir}, program, "demo", "--listen", at, "--scenario", "steady")
	within(t, 20*time.Second, "a row", func() bool { return number(now(at), "sequence") >= 1 })
	p.ends(exitDone)
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(left) != 1 {
		t.Fatalf("%q is left, %v: want the recording alone", left, err)
	}
	says(t, "the log", p.err.String(), "recording in a temporary directory, which stays", "directory="+left[0])
	db, err := sql.Open("sqlite", filepath.Join(left[0], "flowrig.db"))
	must(t, err)
	defer db.Close()
	var rows int
	if err := db.QueryRow(`SELECT count(*) FROM sample`).Scan(&rows); err != nil || rows < 1 {
		t.Errorf("%d rows in it, %v", rows, err)
	}
}

// TestTheLogOfADemoSaysTheTrip holds that alarm, permit and the drop of the
// permit stand in the log of the built program.
func TestTheLogOfADemoSaysTheTrip(t *testing.T) {
	t.Parallel()
	p := start(t, program, "demo", "--listen", daqtest.FreeAddress(t), "--data", t.TempDir(), "--scenario", "overheat", "--speed", "20")
	for _, line := range []string{`level=INFO msg="heating permit given" who="simulated demonstrator"`, "level=WARN msg=alarm name=water-overheat state=unacknowledged priority=high", `level=WARN msg="heating permit dropped: alarm water-overheat"`} {
		within(t, 60*time.Second, line, func() bool { return strings.Contains(p.err.String(), line) })
	}
}
