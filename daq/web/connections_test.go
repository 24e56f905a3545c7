package web

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// strangers open so many connections to the server and say the same on each;
// what comes back is not read.
func (b *bed) strangers(n int, say string) (open []net.Conn) {
	b.Helper()
	for range n {
		c, err := net.Dial("tcp", b.Addr())
		must(b, err)
		b.Cleanup(func() { _ = c.Close() })
		_, _ = io.WriteString(c, say) // it may have had to give way already
		open = append(open, c)
	}
	return open
}

// openNow counts the connections, all and those of a rank.
func (b *bed) openNow(of rank) (all, ranked int) {
	b.listener.mu.Lock()
	defer b.listener.mu.Unlock()
	for c := range b.listener.open {
		if c.rank == of {
			ranked++
		}
	}
	return len(b.listener.open), ranked
}

// TestOperatorIsServedWhateverOthersDo: a person with a token gets in at once,
// and stays, while others hold or storm the door.
func TestOperatorIsServedWhateverOthersDo(t *testing.T) {
	get := "GET %s HTTP/1.1\r\nHost: localhost\r\n%s\r\n"
	for name, c := range map[string]struct {
		count int
		say   func(b *bed) string
	}{
		"silent connections":  {maxConnections + 10, func(*bed) string { return "" }},
		"a storm":             {3 * maxConnections, func(*bed) string { return "" }},
		"half a header":       {maxConnections + 10, func(*bed) string { return "GET / HTTP/1.1\r\nHost: loc" }},
		"requests, then idle": {maxConnections + 10, func(*bed) string { return fmt.Sprintf(get, "/api/now", "") }},
		"half a body": {maxConnections + 10, func(*bed) string {
			return "POST /api/session HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"
		}},
		"followers":          {maxConnections + 10, func(*bed) string { return fmt.Sprintf(get, "/api/follow", "") }},
		"followers that may": {maxConnections + 10, func(b *bed) string { return fmt.Sprintf(get, "/api/follow", "Authorization: Bearer "+b.watch+"\r\n") }},
		"large answers not read": {maxConnections + 10, func(*bed) string {
			return strings.Repeat(fmt.Sprintf(get, "/api/trend?quantity=level&buckets=5000", ""), 3)
		}},
		"many requests at once": {maxConnections + 10, func(*bed) string { return strings.Repeat(fmt.Sprintf(get, "/api/session", ""), 200) }},
	} {
		t.Run(name, func(t *testing.T) { // one after the other: the crowd of one is no load on the next
			b := testBed(t, nil)
			mine := b.listen("/api/follow", b.operate)
			mine.until("event: state")
			b.strangers(c.count, c.say(b))
			for range 5 {
				began := time.Now()
				b.answers(200, "POST", "/api/permit", b.operate, `{"action":"withdraw"}`)
				if took := time.Since(began); took > 5*time.Second {
					t.Errorf("it took %v", took)
				}
				b.strangers(20, c.say(b))
			}
			next := hotState()
			b.rig.set(func(f *fakeRig) { f.state = next })
			b.ObserveState(next)
			for !strings.Contains(mine.until("data: "), `"regime":"turbulent"`) {
			}
			if all, _ := b.openNow(anybody); all > maxConnections {
				t.Errorf("%d connections are open, more than %d", all, maxConnections)
			}
		})
	}
}

// withdraws says whether the operator's command was answered.
func (b *bed) withdraws() bool {
	r, err := http.NewRequestWithContext(b.Context(), "POST", b.base+"/api/permit", strings.NewReader(`{"action":"withdraw"}`))
	must(b, err)
	r.Header.Set("Authorization", "Bearer "+b.operate)
	answer, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(r)
	if err != nil {
		return false
	}
	return answer.Body.Close() == nil && answer.StatusCode == http.StatusOK
}

// TestNewOperatorDuringAStorm: connections are opened all the time, as fast as
// one address can, and a person with a token gets in each time.
func TestNewOperatorDuringAStorm(t *testing.T) {
	b := testBed(t, nil)
	b.strangers(maxConnections, fmt.Sprintf("GET /api/follow HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\n\r\n", b.watch))
	ctx, stop := context.WithCancel(t.Context())
	var storm sync.WaitGroup
	for range 4 {
		storm.Go(func() {
			for ctx.Err() == nil {
				if c, err := net.Dial("tcp", b.Addr()); err == nil {
					defer func() { _ = c.Close() }()
				}
			}
		})
	}
	// Who is slower to say who they are than the storm is to fill the places
	// that wait loses the connection, and tries again.
	tries := 0
	for range 20 {
		for ; tries < 40; tries++ {
			if b.withdraws() {
				break
			}
		}
	}
	if got := len(b.rig.commands()); got < 20 {
		t.Errorf("%d of 20 commands in %d tries", got, tries)
	}
	stop()
	storm.Wait()
}

