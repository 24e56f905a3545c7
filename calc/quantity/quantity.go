// Package quantity owns the one table of names: every quantity that flowrigd
// measures or derives, with its unit, type and help. JSON fields, CSV and
// database columns and (behind flowrig_) metric names all come from here.
//
//	Table → Set (one value or "unknown" for each row) → JSON, CSV, columns, metrics
//
// It computes nothing and knows no clock, file or network.
package quantity

import "slices"

// ID numbers a row of Table.
type ID uint8

// The rows of Table, in the order in which they are shown.
const (
	Flow ID = iota
	Temperature
	Level
	HeaterOutlet
	Tank
	Ambient
	SupplyFlow
	SupplyOn
	HeaterOn
	PressureDrop
	Meter
	DyeLight
	Density
	DynamicViscosity
	KinematicViscosity
	Velocity
	TubeTemperature
	TubeTemperatureFall
	Reynolds
	ReynoldsUncertainty
	GrashofReynoldsRatio
	Regime
	ProbabilityBelow
	ProbabilityBetween
	ProbabilityAbove
	FrictionFactor
	EntranceLength
	Developed
	Head
	LossCoefficient
	LossCoefficientUncertainty
	TemperatureRate
	SecondsToOverheat
	LaminarLimitFlow
	TurbulentLimitFlow
	Steady
	SettlingSeconds
	MeasuredFriction
	MeasuredFrictionUncertainty
	DisturbedFraction
	HeatingPermitted
	Count // the number of rows, not a quantity
)

// Kind says how a value is written.
type Kind uint8

// The kinds.
const (
	Number  Kind = iota // a float64 in the row's unit
	Boolean             // 0 or 1
	Word                // one of the regime words
)

// Row describes one quantity.
type Row struct {
	Name     string // the full name with its unit: the word of every interface
	Short    string // the name without unit: instruments and alarms in the configuration
	Unit     string // SI or degrees Celsius, as OpenMetrics writes it; "" without unit
	Kind     Kind
	Measured bool // an instrument may supply it
	Required bool // no rig works without it
	Help     string
}

