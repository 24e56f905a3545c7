package experiment

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/daq"
)

// What makes the conditions of two observations the same, and an approach (common
// practice, no source): Re came here from where it was different by more than its
// scatter over a few seconds.
const (
	observationsKept = 200
	sameTemperature  = 2.0  // K
	approachShare    = 0.03 // of Re
	approachSpan     = 5 * time.Second
)

// seen is an observation as later ones are held against it.
type seen struct {
	at          time.Time
	experiment  string
	band        quantity.Band
	approach    string
	re, celsius float64
	u           float64 // expanded, of Re
}

// observe writes down what the dye shows.
func (n *Notebook) observe(a *daq.ObserveAsk, s *daq.State, who string) (*daq.Observation, error) {
	band, ok := quantity.ParseBand(a.Seen)
	if !ok || band != quantity.Laminar && band != quantity.Transitional && band != quantity.Turbulent {
		return nil, fmt.Errorf("seen: %q is not what a dye thread shows; write laminar, transitional or turbulent", a.Seen)
	}
	o := &daq.Observation{Time: s.Time, Who: who, Experiment: n.experiment(), Seen: a.Seen, Note: a.Note, Approach: n.approach(s.Mono), Conditions: conditions(s)}
	one, ok := seenOf(o)
	if !ok {
		return o, nil // nothing to hold it against
	}
	for _, before := range slices.Backward(n.observations) {
		if one.contradicts(&before) {
			o.Contradicts = before.at
			break
		}
	}
	n.observations = append(n.observations, one)
	n.observations = n.observations[max(0, len(n.observations)-observationsKept):]
	return o, nil
}

// seenOf is false for one whose conditions are not known.
func seenOf(o *daq.Observation) (one seen, ok bool) {
	band, ok := quantity.ParseBand(o.Seen)
	celsius := o.Water()
	if !ok || o.Reynolds == nil || celsius == nil {
		return one, false
	}
	one = seen{o.Time, o.Experiment, band, o.Approach, *o.Reynolds, *celsius, 0}
	if o.ReynoldsUncertainty != nil {
		one.u = *o.ReynoldsUncertainty
	}
	return one, true
}

// apart is the least part of Re by which a laminar and a turbulent thread are apart on the
// same way (common practice, no source).
const apart = 0.02

// contradicts says whether the flow was more disturbed at the lower Re, on the same
// way there: coming down it stays disturbed longer than going up it becomes so. At next to
// the same Re it is not laminar once and turbulent once.
func (o *seen) contradicts(before *seen) bool {
	unknown := unknownApproach
	if o.experiment != before.experiment || math.Abs(o.celsius-before.celsius) > sameTemperature ||
		o.approach != before.approach && o.approach != unknown && before.approach != unknown {
		return false
	}
	low, high := o, before // by what was seen
	if o.band > before.band {
		low, high = before, o
	}
	switch {
	case low.band == high.band:
		return false
	case low.band == quantity.Laminar && high.band == quantity.Turbulent:
		return high.re <= low.re*(1+apart)
	}
	return high.re <= low.re
}

const unknownApproach = "unknown"

// approach is the way on which Re came to what it is now.
func (n *Notebook) approach(now time.Duration) string {
	list := n.past.ordered()
	here, known := average(between(list, now-approachSpan, now), quantity.Reynolds)
	oldest, some := n.past.oldest()
	if !known || !some {
		return unknownApproach
	}
	for to := now - approachSpan; to > oldest; to -= approachSpan {
		there, known := average(between(list, to-approachSpan, to), quantity.Reynolds)
		switch {
		case !known:
			return unknownApproach
		case there < here*(1-approachShare):
			return transition.Rising.String()
		case there > here*(1+approachShare):
			return transition.Falling.String()
		}
	}
	return unknownApproach
}

// observed is what was seen last at the conditions of a test point by a person, or else
// what the light shows there; "" for nothing.
func (n *Notebook) observed(p *daq.TestPoint, s *daq.State) string {
	at, known := placeOf(p)
	if !known {
		return ""
	}
	for _, o := range slices.Backward(n.observations) {
		if at.holds(&o) {
			return o.band.String()
		}
	}
	if share, watched := s.Values.Get(quantity.DisturbedFraction); watched { // of the last minute already
		return bandSeen(share).String()
	}
	return ""
}

// place are the conditions of a test point; u, expanded, is 0 where it is not known.
type place struct {
	experiment     string
	re, u, celsius float64
}

// placeOf is false where Re or temperature is not known.
func placeOf(p *daq.TestPoint) (place, bool) {
	re, celsius := meanOf(p, quantity.Reynolds), meanOf(p, quantity.TubeTemperature)
	if celsius.Value == nil {
		celsius = meanOf(p, quantity.Temperature)
	}
	if re.Value == nil || celsius.Value == nil {
		return place{}, false
	}
	at := place{p.Experiment, *re.Value, 0, *celsius.Value}
	if re.Expanded != nil {
		at.u = *re.Expanded
	}
	return at, true
}

// holds says whether an observation is of the same conditions.
func (at *place) holds(o *seen) bool {
	width := cmp.Or(max(o.u, at.u), approachShare*o.re)
	return o.experiment == at.experiment && math.Abs(o.re-at.re) <= width && math.Abs(o.celsius-at.celsius) <= sameTemperature
}

func meanOf(p *daq.TestPoint, id quantity.ID) daq.Mean {
	return p.Means[slices.Index(daq.PointQuantities[:], id)]
}
