package daq

import (
	"fmt"
	"math"
	"time"
)

// Occupancy is the room that a recording takes, and how long there is room for more.
type Occupancy struct {
	Used     int64         // bytes of the database that hold something
	MaxSize  int64         // record.max_size, bytes; 0: no limit
	DiskFree int64         // bytes that the disk has left; negative: not known
	PerDay   float64       // bytes that a day of this run adds; NaN until half an hour of it has passed
	Keep     time.Duration // age at which the last of what fills it goes; 0: never
}

// Limit is what the recording can come to, in bytes: record.max_size, or what the disk
// has left where that is less; negative where neither is known.
func (o Occupancy) Limit() int64 {
	limit := int64(-1)
	if o.MaxSize > 0 {
		limit = o.MaxSize
	}
	if disk := o.Used + o.DiskFree; o.DiskFree >= 0 && (limit < 0 || disk < limit) {
		limit = disk
	}
	return limit
}

// FullIn is how long at the rate of PerDay until the limit is reached; known is false
// where there is no rate or no limit yet, and never where what is old goes first.
func (o Occupancy) FullIn() (d time.Duration, never, known bool) {
	limit := o.Limit()
	if math.IsNaN(o.PerDay) || limit < 0 {
		return 0, false, false
	}
	const day = 24 * time.Hour
	if o.PerDay <= 0 || o.Keep > 0 && o.PerDay*float64(o.Keep)/float64(day) <= float64(limit) {
		return 0, true, true
	}
	days := max(0, float64(limit-o.Used)/o.PerDay)
	return time.Duration(min(days, 100*365) * float64(day)), false, true
}

// Sentence says it for people.
func (o Occupancy) Sentence() string {
	text := fmt.Sprintf("The recording takes %s", megabytes(float64(o.Used)))
	full, never, known := o.FullIn()
	switch {
	case !known && math.IsNaN(o.PerDay):
		return text + "; how fast it grows is known after half an hour."
	case !known:
		return text + fmt.Sprintf(" and grows by %s a day; what the disk has left is not known.", megabytes(o.PerDay))
	case never && o.PerDay <= 0:
		return text + " and does not grow: what is old makes room for what is new."
	case never:
		return text + fmt.Sprintf(" and grows by %s a day; it does not fill its %s, since what is old goes first.", megabytes(o.PerDay), megabytes(float64(o.Limit())))
	case full < time.Hour:
		return text + fmt.Sprintf(" of %s: it is full, and the oldest inputs go, then rows, then notes.", megabytes(float64(o.Limit())))
	}
	return text + fmt.Sprintf(" of %s: at %s a day it is full in %s.", megabytes(float64(o.Limit())), megabytes(o.PerDay), inDays(full))
}

func megabytes(n float64) string {
	if n >= 1e9 {
		return fmt.Sprintf("%.3g GB", n/1e9)
	}
	return fmt.Sprintf("%.3g MB", n/1e6)
}

func inDays(d time.Duration) string {
	switch days := d.Hours() / 24; {
	case days >= 2*365:
		return fmt.Sprintf("%.0f years", days/365)
	case days >= 2:
		return fmt.Sprintf("%.0f days", days)
	}
	return fmt.Sprintf("%.0f hours", d.Hours())
}
