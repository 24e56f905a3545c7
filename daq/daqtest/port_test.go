package daqtest

import (
	"net"
	"testing"
)

func TestFreeAddress(t *testing.T) {
	given := map[string]bool{}
	for range 200 {
		at := FreeAddress(t)
		if given[at] {
			t.Fatalf("%s was given twice while its test runs", at)
		}
		given[at] = true
		for range 2 { // and it serves again after a stop
			l, err := net.Listen("tcp", at)
			Must(t, err)
			l.Close()
		}
	}
}
