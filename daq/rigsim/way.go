package rigsim

import "math"

// way is the water's way through the tube: when each parcel came in, how warm,
// and how much the tube has cooled since. Plug flow: the parcel at x entered
// when the water had run x less.
type way struct {
	run    float64 // m that the water has run, ∫v dt
	cooled float64 // ∫k dt: a parcel's difference to the room has fallen by e to this power
	inlet  float64 // °C of what comes in now
	since  float64 // s since the last entry
	ring   [entries]parcel
	newest int
	count  int
}

// parcel is what the water was as it came in.
type parcel struct{ run, cooled, inlet float64 }

// fill is a tube through which water of one temperature has long run with
// velocity v and the rate k of cooling.
func (w *way) fill(v, k, inlet, length float64) {
	*w = way{inlet: inlet, count: 2, newest: 1}
	far := 2 * length
	w.ring[0] = parcel{-far, -k * far / math.Max(v, 1e-6), inlet}
	w.ring[1] = parcel{0, 0, inlet}
}

func (w *way) step(dt, v, k, inlet float64) {
	w.run += v * dt
	w.cooled += k * dt
	w.inlet = inlet
	if w.since += dt; w.since < entryEvery-1e-9 || w.run-w.ring[w.newest].run < entryApart {
		return
	}
	w.since = 0
	w.newest = (w.newest + 1) % entries
	w.count = min(w.count+1, entries)
	w.ring[w.newest] = parcel{w.run, w.cooled, inlet}
}

// at is the temperature at x metres from the inlet, °C.
func (w *way) at(x, room float64) float64 {
	if x <= 0 {
		return w.inlet
	}
	p := w.entered(w.run - x)
	return room + (p.inlet-room)*math.Exp(p.cooled-w.cooled)
}

// entered finds the parcel that came in when the water had run so far.
func (w *way) entered(run float64) parcel {
	// age counts back from the newest entry; the one at low is not older than
	// run, the one at high is.
	low, high := -1, w.count-1
	for high-low > 1 {
		if mid := (low + high) / 2; w.back(mid).run >= run {
			low = mid
		} else {
			high = mid
		}
	}
	late, early := parcel{w.run, w.cooled, w.inlet}, w.back(high)
	if low >= 0 {
		late = w.back(low)
	}
	if late.run <= early.run {
		return late
	}
	share := math.Max(0, math.Min(1, (run-early.run)/(late.run-early.run)))
	return parcel{run, early.cooled + share*(late.cooled-early.cooled), early.inlet + share*(late.inlet-early.inlet)}
}

func (w *way) back(age int) parcel { return w.ring[(w.newest-age+entries)%entries] }
