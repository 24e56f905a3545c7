//go:build !linux && !darwin && !windows

package record

import "errors"

// diskFree is not known on other systems.
func diskFree(string) (int64, error) { return 0, errors.ErrUnsupported }
