package daqtest

import "testing"

// Counts begins a test that counts what one goroutine computes. The race detector has
// nothing to find there and takes ten times as long: with -short, which goes with it,
// the test is left to the plain run before.
func Counts(t testing.TB) {
	t.Helper()
	if testing.Short() {
		t.Skip("it counts, in one goroutine: the run without -short has it")
	}
}

// Browses begins a test of what the browser makes of a page. What the daemon does for it
// is watched by the race detector in other tests: with -short the test is left to the
// plain run before.
func Browses(t testing.TB) {
	t.Helper()
	if testing.Short() {
		t.Skip("it is of the browser's work: the run without -short has it")
	}
}
