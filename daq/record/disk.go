//go:build !faults

package record

// disk commits: only a build with the tag faults can break the disk.
func disk(commit func() error) error { return commit() }
