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
	celsius := value(s, waterTemperature(s))
	if o.Reynolds == nil || celsius == nil {
		return o, nil // nothing to hold it against
	}
	one := seen{s.Time, o.Experiment, band, o.Approach, *o.Reynolds, *celsius, 0}
	if o.ReynoldsUncertainty != nil {
		one.u = *o.ReynoldsUncertainty
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

// contradicts says whether the flow was more disturbed at the lower Re, on the same
// way there: coming down it stays disturbed longer than going up it becomes so.
func (o *seen) contradicts(before *seen) bool {
	unknown := unknownApproach
	if o.experiment != before.experiment || math.Abs(o.celsius-before.celsius) > sameTemperature ||
		o.approach != before.approach && o.approach != unknown && before.approach != unknown {
		return false
	}
	return o.band > before.band && o.re <= before.re || o.band < before.band && o.re >= before.re
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
	re, celsius := n.meanOf(p, quantity.Reynolds), n.meanOf(p, quantity.TubeTemperature)
	if celsius.Value == nil {
		celsius = n.meanOf(p, quantity.Temperature)
	}
	if re.Value == nil || celsius.Value == nil {
		return ""
	}
	for _, o := range slices.Backward(n.observations) {
		width := o.u
		if re.Expanded != nil {
			width = max(width, *re.Expanded)
		}
		width = cmp.Or(width, approachShare*o.re)
		if o.experiment == p.Experiment && math.Abs(o.re-*re.Value) <= width && math.Abs(o.celsius-*celsius.Value) <= sameTemperature {
			return o.band.String()
		}
	}
	if share, watched := s.Values.Get(quantity.DisturbedFraction); watched { // of the last minute already
		return bandSeen(share).String()
	}
	return ""
}

func (n *Notebook) meanOf(p *daq.TestPoint, id quantity.ID) daq.Mean {
	return p.Means[slices.Index(daq.PointQuantities[:], id)]
}
