package rigsim

import (
	"math"

	"flowrigd/calc/quantity"
)

// model is an instrument as its papers describe it: limits of error, response,
// wiring and the text of its table in rig.toml, so that what the rig does and
// what the configuration says cannot part.
type model struct {
	id   quantity.ID
	line string
	unit byte   // Modbus address; 0 on a text line
	bank bank   // table of the slave
	at   uint16 // first register or bit

	ofReading float64 // limits of error: fraction of the value,
	fixed     float64 // and fixed, SI
	response  float64 // s, the longest time constant that the maker states

	words func(number float64) []uint16 // how the number stands in registers; nil: a bit or text
	// number is what the wire carries for a value in SI, quantised.
	number func(si float64) float64
	config string // the rest of its table in rig.toml
}

// bank is one of the four tables of a Modbus slave, by the function that reads
// it.
type bank byte

const (
	coils    bank = 1
	discrete bank = 2
	holding  bank = 3
	input    bank = 4
)

// The lines of the rig.
const (
	lineBus = "bus"
	lineTC  = "tc"
	lineAir = "air"
)

// Level transmitter: 4 to 20 mA as microamperes over 400 mm; above 21 mA it
// reports its own failure (NAMUR NE 43).
const (
	levelSpan   = 0.400 // m
	levelFailed = 21_800
)

// pulsesPerLitre is the supply meter's factor.
const pulsesPerLitre = 1420

// catalogue lists every instrument of the rig, in the order of the table of
// quantities. Limits are of the size that makers state for such instruments
// (common practice, no source).
func catalogue() []model {
	return []model{flowMeter(), waterThermocouple(), levelTransmitter(), outletProbe(), tankProbe(), roomThermometer(), supplyMeter(), heaterContact(), photodiode(), pressureTransmitter()}
}

// flowMeter sits behind the tube.
func flowMeter() model {
	return model{
		id: quantity.Flow, line: lineBus, unit: 1, bank: input, at: 0,
		ofReading: 0.005, fixed: 0.005 * litreAMinute, response: 1,
		words: float32Words, number: func(si float64) float64 { return round(math.Max(0, si/litreAMinute), 0.001) },
		config: `every = "200 ms"
modbus = {address = 1, table = "input", register = 0, type = "float32", words = "big"}
unit = "L/min"
range = ["0.2 L/min", "12 L/min"]
accuracy = {of_reading = "0.5 %", fixed = "0.005 L/min"}
lag = "1 s"`,
	}
}

// waterThermocouple is a type K couple on a millivolt input, at the tube's inlet.
func waterThermocouple() model {
	return model{
		id: quantity.Temperature, line: lineTC,
		fixed: 1.5, response: 2,
		config: `every = "500 ms"
query = {send = "T?\r", reply = "T={value}", end = "\r\n"}
unit = "mV"
thermocouple = {type = "K", cold_junction = "23 Cel ± 0.5 K"}
range = ["0 Cel", "110 Cel"]
accuracy = {fixed = "1.5 K"}
lag = "2 s"`,
	}
}

// levelTransmitter stands in the head tank.
func levelTransmitter() model {
	return model{
		id: quantity.Level, line: lineBus, unit: 2, bank: holding, at: 16,
		fixed: 0.001, response: 0.5,
		words: uint16Words, number: func(si float64) float64 { return math.Round(4000 + 16000*si/levelSpan) },
		config: `every = "200 ms"
modbus = {reference = 40017, address = 2, type = "uint16"}
scale = {from = [4000, 20000], to = ["0 mm", "400 mm"]}
range = ["0 mm", "400 mm"]
accuracy = {fixed = "1 mm"}
lag = "500 ms"`,
	}
}

// outletProbe is clamped to the heater's outlet.
func outletProbe() model {
	return model{
		id: quantity.HeaterOutlet, line: lineBus, unit: 3, bank: input, at: 0,
		fixed: 0.5, response: 5,
		words: uint16Words, number: hundredths,
		config: `every = "500 ms"
modbus = {address = 3, table = "input", register = 0, type = "uint16"}
scale = {from = [0, 15000], to = ["0 Cel", "150 Cel"]}
accuracy = {fixed = "0.5 K"}
lag = "5 s"`,
	}
}

