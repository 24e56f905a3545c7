package web

import (
	"math"
	"net/http"

	"flowrigd/daq"
)

// recordingReply is the room that the recording takes; what is not known is null.
type recordingReply struct {
	Used     int64    `json:"used_bytes"`
	MaxSize  *int64   `json:"max_size_bytes"` // null: no limit
	DiskFree *int64   `json:"disk_free_bytes"`
	PerDay   *float64 `json:"growth_bytes_per_day"`
	FullIn   *float64 `json:"full_in_seconds"` // null: not known, or never, since what is old goes first
	Sentence string   `json:"sentence"`
}

// recording answers how large the recording is, and when it is full.
func (s *Server) recording(http.ResponseWriter, *http.Request) (any, error) {
	if s.opt.History == nil {
		return nil, problem{Status: http.StatusServiceUnavailable, Detail: "nothing is recorded"}
	}
	o, known := s.opt.History.Occupancy()
	if !known {
		return nil, problem{Status: http.StatusServiceUnavailable, Detail: "how large the recording is will be known within a minute of its start; ask again then"}
	}
	reply := recordingReply{Used: o.Used, Sentence: o.Sentence()}
	if o.MaxSize > 0 {
		reply.MaxSize = &o.MaxSize
	}
	if o.DiskFree >= 0 {
		reply.DiskFree = &o.DiskFree
	}
	if !math.IsNaN(o.PerDay) {
		reply.PerDay = &o.PerDay
	}
	if full, never, known := o.FullIn(); known && !never {
		seconds := full.Seconds()
		reply.FullIn = &seconds
	}
	return reply, nil
}

// room says the same on the page; "" while it is not known.
func (s *Server) room() string {
	if s.opt.History == nil {
		return ""
	}
	o, known := s.opt.History.Occupancy()
	if !known {
		return ""
	}
	return o.Sentence()
}

// RecordRoom is the same as metrics: what is not known is absent.
func RecordRoom(o daq.Occupancy, known bool) []Stat {
	if !known {
		return nil
	}
	list := []Stat{RecordSize.Of(float64(o.Used))}
	if limit := o.Limit(); limit >= 0 {
		list = append(list, RecordLimit.Of(float64(limit)))
	}
	if !math.IsNaN(o.PerDay) {
		list = append(list, RecordGrowth.Of(o.PerDay/86400))
	}
	if full, never, known := o.FullIn(); known && !never {
		list = append(list, RecordFull.Of(full.Seconds()))
	}
	return list
}
