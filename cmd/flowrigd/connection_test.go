//go:build unix

package main

import (
	"context"
	"encoding/json"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"flowrigd/daq/daqtest"
)

// watchLink has the page note by its own clock when it says that it is connected, or is
// not, and how late its timers were until then, and when it asked for the stream.
const watchLink = `(() => {
	window.links = []; window.asked = [];
	const root = document.documentElement, ask = window.fetch;
	let last = performance.now(), late = 0;
	setInterval(() => { const now = performance.now(); late = Math.max(late, now - last - 50); last = now; }, 50);
	new MutationObserver(() => {
		if (root.dataset.link !== links.at(-1)?.State) { links.push({State: root.dataset.link, At: Date.now(), Late: late, Asked: asked.at(-1) ?? 0}); late = 0; }
	}).observe(root, {attributes: true, attributeFilter: ['data-link']});
	window.fetch = (path, ...rest) => { if (path === '/page/follow') asked.push(Date.now()); return ask(path, ...rest); };
	return true;
})()`

// linkSeen is one entry of that; the times are in milliseconds.
type linkSeen struct {
	State           string
	At, Late, Asked float64
}

// linked waits for the nth change of the connection, counted from 1.
func linked(t *testing.T, ctx context.Context, n int, want string) linkSeen {
	t.Helper()
	var list []linkSeen
	within(t, 45*time.Second, "the page says "+want, func() bool {
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`JSON.stringify(window.links)`))
		must(t, err)
		list = nil
		must(t, json.Unmarshal([]byte(text), &list))
		return len(list) >= n
	})
	if list[n-1].State != want {
		t.Fatalf("it says %+v, not %s", list, want)
	}
	return list[n-1]
}

// after holds that the page said so within 3 s of a moment. What a busy machine takes is
// taken out: how late the page's timers run, for a silence is seen by two, one after the
// other; and how long the daemon takes to answer the page that has found it.
func (l linkSeen) after(t *testing.T, what string, since time.Time) {
	t.Helper()
	took, answer := l.At-float64(since.UnixMilli()), 0.0
	if l.State == "live" {
		answer = l.At - l.Asked
	}
	t.Logf("%s: after %.0f ms, with timers up to %.0f ms late, answered in %.0f ms", what, took, l.Late, answer)
	if took-answer > 3000+2*l.Late {
		t.Errorf("%s: after %.0f ms, with timers at most %.0f ms late, answered in %.0f ms", what, took, l.Late, answer)
	}
}

// answersAgain is when a daemon first answers.
func answersAgain(t *testing.T, at string) time.Time {
	t.Helper()
	within(t, 30*time.Second, "the daemon answers", func() bool { status, _ := get("http://" + at + "/healthz"); return status != 0 })
	return time.Now()
}

// TestThePageLosesAndFindsTheDaemon: a daemon that stands still, and one that is killed,
// is told within 3 s; one that goes on, and one that is started again, is found within
// 3 s of its first answer.
func TestThePageLosesAndFindsTheDaemon(t *testing.T) {
	t.Parallel()
	at, data := daqtest.FreeAddress(t), t.TempDir()
	p := start(t, program, "demo", "--listen", at, "--data", data)
	page, _ := demoLines(t, p)
	ctx := browser(t)
	must(t, chromedp.Do(ctx, chromedp.Navigate(page)))
	live := `document.documentElement.dataset.link === 'live' && document.documentElement.dataset.role === 'operate'`
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](live+` && `+watchLink, chromedp.WithPollingTimeout(30*time.Second)))
	must(t, err)

	since := time.Now()
	p.signal(syscall.SIGSTOP)
	linked(t, ctx, 1, "lost").after(t, "stopped: lost", since)
	p.signal(syscall.SIGCONT)
	since = answersAgain(t, at)
	linked(t, ctx, 2, "live").after(t, "goes on: live", since)

	since = time.Now()
	p.signal(syscall.SIGKILL)
	linked(t, ctx, 3, "lost").after(t, "killed: lost", since)
	<-p.done
	const tries = `asked.filter((at) => at > links[2].At).length >= 2` // it asks the more rarely the longer it has asked
	_, err = chromedp.Run(ctx, chromedp.Poll[bool](tries, chromedp.WithPollingTimeout(40*time.Second)))
	must(t, err)
	start(t, program, "demo", "--listen", at, "--data", data)
	since = answersAgain(t, at)
	linked(t, ctx, 4, "live").after(t, "started again: live", since)
}
