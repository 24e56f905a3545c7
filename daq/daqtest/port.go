package daqtest

import (
	"fmt"
	"math/rand/v2"
	"net"
	"testing"
)

// FreeAddress is a loopback address host:port at which a program of this test
// can listen, now or after it was started anew. The port lies below those that
// systems hand out to connections (32768 and up on Linux, 49152 elsewhere), so
// no connection takes it in between; a UDP socket that is held until the test
// ends claims its number against other tests, in this process or another.
func FreeAddress(t testing.TB) string {
	t.Helper()
	for range 1000 {
		at := fmt.Sprintf("127.0.0.1:%d", 20000+rand.IntN(12000))
		claim, err := net.ListenPacket("udp", at)
		if err != nil {
			continue
		}
		if l, err := net.Listen("tcp", at); err == nil {
			l.Close()
			t.Cleanup(func() { claim.Close() })
			return at
		}
		claim.Close()
	}
	t.Fatal("no free port between 20000 and 32000 on 127.0.0.1")
	return ""
}
