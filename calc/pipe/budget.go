package pipe

import "flowrigd/calc/uncertainty"

// Budget lists the contributions to the standard uncertainty of the Reynolds
// number, for people. It is empty where the Reynolds number is unknown.
func (p *Pipe) Budget(in Inputs) []uncertainty.Contribution {
	inlet, liquid := p.inlet(in.Temperature)
	if !p.flowing(in.Flow) || !liquid {
		return nil
	}
	d := p.atDye(&in, &inlet)
	if !d.liquid {
		return nil
	}
	re := Reynolds(d.flow, p.bore, d.water.KinematicViscosity)
	r := p.relative(&in, &d)
	rows := []uncertainty.Contribution{
		{Name: "flow", X: in.Flow.X, U: in.Flow.U, Sensitivity: re * r.perFlow / in.Flow.X},
		{Name: "flow, further", X: in.Flow.X, U: in.Flow.OtherU, Sensitivity: re * r.perFlow / in.Flow.X},
		{Name: "water in the meter", X: in.Meter.X, U: d.meterKelvin, Sensitivity: re * r.perFlow * d.meterSlope},
		{Name: "bore", X: p.bore, U: p.rig.Bore.U, Sensitivity: re * r.perBore / p.bore},
		{Name: "temperature", X: in.Temperature.X, U: in.Temperature.U, Sensitivity: re * r.perKelvin},
		{Name: "temperature, further", X: in.Temperature.X, U: in.Temperature.OtherU, Sensitivity: re * r.perKelvin},
		{Name: "heat lost", X: d.fall.Kelvin, U: r.surroundings, Sensitivity: -re * r.perKelvinDye},
		{Name: "time on the way", X: in.OnTheWay.X, U: r.onTheWay, Sensitivity: re * r.perKelvinDye},
		{Name: "viscosity formula", X: d.water.KinematicViscosity, U: d.water.KinematicU, Sensitivity: -re / d.water.KinematicViscosity},
		{Name: "hardness and dye", X: d.water.KinematicViscosity, U: r.extra * d.water.KinematicViscosity, Sensitivity: -re / d.water.KinematicViscosity},
	}
	return withoutZeros(rows)
}

// withoutZeros drops the optional rows that nobody gave.
func withoutZeros(rows []uncertainty.Contribution) []uncertainty.Contribution {
	kept := rows[:0]
	for _, row := range rows {
		if row.U != 0 {
			kept = append(kept, row)
		}
	}
	return kept
}
