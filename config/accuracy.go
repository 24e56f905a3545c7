package config

import (
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// quality reads what is known of an instrument's quality: range, accuracy,
// calibration and the largest step to believe.
func (s *section) quality(in *Instrument) {
	d := DimensionOf(in.ID)
	in.Range = s.rangeOf(d)
	in.Correct = s.correct(d)
	in.MaxStep = s.positive("max_step", d.difference())
	in.Accuracy = below(s, "accuracy", func(t *section) *Accuracy { return t.accuracy(s.node.child("range") != nil, d) })
}

// positive reads a setting above zero; 0 where it is not written.
func (s *section) positive(key string, d Dimension) float64 {
	v, n := s.setting(key, d)
	if n != nil && v <= 0 {
		s.bad(key, n, quoted(n.text)+" is not above zero", remedyQuantity(d))
		return 0
	}
	return v
}

func (s *section) notNegative(key string, byDefault float64, d Dimension) float64 {
	v, n := s.setting(key, d)
	switch {
	case n == nil:
		return byDefault
	case v < 0:
		s.bad(key, n, quoted(n.text)+" is below zero", "write it without the minus")
		return byDefault
	}
	return v
}

func (s *section) rangeOf(d Dimension) *Range {
	n := s.pair("range", fmt.Sprintf("[%q, %q]", byDimension[d].example, byDimension[d].example))
	if n == nil {
		return nil
	}
	low, lowOK := s.plainIn("range", n[0], d)
	high, highOK := s.plainIn("range", n[1], d)
	switch {
	case !lowOK || !highOK:
		return nil
	case low >= high:
		s.bad("range", n[1], fmt.Sprintf("%s is not above %s", quoted(n[1].text), quoted(n[0].text)), "write the lower end first")
		return nil
	}
	return &Range{low, high}
}

// correct reads a calibration: indicated and true, both rising.
func (s *section) correct(d Dimension) (points []CorrectPoint) {
	const remedy = `write at least two points, indicated and true, such as [["0 mm", "1.2 mm"], ["400 mm", "399.1 mm"]]`
	n := s.take("correct")
	switch {
	case n == nil:
		return nil
	case n.kind != unstable.Array || len(n.children) < 2:
		s.bad("correct", n, "a calibration of fewer than two points", remedy)
		return nil
	}
	for _, c := range n.children {
		if c.kind != unstable.Array || len(c.children) != 2 {
			s.bad("correct", c, "a point that is not two values", remedy)
			return nil
		}
		indicated, ok1 := s.plainIn("correct", c.children[0], d)
		truth, ok2 := s.plainIn("correct", c.children[1], d)
		if !ok1 || !ok2 {
			return nil
		}
		p := CorrectPoint{indicated, truth}
		if len(points) > 0 && (p.Indicated <= points[len(points)-1].Indicated || p.True <= points[len(points)-1].True) {
			s.bad("correct", c, "the point does not lie above the one before it", "write the points in rising order, indicated and true")
			return nil
		}
		points = append(points, p)
	}
	return points
}

func (s *section) accuracy(ranged bool, d Dimension) *Accuracy {
	a := &Accuracy{
		OfReading: s.within("of_reading", Percent, 0, 0, 1),
		OfSpan:    s.within("of_span", Percent, 0, 0, 1),
		Fixed:     s.notNegative("fixed", 0, d.difference()),
	}
	if len(s.node.children) == 0 {
		s.refuse(s.node, s.name+": no figure", "write of_reading, of_span or fixed")
	}
	if span := s.node.child("of_span"); span != nil && !ranged {
		s.bad("of_span", span, "the span is not known", "write range beside accuracy")
	}
	return a
}
