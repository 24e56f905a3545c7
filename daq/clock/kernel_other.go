//go:build !linux

package clock

import "time"

// kernelSynchronised is false where the system is not asked: what is not known
// to be synchronised is flagged as not synchronised.
func kernelSynchronised() bool { return false }

// asleep is not known here: a machine that slept looks as if it had not.
func asleep() time.Duration { return 0 }
