package channel

import (
	"flowrigd/calc/quantity"
	"flowrigd/calc/thermocouple"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

// couple turns the millivolts of a thermocouple into a temperature.
type couple struct {
	kind  thermocouple.Type
	fixed *uncertainty.Value // of the cold junction; nil: another instrument measures it
	from  quantity.ID
	wrong string // what is wrong with the configuration, told with every reading; "": nothing
}

func newCouple(t config.Thermocouple) *couple {
	kind, err := thermocouple.Parse(t.Type)
	c := &couple{kind: kind, fixed: t.ColdJunction, from: t.From}
	if err != nil {
		c.wrong = err.Error()
	}
	return c
}

// temperature turns m from millivolts into degrees Celsius and gives it the
// uncertainty that comes from the cold junction.
func (c *couple) temperature(m *Measured, cold func(quantity.ID) (Measured, bool)) *fault {
	if c.wrong != "" {
		return faultf(daq.ReasonRange, "%s", c.wrong)
	}
	junction, f := c.junction(m, cold)
	if f != nil {
		return f
	}
	var u float64
	celsius, err := c.kind.Compensated(m.Value, junction.X)
	if err == nil {
		u, err = c.kind.CompensatedU(celsius, junction.X, 0, junction.U)
	}
	if err != nil {
		return faultf(daq.ReasonRange, "%v", err)
	}
	m.Value = celsius
	m.widen(u, junction.Shape)
	return nil
}

func (c *couple) junction(m *Measured, cold func(quantity.ID) (Measured, bool)) (uncertainty.Value, *fault) {
	if c.fixed != nil {
		return *c.fixed, nil
	}
	var other Measured
	var known bool
	if cold != nil {
		other, known = cold(c.from)
	}
	if !known || !other.Quality.Usable() {
		return uncertainty.Value{}, faultf(daq.ReasonStale, "the cold junction is not known: %s is %s", c.from.Short(), other.Quality)
	}
	if other.Quality.Grade == daq.Uncertain {
		m.doubt(other.Reason, "the cold junction is doubtful: %s: %s", c.from.Short(), other.Quality.Why)
	}
	if other.OtherU > 0 {
		other.Shape = uncertainty.Normal
	}
	return uncertainty.Value{X: other.Value, U: other.StandardU(), Shape: other.Shape}, nil
}
