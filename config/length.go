package config

import (
	"fmt"

	"flowrigd/calc/uncertainty"
)

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
