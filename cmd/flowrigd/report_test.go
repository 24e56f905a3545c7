//go:build unix

package main

import (
	"bytes"
	"context"
	"flag"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"flowrigd/daq/daqtest"
)

// wholeScenario has TestReportOfARecording play all of sweep or night, which takes some six
// minutes.
var wholeScenario = flag.String("report.whole", "", "sweep or night: a report of the whole scenario with the critical Reynolds numbers by the light, not of two minutes of the sweep")

// TestReportOfARecording that the program made: of its directory while it runs, and of a
// backup, the same report; it prints on more pages than one, with nothing cut at the side.
// What cannot be reported is refused, and says what there is.
func TestReportOfARecording(t *testing.T) {
	t.Parallel()
	fastAtOnce <- struct{}{}
	t.Cleanup(func() { <-fastAtOnce })
	dir, at, to := t.TempDir(), daqtest.FreeAddress(t), t.TempDir()
	scenario, rows := "sweep", 80.0
	if *wholeScenario != "" {
		scenario, rows = *wholeScenario, 92*60
	}
	p := start(t, program, "demo", "--scenario", scenario, "--listen", at, "--data", dir, "--speed", "50", "--seed", "3")
	within(t, max(30*time.Second, time.Duration(rows)*time.Second/5), "rows", func() bool { return number(now(at), "sequence") >= rows })
	report := func(name string, args ...string) string {
		t.Helper()
		file := filepath.Join(to, name)
		if out, diag, code := call(t, program, append([]string{"report", "--out", file}, args...)...); code != exitDone || out+diag != "" {
			t.Fatalf("%v: code %d, %s%s", args, code, out, diag)
		}
		return read(t, file)
	}
	says(t, "the report while it runs", report("running.html", "--data", dir), "north-hall, bench-3", "Conditions", "bore 13.000 ± 0.040 mm")
	p.ends(exitDone)
	copied := filepath.Join(to, "copy.db")
	if _, diag, code := call(t, program, "backup", "--data", dir, "--to", copied); code != exitDone {
		t.Fatal(diag)
	}
	made := regexp.MustCompile(`Made [-0-9: ]+`)
	whole := made.ReplaceAllString(report("whole.html", "--data", dir), "")
	switch *wholeScenario {
	case "sweep":
		says(t, "the report", whole, "<td>light, half torn</td><td>rising</td>", "the light through the tube", "By light, half torn, Re rising")
	case "night":
		says(t, "the report in the morning", whole, "the light through the tube")
		found := regexp.MustCompile(`<td>light, half torn</td><td>rising</td><td class="n">\d+</td><td>\d+, in \d+ to \d+<`).FindAllString(whole, -1)
		if t.Log(found); len(found) != 1 {
			t.Errorf("%d critical Re with an interval", len(found))
		}
	}
	if copy := made.ReplaceAllString(report("copy.html", "--data", copied), ""); copy != whole {
		t.Error("the report of a backup is not that of its recording")
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{`experiment "sweep-9": not in this recording, which has: 20`, []string{"--data", copied, "--experiment", "sweep-9", "--out", filepath.Join(to, "x.html")}},
		{"there is a file of that name", []string{"--data", copied, "--out", copied}},
		{"no recording", []string{"--data", t.TempDir(), "--out", filepath.Join(to, "x.html")}},
	} {
		if _, diag, code := call(t, program, append([]string{"report"}, c.args...)...); code != exitFailed || !strings.Contains(diag, c.says) {
			t.Errorf("%v: code %d, %s; want %q", c.args, code, diag, c.says)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(to, "x.html")); left != nil {
		t.Error("a refused report leaves a file")
	}
	pages := printed(t, filepath.Join(to, "whole.html"))
	if pages < 3 || pages > 30 {
		t.Errorf("printed on %d pages", pages)
	}
}

// printed prints a page with Chromium, and counts what comes out.
func printed(t *testing.T, file string) (pages int) {
	t.Helper()
	ctx := browser(t)
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(794, 1123), chromedp.Navigate("file://"+file)))
	wide, err := chromedp.Run(ctx, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`))
	if must(t, err); wide > 0 {
		t.Errorf("on paper %d px are cut at the side", wide)
	}
	var pdf []byte
	must(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		r, err := cdp.Call(ctx, tab, page.PrintToPDF, page.PrintToPDFParams{})
		pdf = r.Data
		return err
	})))
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Fatalf("%d bytes that are no PDF", len(pdf))
	}
	return len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1))
}
