package daq

import (
	"math"
	"testing"
	"time"
)

// Each row is worked by hand: what is left, divided by what a day adds.
func TestWhenARecordingIsFull(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		name  string
		o     Occupancy
		full  time.Duration
		never bool
		known bool
		says  string
	}{
		{"by max_size", Occupancy{Used: 2e9, MaxSize: 20e9, DiskFree: 60e9, PerDay: 45e6}, 400 * day, false, true,
			"The recording takes 2 GB of 20 GB: at 45 MB a day it is full in 400 days."},
		{"by the disk", Occupancy{Used: 2e9, MaxSize: 20e9, DiskFree: 90e6, PerDay: 45e6}, 2 * day, false, true,
			"The recording takes 2 GB of 2.09 GB: at 45 MB a day it is full in 2 days."},
		{"without a limit of its own", Occupancy{Used: 1e9, DiskFree: 9e9, PerDay: 1e9}, 9 * day, false, true,
			"The recording takes 1 GB of 10 GB: at 1 GB a day it is full in 9 days."},
		{"what is old goes first", Occupancy{Used: 2e9, MaxSize: 20e9, DiskFree: 60e9, PerDay: 45e6, Keep: 400 * day}, 0, true, true,
			"The recording takes 2 GB and grows by 45 MB a day; it does not fill its 20 GB, since what is old goes first."},
		{"full before it is old", Occupancy{Used: 2e9, MaxSize: 20e9, DiskFree: 60e9, PerDay: 60e6, Keep: 400 * day}, 300 * day, false, true,
			"The recording takes 2 GB of 20 GB: at 60 MB a day it is full in 300 days."},
		{"full", Occupancy{Used: 20e9, MaxSize: 20e9, DiskFree: 60e9, PerDay: 45e6}, 0, false, true,
			"The recording takes 20 GB of 20 GB: it is full, and the oldest inputs go, then rows, then notes."},
		{"in balance", Occupancy{Used: 20e9, MaxSize: 20e9, DiskFree: 60e9}, 0, true, true,
			"The recording takes 20 GB and does not grow: what is old makes room for what is new."},
		{"too young", Occupancy{Used: 4e6, MaxSize: 20e9, DiskFree: 60e9, PerDay: math.NaN()}, 0, false, false,
			"The recording takes 4 MB; how fast it grows is known after half an hour."},
		{"no limit known", Occupancy{Used: 4e6, DiskFree: -1, PerDay: 45e6}, 0, false, false,
			"The recording takes 4 MB and grows by 45 MB a day; what the disk has left is not known."},
	} {
		full, never, known := c.o.FullIn()
		if (full-c.full).Abs() > time.Second || never != c.never || known != c.known {
			t.Errorf("%s: %v, never %v, known %v; want %v, %v, %v", c.name, full, never, known, c.full, c.never, c.known)
		}
		if text := c.o.Sentence(); text != c.says {
			t.Errorf("%s: %s\nwant %s", c.name, text, c.says)
		}
	}
}
