//go:build !faults

package rigsim

// leftOut is false: the papers name every instrument of the rig but in a build with
// the tag faults.
func leftOut(string) bool { return false }
