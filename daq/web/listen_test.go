package web

import (
	"io"
	"net"
	"strings"
	"testing"
	"time"
)

// outside is an address of this machine that is not loopback.
func outside(t *testing.T) string {
	t.Helper()
	list, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range list {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLoopback() && n.IP.To4() != nil {
			return n.IP.String()
		}
	}
	missing(t, "a network interface beside loopback")
	return ""
}

// TestConnectionsAreBounded: one more than there is room for is told so, and a
// place that is given back is used again.
func TestConnectionsAreBounded(t *testing.T) {
	b := testBed(t, nil)
	var open []net.Conn
	for range maxConnections {
		c, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = c.Close() }()
		open = append(open, c)
	}
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()
	if err := c.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	answer, err := io.ReadAll(c)
	if err != nil || !strings.HasPrefix(string(answer), "HTTP/1.1 503 ") || b.refused.Load() != 1 {
		t.Errorf("one too many: %v %q", err, answer)
	}
	if err := open[0].Close(); err != nil {
		t.Fatal(err)
	}
	deadline := time.Now().Add(10 * time.Second)
	for {
		status, _, _ := b.ask("GET", "/healthz", "", "")
		if status == 200 {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("a place that was given back: %d", status)
		}
	}
}