// tankProbe hangs in the head tank.
func tankProbe() model {
	return model{
		id: quantity.Tank, line: lineBus, unit: 3, bank: input, at: 1,
		fixed: 0.5, response: 5,
		words: uint16Words, number: hundredths,
		config: `every = "500 ms"
modbus = {address = 3, table = "input", register = 1, type = "uint16"}
scale = {from = [0, 15000], to = ["0 Cel", "150 Cel"]}
accuracy = {fixed = "0.5 K"}
lag = "5 s"`,
	}
}

// roomThermometer sends unprompted.
func roomThermometer() model {
	return model{
		id: quantity.Ambient, line: lineAir,
		fixed: 0.5, response: 20,
		number: func(si float64) float64 { return round(si, 0.01) },
		config: `every = "1 s"
stream = {line = "A={value};", end = "\n"}
checksum = "xor"
unit = "Cel"
range = ["-20 Cel", "60 Cel"]
accuracy = {fixed = "0.5 K"}`,
	}
}

// supplyMeter counts pulses in the supply.
func supplyMeter() model {
	return model{
		id: quantity.SupplyFlow, line: lineBus, unit: 4, bank: input, at: 0,
		ofReading: 0.01,
		words:     uint16Words,
		config: `every = "500 ms"
modbus = {address = 4, table = "input", register = 0, type = "uint16"}
pulses = {per_litre = 1420, bits = 16, window = "2 s"}
accuracy = {of_reading = "1 %"}`,
	}
}

// heaterContact is an auxiliary contact of the heater's contactor.
func heaterContact() model {
	return model{
		id: quantity.HeaterOn, line: lineBus, unit: 4, bank: discrete, at: 0,
		number: func(si float64) float64 { return si },
		config: `every = "500 ms"
modbus = {address = 4, table = "discrete", register = 0}`,
	}
}

// photodiode looks through the tube where the dye is watched; its amplifier
// answers with thousandths of the light without a tube.
func photodiode() model {
	return model{
		id: quantity.DyeLight, line: lineBus, unit: 5, bank: input, at: 0,
		fixed: 0.01,
		words: uint16Words, number: func(si float64) float64 { return math.Round(1000 * si) },
		config: `every = "200 ms"
modbus = {address = 5, table = "input", register = 0, type = "uint16"}
scale = {from = [0, 1000], to = ["0 %", "100 %"]}
range = ["0 %", "100 %"]
accuracy = {fixed = "1 %"}`,
	}
}

// pressureTransmitter sits between the ends of the tube, its high side upstream, on two
// legs filled with water of the room's temperature. It is a low-range one: laminar water
// loses some 25 Pa here.
func pressureTransmitter() model {
	return model{
		id: quantity.PressureDrop, line: lineBus, unit: 6, bank: input, at: 0,
		fixed: 0.5, response: 1,
		words: uint16Words, number: func(si float64) float64 { return math.Round(100 * (si + 100)) },
		config: `every = "500 ms"
modbus = {address = 6, table = "input", register = 0, type = "uint16"}
scale = {from = [0, 60000], to = ["-100 Pa", "500 Pa"]}
range = ["-100 Pa", "500 Pa"]
accuracy = {fixed = "0.5 Pa"}
lag = "1 s"`,
	}
}

func hundredths(celsius float64) float64 { return math.Round(math.Max(0, celsius) * 100) }

func float32Words(v float64) []uint16 {
	bits := math.Float32bits(float32(v))
	return []uint16{uint16(bits >> 16), uint16(bits)}
}

func uint16Words(v float64) []uint16 {
	return []uint16{uint16(math.Min(math.MaxUint16, math.Max(0, v)))}
}

// round gives the nearest whole number of steps.
func round(v, step float64) float64 { return math.Round(v/step) * step }
