package report

import (
	"math"

	"flowrigd/calc/dye"
	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/calc/uncertainty"
)

// The signs by which a critical Re is found.
const (
	byEye      = "eye"
	byEyeHalf  = "eye, half torn"
	byLight    = "light, half torn"
	byPressure = "pressure drop"
)

// looksOf are the minutes as the analysis takes them: those in which the light tells
// what the thread did.
func looksOf(all []minute, bore float64) (looks []transition.Look) {
	begins := true
	for _, m := range all {
		begins = begins || m.begins
		look := transition.Look{
			Reynolds: uncertainty.Expanded(m.of(quantity.Reynolds), m.of(quantity.ReynoldsUncertainty), 2), Celsius: m.of(quantity.TubeTemperature),
			Torn: m.torn, Looks: dye.Looks(minuteLong.Seconds(), m.of(quantity.Velocity), bore), Begins: begins,
		}
		if _, _, err := transition.HalfTorn([]transition.Look{look}, 0); err != nil {
			continue
		}
		looks, begins = append(looks, look), false
	}
	return looks
}

// criticalsByLight are the Re at which the thread is torn for half of the time.
func criticalsByLight(looks []transition.Look) (all []Critical, err error) {
	estimates, _, err := transition.HalfTorn(looks, 0)
	for _, e := range estimates {
		all = append(all, Critical{e, byLight, e.Approach.String(), (e.LowCelsius + e.HighCelsius) / 2})
	}
	return all, err
}

// causes gives the relative standard uncertainties that the fit of an estimate has from
// what is common to all temperatures: the bore, the meter, the thermometer with its
// cold junction. The meter's and the thermometer's change with the temperature.
func (r *Report) causes() func(transition.Estimate) []float64 {
	c := r.Config
	if c == nil {
		return func(transition.Estimate) []float64 { return nil }
	}
	flow, probe := c.Instrument(quantity.Flow), c.Instrument(quantity.Temperature)
	return func(e transition.Estimate) []float64 {
		w, err := waterNear((e.LowCelsius + e.HighCelsius) / 2)
		if err != nil {
			return make([]float64, 4)
		}
		q := e.Fit.Critical.X * math.Pi / 4 * c.Tube.Bore.X * w.KinematicViscosity
		junction := 0.0
		if t := probe.Thermocouple; t != nil && t.ColdJunction != nil {
			junction = t.ColdJunction.U
		}
		slope := math.Abs(w.DLnNuDT)
		return []float64{c.Tube.Bore.Relative(), statedU(flow, q) / q, slope * statedU(probe, e.LowCelsius), slope * junction}
	}
}
