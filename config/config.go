// Package config owns the configuration: one checked value of the whole file,
// quantities with their units, and the exact message for every mistake.
//
//	TOML text → tree with places → Config and every Problem
//
// It opens no port, no socket and no other file.
package config

import (
	"slices"
	"time"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// Config is the whole checked configuration. Values are in SI units and
// degrees Celsius; every default is filled in.
type Config struct {
	Path   string // the file's name as it was given
	SHA256 string // of Text, in hex
	Text   []byte // of the file, with the secrets struck out: what is recorded

	Site     string
	Rig      string
	Altitude float64        // m above sea level
	Zone     *time.Location // for people: page, report, bench export
	Interval time.Duration

	Tube        Tube
	Tank        Tank
	Water       Water
	Dye         Dye
	Regime      Regime
	Ports       []Port       // in the order of their names
	Instruments []Instrument // in the order of the table of quantities
	Alarms      []Alarm      // the built-in ones first, then by name
	Trip        *Trip        // nil: no heating permit
	MQTT        *MQTT        // nil: no broker
	Plans       []Plan       // in the order of the file
	Notify      []Notify     // who is told of alarms, in the order of the file
	HTTP        HTTP
	Record      Record
}

// Tube is the glass tube.
type Tube struct {
	Bore        uncertainty.Value // m
	Length      uncertainty.Value // m
	Roughness   uncertainty.Value // m
	Outer       uncertainty.Value // m, outer diameter
	WatchedAt   uncertainty.Value // m from the inlet, where the dye is watched
	Room        uncertainty.Value // Cel, where no ambient is measured
	MaxRate     float64           // K/s that the glass is to bear; 0: not stated
	Orientation pipe.Orientation
}

// Tank is the head tank with its overflow.
type Tank struct {
	Lip  uncertainty.Value // m, overflow lip above the level datum
	Drop uncertainty.Value // m, level datum above the tube's outlet
}

// Water is what is known of the water beside its temperature.
type Water struct {
	ViscosityExtra float64 // half-width of what hardness and dye add to the viscosity, a fraction
}

// Regime holds the two limits of the Reynolds number.
type Regime struct {
	LaminarBelow   float64
	TurbulentAbove float64
}

// Port is a serial line.
type Port struct {
	Name     string
	Device   string
	Baud     int
	DataBits int
	Parity   Parity
	StopBits int
	Timeout  time.Duration // for the whole answer, from the end of the request
}

// Parity of a character on the line.
type Parity byte

// The parities, by the letter of a framing such as 8E1.
const (
	NoParity   Parity = 'N'
	EvenParity Parity = 'E'
	OddParity  Parity = 'O'
)

// Instrument is one measured quantity on a line. Exactly one of Modbus, Query
// and Stream is set, and exactly one of Unit, Scale and Pulses.
type Instrument struct {
	ID   quantity.ID
	Name string // the quantity's name without unit
	Port string

	Every       time.Duration
	StaleAfter  time.Duration
	FrozenAfter time.Duration // 0: an unchanging value is believed

	Modbus *Modbus
	Query  *Query
	Stream *Stream

	Unit         *Unit
	Scale        *Scale
	Pulses       *Pulses
	Thermocouple *Thermocouple

	Correct       []CorrectPoint    // calibration, by rising Indicated; empty: none
	Range         *Range            // nil: not stated
	Accuracy      *Accuracy         // nil: not stated
	Calibration   *Calibration      // in place of Accuracy; nil: none
	HydrostaticAt *float64          // Cel of the water at which a sensor that weighs it was set; nil: another kind of sensor
	MeterFall     uncertainty.Value // K by which the water in the flow meter is cooler than at the tube's outlet
	Lag           time.Duration     // time constant of the sensor, 0: not stated
	MaxStep       float64           // largest believable change between two readings, SI; 0: any
	Checksum      Checksum          // of a text line
}

// Range is what an instrument can measure.
type Range struct{ Low, High float64 } // SI

// Modbus says where a number stands in a slave.
type Modbus struct {
	Address      byte // 1 to 247
	Table        Table
	Register     uint16 // zero-based, as in the protocol
	Type         NumberType
	WordsLittle  bool // low word first
	BytesSwapped bool // low byte first within a word
}

// Table is one of the four tables of a Modbus slave.
type Table uint8

// The tables.
const (
	InputTable Table = iota
	HoldingTable
	DiscreteTable
	CoilTable
)

// Bits says whether its places are single bits.
func (t Table) Bits() bool { return t == DiscreteTable || t == CoilTable }

// String is the table's word in a file.
func (t Table) String() string { return tableWords()[t] }

func tableWords() []string { return []string{"input", "holding", "discrete", "coil"} }

// NumberType is the type of a number in registers.
type NumberType uint8

// The types; Bit is the type of a discrete input or coil.
const (
	Uint16 NumberType = iota
	Int16
	Uint32
	Int32
	Float32
	Uint64
	Float64
	Bit
)

// Words is how many registers a number takes.
func (t NumberType) Words() int {
	return [...]int{Uint16: 1, Int16: 1, Uint32: 2, Int32: 2, Float32: 2, Uint64: 4, Float64: 4, Bit: 1}[t]
}

// Query is a text conversation: send, then wait for a line.
type Query struct {
	Send  []byte
	Reply Pattern
	End   []byte
}

// Stream is an instrument that sends unprompted.
type Stream struct {
	Line Pattern
	End  []byte
}

// Checksum guards a text line.
type Checksum uint8

// The checksums. XOR and Sum are two hex digits, CRC16 four, at the end of the
// line; they cover all that stands before them.
const (
	NoChecksum Checksum = iota
	XORChecksum
	SumChecksum
	CRC16Checksum
)

// Unit maps the number on the wire to SI units or degrees Celsius:
// value = number·Factor + Offset. For a thermocouple that is millivolts.
type Unit struct {
	Text   string
	Factor float64
	Offset float64
}

// Scale is two-point scaling from the number on the wire.
type Scale struct {
	From [2]float64
	To   [2]float64 // SI (millivolts for a thermocouple)
}

// Pulses is a counter that wraps.
type Pulses struct {
	PerCubicMeter float64
	Bits          int
	Window        time.Duration
}

// Thermocouple turns millivolts into a temperature.
type Thermocouple struct {
	Type         string             // K, T, J or N
	ColdJunction *uncertainty.Value // degrees Celsius; nil when From is set
	From         quantity.ID        // the instrument that measures the cold junction
}

// CorrectPoint is one point of a calibration, in SI.
type CorrectPoint struct{ Indicated, True, U float64 } // U: standard uncertainty of True

// Accuracy is the maker's limits of error, which add up: half-width =
// OfReading·|value| + OfSpan·span + Fixed, taken as rectangular.
type Accuracy struct {
	OfReading float64 // fraction
	OfSpan    float64 // fraction of the Range
	Fixed     float64 // SI (K for temperatures)
}

// AlarmKind says what an alarm watches.
type AlarmKind uint8

// The kinds.
const (
	AlarmLimit       AlarmKind = iota // quantities against Above or Below
	AlarmFault                        // an instrument without a good reading
	AlarmDisk                         // the recording does not answer
	AlarmBroker                       // the broker is away
	AlarmReceiver                     // an alarm waits for a receiver of [[notify]]
	AlarmNoSupply                     // heater on or permitted while the supply is not proven: SupplyFlow below Below, SupplyOn false
	AlarmImplausible                  // no response to heating, or a fall faster than MaxFall
	AlarmRate                         // the temperature rises faster than Above
	AlarmBlocked                      // the loss coefficient has risen beyond its uncertainty
	AlarmIneffective                  // still heated when the permit has been down for OnDelay
)

// Alarm is one alarm with everything it needs.
type Alarm struct {
	Name        string
	BuiltIn     bool
	Kind        AlarmKind
	On          []quantity.ID // AlarmLimit: any of these; AlarmFault: the instrument; AlarmNoSupply: the evidence that there is
	Above       *float64      // SI; set for a high limit
	Below       *float64      // SI; set for a low limit
	Deadband    float64       // SI
	MaxFall     float64       // K/s, above zero; AlarmImplausible
	OnDelay     time.Duration
	OffDelay    time.Duration
	Priority    string // high, medium or low
	Latch       bool
	Trip        bool
	Cause       string
	Consequence string
	Action      string
}

// Trip is the heating permit: an output that is energised while heating is
// permitted, and drops by itself when it is not refreshed.
type Trip struct {
	Port     string
	Address  byte   // of the Modbus relay; 0 for a pulsed control line
	Coil     uint16 // zero-based
	Pulse    Pulse  // of a control line of the port, for a retriggerable relay
	Refresh  time.Duration
	Watchdog time.Duration // the relay's own
}

// Pulse is a control line that is pulsed; a static level is never a permit.
type Pulse uint8

// The control lines.
const (
	NoPulse Pulse = iota
	PulseRTS
	PulseDTR
)

// MQTT is the broker and how to speak to it.
type MQTT struct {
	Broker       string // a URL, or "embedded"
	Embedded     bool
	Topic        string
	Every        time.Duration
	KeepAlive    time.Duration
	Username     string
	PasswordFile string // absolute, or "" for none
	CAFile       string // absolute, or ""
	Commands     bool   // others may give commands there
}

// Notify is one receiver of alarms: a webhook or a mail.
type Notify struct {
	Webhook    string   // a URL; "" for a mail
	TokenFile  string   // of a webhook: absolute, or "" for none
	Mail       *Mail    // nil for a webhook
	CAFile     string   // absolute, or "" for the system's
	Priorities []string // of the alarms that are told: some of high, medium, low
}

// Mail is to whom mail goes and by which server.
type Mail struct {
	To           []string
	From         string
	Server       string // host:port
	Security     MailSecurity
	Username     string
	PasswordFile string // absolute, or ""
}

// MailSecurity is how the conversation with a mail server is encrypted.
type MailSecurity uint8

// The ways; StartTLS is never given up for clear text.
const (
	StartTLS MailSecurity = iota
	ImplicitTLS
	ClearText
)

// HTTP is the page and the API.
type HTTP struct {
	Listen     string
	TokensFile string // absolute, or ""
}

// Record is the recording.
type Record struct {
	Directory     string // absolute
	Every         time.Duration
	DurableWithin time.Duration
	Keep          time.Duration
	KeepInputs    time.Duration
	MaxSize       int64 // bytes
}

// Every is the time between two readings of an instrument; 0 where there is none.
func (c *Config) Every(id quantity.ID) time.Duration {
	if in := c.Instrument(id); in != nil {
		return in.Every
	}
	return 0
}

// Instrument finds an instrument by its quantity; nil where there is none.
func (c *Config) Instrument(id quantity.ID) *Instrument {
	return first(c.Instruments, func(in Instrument) bool { return in.ID == id })
}

// first is the first element that is so; nil where there is none.
func first[T any](list []T, is func(T) bool) *T {
	if i := slices.IndexFunc(list, is); i >= 0 {
		return &list[i]
	}
	return nil
}

// Names are those of the instruments, in their order.
func (c *Config) Names() (list []string) {
	for _, in := range c.Instruments {
		list = append(list, in.Name)
	}
	return list
}

// Named finds an instrument by its name; nil where there is none.
func (c *Config) Named(name string) *Instrument {
	if id, known := quantity.ByShort(name); known {
		return c.Instrument(id)
	}
	return nil
}
