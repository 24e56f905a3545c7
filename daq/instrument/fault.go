package instrument

import (
	"errors"
	"fmt"
	"os"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// fault is why an exchange gave no number: the reason to count and the
// sentence for a person.
type fault struct {
	reason daq.Reason
	text   string
	lost   bool // the line itself is gone: open it anew
}

func (f *fault) Error() string { return f.text }

func faultf(reason daq.Reason, format string, args ...any) *fault {
	return &fault{reason: reason, text: fmt.Sprintf(format, args...)}
}

// place names a line for a person: "bus (/dev/ttyUSB0)".
func place(port config.Port) string { return fmt.Sprintf("%s (%s)", port.Name, port.Device) }

// lineFault classes an error of the line itself.
func lineFault(port config.Port, err error) *fault {
	switch {
	case errors.Is(err, errBabble):
		return faultf(daq.ReasonProtocol, "%s: %v", place(port), err)
	case errors.Is(err, os.ErrClosed):
		return &fault{daq.ReasonPort, place(port) + ": closed", true}
	case errors.Is(err, errJammed):
		return &fault{daq.ReasonPort, fmt.Sprintf("%s: write: %v", place(port), err), true}
	}
	return &fault{daq.ReasonPort, fmt.Sprintf("%s: the line went away (%v); plug the cable in, it is opened again by itself", place(port), bare(err)), true}
}

// frameFault classes what modbus.ParseResponse refuses.
func frameFault(who string, err error) *fault {
	var refused *modbus.Exception
	switch {
	case errors.As(err, &refused):
		return faultf(daq.ReasonException, "%s: %v", who, err)
	case errors.Is(err, modbus.ErrChecksum):
		return faultf(daq.ReasonChecksum, "%s: the answer's CRC does not agree with its bytes; check baud, parity, termination and shielding", who)
	}
	return faultf(daq.ReasonProtocol, "%s: %v; check for two devices with one address, and for a timeout that is too short", who, err)
}