// TestPlacesOfEachRank: whatever one kind of sender does, each has its places.
func TestPlacesOfEachRank(t *testing.T) {
	b := testBed(t, nil)
	follow := "GET /api/follow HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\n\r\n"
	for of, say := range map[rank]string{
		anybody:  "GET /api/follow HTTP/1.1\r\nHost: localhost\r\n\r\n",
		watcher:  fmt.Sprintf(follow, b.watch),
		operator: fmt.Sprintf(follow, b.operate),
	} {
		var list []net.Conn
		for range places[of] + 40 {
			c := b.strangers(1, say)[0]
			must(t, c.SetReadDeadline(time.Now().Add(20*time.Second)))
			if line, err := bufio.NewReader(c).ReadString('\n'); err != nil || line != "HTTP/1.1 200 OK\r\n" { // the newest is served
				t.Fatalf("rank %d: %q %v", of, line, err)
			}
			list = append(list, c)
		}
		if _, n := b.openNow(of); n != places[of] {
			t.Errorf("rank %d holds %d places, not %d", of, n, places[of])
		}
		for i, c := range list[:40] { // the oldest gave way
			must(t, c.SetReadDeadline(time.Now().Add(20*time.Second)))
			if _, err := io.Copy(io.Discard, c); isTimeout(err) {
				t.Fatalf("rank %d: connection %d is still open", of, i)
			}
		}
	}
	var sum int
	for _, n := range places {
		sum += n
	}
	if sum > maxConnections*3/4 {
		t.Errorf("of %d places only %d are left for who has not said who they are", maxConnections, maxConnections-sum)
	}
}

func isTimeout(err error) bool {
	var n net.Error
	return errors.As(err, &n) && n.Timeout()
}

// pipes is a listener whose connections are made by the test.
type pipes struct {
	made chan net.Conn
	once sync.Once
	done chan struct{}
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.made:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error   { p.once.Do(func() { close(p.done) }); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8080} }

// TestEverythingEndsInTime: whoever keeps a connection without using it loses
// it within its time. A pipe takes nothing that is not read.
func TestEverythingEndsInTime(t *testing.T) {
	token := "T"
	for name, c := range map[string]struct {
		say   string
		reads bool
		least time.Duration
		most  time.Duration
	}{
		"silent":             {"", true, 4 * time.Second, 6 * time.Second},
		"half a header":      {"GET /api/now HTTP/1.1\r\nHost: localhost\r\n", true, 4 * time.Second, 6 * time.Second},
		"half a body":        {"POST /api/session HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{", true, 14 * time.Second, 17 * time.Second},
		"body refused early": {"POST /api/permit HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9\r\n\r\n{", true, 0, 16 * time.Second},
		"answer not read":    {"GET /api/now HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer " + token + "\r\n\r\n", false, 29 * time.Second, 31 * time.Second},
		"stream not read":    {"GET /api/follow HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer " + token + "\r\n\r\n", false, 4 * time.Second, 7 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s, err := New(Options{Listen: "127.0.0.1:0", TokensFile: oneToken(t, token), Facts: testFacts(), Rig: &fakeRig{state: steadyState()}, Log: quiet})
				must(t, err)
				p := &pipes{made: make(chan net.Conn), done: make(chan struct{})}
				s.listener.Listener = p
				ctx, cancel := context.WithCancel(t.Context())
				ended := make(chan error, 1)
				go func() { ended <- s.Run(ctx) }()
				far, near := net.Pipe()
				p.made <- near
				began := time.Now()
				_, err = io.WriteString(far, c.say)
				must(t, err)
				if c.reads {
					go func() { _, _ = io.Copy(io.Discard, far) }()
				}
				for time.Since(began) < time.Hour {
					s.listener.mu.Lock()
					n := len(s.listener.open)
					s.listener.mu.Unlock()
					if n == 0 {
						break
					}
					time.Sleep(100 * time.Millisecond)
				}
				if took := time.Since(began); took < c.least || took > c.most {
					t.Errorf("it was closed after %v; want %v to %v", took, c.least, c.most)
				}
				must(t, far.Close())
				cancel()
				must(t, <-ended)
			})
		})
	}
}

// TestDisplacedCommandIsNotObeyed: whose connection has given way hears no
// answer, so nothing is done for it.
func TestDisplacedCommandIsNotObeyed(t *testing.T) {
	b := testBed(t, nil)
	c, err := net.Dial("tcp", b.Addr())
	must(t, err)
	defer func() { _ = c.Close() }()
	own := &connection{Conn: c, table: b.listener} // and is not in the table
	r, err := http.NewRequestWithContext(withConnection(t.Context(), own), "POST", "/api/permit", strings.NewReader(`{"action":"give"}`))
	must(t, err)
	r.Header.Set("Authorization", "Bearer "+b.operate)
	defer func() {
		if recover() != http.ErrAbortHandler || len(b.rig.commands()) != 0 {
			t.Errorf("the engine heard %v", b.rig.commands())
		}
	}()
	b.Handler().ServeHTTP(nil, r)
}
