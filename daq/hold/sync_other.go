//go:build !windows

package hold

const noDirectorySync = false
