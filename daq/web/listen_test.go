package web

import (
	"net"
	"testing"

	"flowrigd/daq/daqtest"
)

// outside is an address of this machine that is not loopback.
func outside(t *testing.T) string {
	t.Helper()
	list, err := net.InterfaceAddrs()
	must(t, err)
	for _, a := range list {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLoopback() && n.IP.To4() != nil {
			return n.IP.String()
		}
	}
	daqtest.Require(t, "a network interface beside loopback", false)
	return ""
}
