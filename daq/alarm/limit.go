package alarm

// Limit is a high limit, or a low one, with its deadband, all in one unit.
type Limit struct {
	Value    float64
	Low      bool
	Deadband float64
}

// Judge gives the condition of a value. A high alarm is set above the limit and,
// once active, clears only below limit − deadband; a low one the other way
// round (OPC 10000-9 B.1.5, which follows the two standards).
func (l Limit) Judge(value float64, active bool) Condition {
	excess := value - l.Value
	if l.Low {
		excess = -excess
	}
	if excess > 0 || active && excess >= -l.Deadband {
		return Set
	}
	return Clear
}
