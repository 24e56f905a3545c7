//go:build unix

package web

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/calc/quantity"
)

// viewersOf makes a process of this test program the viewers of a page: ADDRESS TOKEN COUNT.
const viewersOf = "FLOWRIG_VIEWERS_OF"

func init() {
	if what := os.Getenv(viewersOf); what != "" {
		viewers(what)
	}
}

// pageEvery is how often a page looks at the recording.
const pageEvery = 5 * time.Second

// viewers follow a page and ask for its trends as trend.js does, until they are killed.
func viewers(what string) {
	var base, token string
	var count int
	if _, err := fmt.Sscan(what, &base, &token, &count); err != nil {
		panic(err)
	}
	client := http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: count}}
	get := func(path string, read func(io.Reader)) {
		r, _ := http.NewRequest("GET", base+path, nil)
		r.Header.Set("Authorization", "Bearer "+token)
		answer, err := client.Do(r)
		if err != nil || answer.StatusCode != 200 {
			panic(fmt.Sprint(path, err, answer))
		}
		read(answer.Body)
		_ = answer.Body.Close()
	}
	throw := func(r io.Reader) { _, _ = io.Copy(io.Discard, r) }
	for i := range count {
		go get("/page/follow", throw)
		go func() {
			time.Sleep(time.Duration(i) * pageEvery / time.Duration(count))
			for tick := time.NewTicker(pageEvery); ; <-tick.C {
				var window struct{ From, To string }
				get("/api/trend?quantity=reynolds_number&buckets=240&from=-10+min", func(r io.Reader) { _ = json.NewDecoder(r).Decode(&window); throw(r) })
				for _, q := range []string{"reynolds_number", "temperature_celsius"} {
					get("/api/trend?"+url.Values{"quantity": {q}, "buckets": {"240"}, "from": {window.From}, "to": {window.To}}.Encode(), throw)
				}
			}
		}()
	}
	select {}
}

// spent is this process's processor time so far.
func spent(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkViewersOverHTTP: what one viewer and fifty, in a process of their own, cost a
// server that is fed five states a second, with their streams and trends. Each iteration
// lasts 5 s: run it with -benchtime 3x. The engine's own work is not in it.
func BenchmarkViewersOverHTTP(b *testing.B) {
	costs := map[int]float64{}
	for _, count := range []int{1, 50} {
		b.Run(fmt.Sprint(count), func(b *testing.B) {
			costs[count] = costOf(b, count)
			b.ReportMetric(costs[count], "cpu-ms/s")
			b.ReportMetric(costs[count]/costs[1], "times-one")
		})
	}
}

func costOf(b *testing.B, count int) float64 {
	rig, file := &fakeRig{state: steadyState()}, filepath.Join(b.TempDir(), "tokens")
	secret, err := AddToken(file, "wes", RoleWatch)
	if err != nil {
		b.Fatal(err)
	}
	s, err := New(Options{Listen: "127.0.0.1:0", TokensFile: file, Facts: testFacts(), Rig: rig, History: fakeHistory{}, Log: quiet, Version: "test"})
	if err != nil {
		b.Fatal(err)
	}
	if err := s.Listen(); err != nil {
		b.Fatal(err)
	}
	ctx, end := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), fmt.Sprintf("%s=http://%s %s %d", viewersOf, s.Addr(), secret, count))
	var told strings.Builder
	child.Stderr = &told
	if err := child.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() {
		_, _ = child.Process.Kill(), child.Wait()
		end()
		<-ended
		if told.Len() > 0 {
			b.Error(told.String())
		}
	}()
	n := 0
	feed := func(states int) {
		tick := time.NewTicker(200 * time.Millisecond)
		defer tick.Stop()
		for range states {
			<-tick.C
			n++
			state := steadyState()
			state.Time = state.Time.Add(time.Duration(n) * 200 * time.Millisecond)
			state.Values.Put(quantity.Level, 0.25+float64(n%100)/1e5)
			rig.set(func(f *fakeRig) { f.state = state })
			s.ObserveState(state)
		}
	}
	for s.hub.count() < count {
		feed(1)
	}
	feed(25)
	before, since := spent(b), time.Now()
	for b.Loop() {
		feed(25)
	}
	return float64((spent(b) - before).Microseconds()) / 1e3 / time.Since(since).Seconds()
}
