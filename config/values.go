package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"

	"flowrigd/calc/uncertainty"
)

// integer reads a whole number between low and high.
func (s *section) integer(key string, byDefault, low, high int64) int64 {
	n := s.take(key)
	if n == nil {
		return byDefault
	}
	v, err := strconv.ParseInt(strings.ReplaceAll(n.text, "_", ""), 0, 64)
	switch {
	case n.kind != unstable.Integer:
		s.bad(key, n, kindName(n)+" where a whole number belongs", fmt.Sprintf("write a number from %d to %d without quotes", low, high))
	case err != nil || v < low || v > high:
		s.bad(key, n, n.text+" is out of range", fmt.Sprintf("write a number from %d to %d", low, high))
	default:
		return v
	}
	return byDefault
}

// number reads a finite number without a unit.
func (s *section) number(key string) (float64, *node) {
	n := s.take(key)
	if n == nil {
		return 0, nil
	}
	v, ok := n.number()
	if !ok {
		s.bad(key, n, kindName(n)+" where a number belongs", "write a finite number without quotes and without a unit")
		return 0, nil
	}
	return v, n
}

// number is the value of a finite Integer or Float.
func (n *node) number() (float64, bool) {
	text := strings.ReplaceAll(n.text, "_", "")
	switch n.kind {
	case unstable.Integer:
		v, err := strconv.ParseInt(text, 0, 64)
		return float64(v), err == nil
	case unstable.Float:
		v, err := strconv.ParseFloat(text, 64)
		return v, err == nil && !math.IsInf(v, 0) && !math.IsNaN(v)
	}
	return 0, false
}

// measured reads a quantity with its uncertainty.
func (s *section) measured(key string, d Dimension) (uncertainty.Value, *node) {
	if n := s.take(key); n != nil {
		if v, ok := s.parse(key, n, d); ok {
			return v, n
		}
	}
	return uncertainty.Value{}, nil
}

// parse reads a quantity from a node; a plain number serves where no unit is.
func (s *section) parse(key string, n *node, d Dimension) (uncertainty.Value, bool) {
	if x, ok := n.number(); ok && d == None {
		return uncertainty.Value{X: x}, true
	}
	if n.kind != unstable.String {
		s.bad(key, n, kindName(n)+" where a quantity belongs", "write text in quotes with a unit, such as "+strconv.Quote(byDimension[d].example))
		return uncertainty.Value{}, false
	}
	v, err := ParseQuantity(n.text, d)
	if err != nil {
		m := err.(*Mistake)
		s.bad(key, n, m.Wrong, m.Remedy)
		return uncertainty.Value{}, false
	}
	return v, true
}

// setting reads a quantity that takes no ±.
func (s *section) setting(key string, d Dimension) (float64, *node) {
	v, n := s.measured(key, d)
	if n != nil && strings.Contains(tidy(n.text), "±") {
		s.bad(key, n, quoted(n.text)+": a setting has no uncertainty", "leave ± and what follows out")
		return 0, nil
	}
	return v.X, n
}

// within reads a setting between low and high.
func (s *section) within(key string, d Dimension, byDefault, low, high float64) float64 {
	v, n := s.setting(key, d)
	switch {
	case n == nil:
		return byDefault
	case v < low || v > high:
		s.bad(key, n, quoted(n.text)+" is out of range", fmt.Sprintf("write %s from %s to %s", byDimension[d].name, Format(low, d), Format(high, d)))
		return byDefault
	}
	return v
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

// duration reads a time between low and high.
func (s *section) duration(key string, byDefault, low, high time.Duration) time.Duration {
	v := s.within(key, Time, byDefault.Seconds(), low.Seconds(), high.Seconds())
	return time.Duration(math.Round(v * 1e9))
}

// requiredLength reads a length with its uncertainty that must be written.
func (s *section) requiredLength(key, example string, low, high float64) uncertainty.Value {
	s.require(key, fmt.Sprintf("write %s = %q", key, example))
	return s.lengthWithin(key, low, high)
}

// lengthWithin reads a length with its uncertainty. One that is out of range,
// or no better known than itself, is reported.
func (s *section) lengthWithin(key string, low, high float64) uncertainty.Value {
	v, n := s.measured(key, Length)
	switch {
	case n == nil:
		return uncertainty.Value{}
	case v.X < low || v.X > high:
		s.bad(key, n, quoted(n.text)+" is out of range", fmt.Sprintf("write a length from %s to %s", Format(low, Length), Format(high, Length)))
	case low > 0 && v.U > v.X/4:
		s.bad(key, n, quoted(n.text)+": the uncertainty is as large as the length", "measure it better, or check the unit behind ±")
	case HalfWidth(v) > high-low:
		s.bad(key, n, quoted(n.text)+": the uncertainty is out of range", "write ± up to "+Format(high-low, Length)+", or check the unit behind ±")
	default:
		return v
	}
	return uncertainty.Value{}
}
