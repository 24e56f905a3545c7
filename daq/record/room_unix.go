//go:build linux || darwin

package record

import "golang.org/x/sys/unix"

// diskFree is what the disk of a directory has left for this user, in bytes.
func diskFree(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}
