package daqtest

import "testing"

// Must ends a test for an error that is none of its business.
func Must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