// Table holds every quantity, indexed by ID.
var Table = [Count]Row{
	Flow:                        {"flow_cubic_meters_per_second", "flow", "cubic_meters_per_second", Number, true, true, "Volume flow through the tube."},
	Temperature:                 {"temperature_celsius", "temperature", "celsius", Number, true, true, "Water temperature at the inlet of the tube."},
	Level:                       {"level_meters", "level", "meters", Number, true, true, "Water level in the head tank above the datum of the level sensor."},
	HeaterOutlet:                {"heater_outlet_celsius", "heater_outlet", "celsius", Number, true, false, "Water temperature at the outlet of the supply heater."},
	Tank:                        {"tank_celsius", "tank", "celsius", Number, true, false, "Water temperature in the head tank."},
	Ambient:                     {"ambient_celsius", "ambient", "celsius", Number, true, false, "Air temperature in the room."},
	SupplyFlow:                  {"supply_flow_cubic_meters_per_second", "supply_flow", "cubic_meters_per_second", Number, true, false, "Volume flow of the supply through the heater."},
	SupplyOn:                    {"supply_on", "supply_on", "", Boolean, true, false, "Whether the supply through the heater is proven."},
	HeaterOn:                    {"heater_on", "heater_on", "", Boolean, true, false, "Whether the heater draws power."},
	PressureDrop:                {"pressure_drop_pascals", "pressure_drop", "pascals", Number, true, false, "Pressure drop along the tube."},
	Meter:                       {"meter_celsius", "meter", "celsius", Number, true, false, "Water temperature in the flow meter, where it is not that of the tube."},
	DyeLight:                    {"dye_light_ratio", "dye_light", "ratio", Number, true, false, "Light that reaches a photodiode through the tube where the dye thread passes, 0 to 1."},
	Density:                     {"density_kg_per_cubic_meter", "density", "kg_per_cubic_meter", Number, false, false, "Density of liquid water at 0.1 MPa, where the dye is watched."},
	DynamicViscosity:            {"dynamic_viscosity_pascal_seconds", "dynamic_viscosity", "pascal_seconds", Number, false, false, "Dynamic viscosity of liquid water at 0.1 MPa, where the dye is watched."},
	KinematicViscosity:          {"kinematic_viscosity_square_meters_per_second", "kinematic_viscosity", "square_meters_per_second", Number, false, false, "Kinematic viscosity of liquid water at 0.1 MPa, where the dye is watched."},
	Velocity:                    {"velocity_meters_per_second", "velocity", "meters_per_second", Number, false, false, "Mean velocity in the tube."},
	TubeTemperature:             {"tube_temperature_celsius", "tube_temperature", "celsius", Number, false, false, "Water temperature where the dye is watched, from that at the inlet by the heat lost and the time on the way."},
	TubeTemperatureFall:         {"tube_temperature_fall_kelvin", "tube_temperature_fall", "kelvin", Number, false, false, "Fall of the water temperature from the inlet to the outlet of the tube; negative where the room warms it."},
	Reynolds:                    {"reynolds_number", "reynolds_number", "", Number, false, false, "Reynolds number on the bore of the tube where the dye is watched."},
	ReynoldsUncertainty:         {"reynolds_number_uncertainty", "reynolds_number_uncertainty", "", Number, false, false, "Expanded uncertainty (k = 2) of the Reynolds number."},
	GrashofReynoldsRatio:        {"grashof_reynolds_ratio", "grashof_reynolds_ratio", "", Number, false, false, "Gr/Re on the bore and the difference between bulk and wall at the outlet: how far the wall bends the laminar profile."},
	Regime:                      {"regime", "regime", "", Word, false, false, "Flow regime by the Reynolds number against its two limits."},
	ProbabilityBelow:            {"probability_below_limits", "probability_below_limits", "", Number, false, false, "Probability that the true Reynolds number lies below both limits."},
	ProbabilityBetween:          {"probability_between_limits", "probability_between_limits", "", Number, false, false, "Probability that the true Reynolds number lies between the limits."},
	ProbabilityAbove:            {"probability_above_limits", "probability_above_limits", "", Number, false, false, "Probability that the true Reynolds number lies above both limits."},
	FrictionFactor:              {"friction_factor", "friction_factor", "", Number, false, false, "Darcy friction factor; absent between the limits and where heat has bent the laminar profile."},
	EntranceLength:              {"entrance_length_meters", "entrance_length", "meters", Number, false, false, "Length in which the flow develops; absent between the limits and where heat has bent the laminar profile."},
	Developed:                   {"developed", "developed", "", Boolean, false, false, "Whether the tube is longer than the entrance length."},
	Head:                        {"head_meters", "head", "meters", Number, false, false, "Water level above the outlet of the tube."},
	LossCoefficient:             {"loss_coefficient", "loss_coefficient", "", Number, false, false, "Coefficient of all losses but tube friction, the valve's above all."},
	LossCoefficientUncertainty:  {"loss_coefficient_uncertainty", "loss_coefficient_uncertainty", "", Number, false, false, "Expanded uncertainty (k = 2) of the loss coefficient."},
	TemperatureRate:             {"temperature_rate_kelvin_per_second", "temperature_rate", "kelvin_per_second", Number, false, false, "Slope of the water temperature over the last minute."},
	SecondsToOverheat:           {"seconds_to_overheat", "seconds_to_overheat", "", Number, false, false, "Time to the overheat limit at the present slope; absent when not rising."},
	LaminarLimitFlow:            {"laminar_limit_flow_cubic_meters_per_second", "laminar_limit_flow", "cubic_meters_per_second", Number, false, false, "Flow at which the Reynolds number meets the lower limit at this temperature."},
	TurbulentLimitFlow:          {"turbulent_limit_flow_cubic_meters_per_second", "turbulent_limit_flow", "cubic_meters_per_second", Number, false, false, "Flow at which the Reynolds number meets the upper limit at this temperature."},
	Steady:                      {"steady", "steady", "", Boolean, false, false, "Whether flow, temperature and level are stationary over the window."},
	SettlingSeconds:             {"settling_seconds", "settling_seconds", "", Number, false, false, "Least time until the rig can be steady, s; absent when steady."},
	MeasuredFriction:            {"measured_friction_factor", "measured_friction_factor", "", Number, false, false, "Darcy friction factor from the measured pressure drop."},
	MeasuredFrictionUncertainty: {"measured_friction_factor_uncertainty", "measured_friction_factor_uncertainty", "", Number, false, false, "Expanded uncertainty (k = 2) of the measured friction factor."},
	DisturbedFraction:           {"disturbed_fraction", "disturbed_fraction", "", Number, false, false, "Share of time with a torn dye thread over the window (the intermittency), 0 to 1."},
	HeatingPermitted:            {"heating_permitted", "heating_permitted", "", Boolean, false, false, "State of the heating permit output; absent without one."},
}

// Name is the full name of the quantity, with its unit.
func (id ID) Name() string { return Table[id].Name }

// Short is the name of the quantity without its unit.
func (id ID) Short() string { return Table[id].Short }

// ByShort finds a quantity by its name without unit.
func ByShort(short string) (ID, bool) { return find(func(r Row) bool { return r.Short == short }) }

// ByName finds a quantity by its full name.
func ByName(name string) (ID, bool) { return find(func(r Row) bool { return r.Name == name }) }

func find(is func(Row) bool) (ID, bool) {
	i := slices.IndexFunc(Table[:], is)
	return ID(max(i, 0)), i >= 0
}
