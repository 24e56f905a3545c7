package web

import (
	"sync"
	"time"
)

// Many pages ask for the same trends every few seconds: what is answered to one is
// answered to all.
const (
	// sharedFor is how old an answer up to the present may be; what is asked for the window
	// that such an answer named may be twice that.
	sharedFor = 2 * time.Second
	// sharedMost and sharedSize, in bytes, bound what is kept.
	sharedMost, sharedSize = 32, 64 << 10
)

// sharedTrends keeps the newest answers, encoded.
type sharedTrends struct {
	mu   sync.Mutex
	list []sharedTrend // the newest last
}

type sharedTrend struct {
	asked   string // the query
	open    bool   // it named no end
	to      string // the end of the window
	made    time.Time
	encoded object
}

// find gives the answer to a query, unless it is too old.
func (a *sharedTrends) find(asked string, now time.Time) (object, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, one := range a.list {
		limit := 2 * sharedFor
		if one.open {
			limit = sharedFor
		}
		if one.asked == asked && now.Sub(one.made).Abs() < limit {
			return one.encoded, true
		}
	}
	return nil, false
}

// keep takes an answer up to the present, and one for a window that such an answer named;
// any other is nobody else's.
func (a *sharedTrends) keep(one sharedTrend) {
	a.mu.Lock()
	defer a.mu.Unlock()
	named := one.open
	for _, other := range a.list {
		named = named || other.open && other.to == one.to
	}
	if !named || len(one.encoded) > sharedSize {
		return
	}
	a.list = append(a.list[max(0, len(a.list)-sharedMost+1):len(a.list):len(a.list)], one)
}
