package instrument

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

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
	joined bool // refused as a whole; its parts may be answered one by one
}

func (f *fault) Error() string { return f.text }

func faultf(reason daq.Reason, format string, args ...any) *fault {
	return &fault{reason: reason, text: fmt.Sprintf(format, args...)}
}

func failedFor(err error, reason daq.Reason) bool {
	f, ok := errors.AsType[*fault](err)
	return ok && f.reason == reason
}

func lineLost(err error) bool {
	f, ok := errors.AsType[*fault](err)
	return ok && f.lost
}

// place names a line for a person: "bus (/dev/ttyUSB0)".
func place(port config.Port) string { return fmt.Sprintf("%s (%s)", port.Name, port.Device) }

// span writes a duration for a person: "200 ms".
func span(d time.Duration) string { return config.Format(d.Seconds(), config.Time) }

// lineFault classes an error of the line itself.
func lineFault(port config.Port, err error) *fault {
	if errors.Is(err, errNeverSilent) {
		return faultf(daq.ReasonProtocol, "%s: %v", place(port), err)
	}
	text := fmt.Sprintf("the line went away (%v); plug the cable in, it is opened again by itself", bare(err))
	switch {
	case errors.Is(err, os.ErrClosed):
		text = "closed"
	case errors.Is(err, errJammed):
		text = fmt.Sprintf("write: %v", err)
	}
	return &fault{reason: daq.ReasonPort, text: place(port) + ": " + text, lost: true}
}

// frameFault classes what modbus.ParseResponse refuses.
func frameFault(who string, err error) *fault {
	switch refused, ok := errors.AsType[*modbus.Exception](err); {
	case ok:
		f := faultf(daq.ReasonException, "%s: %v", who, err)
		f.joined = refused.Code == 2 || refused.Code == 3
		return f
	case errors.Is(err, modbus.ErrChecksum):
		return faultf(daq.ReasonChecksum, "%s: the answer's CRC does not agree with its bytes; check baud, parity, termination and shielding", who)
	}
	return faultf(daq.ReasonProtocol, "%s: %v; check for two devices with one address, and for a timeout that is too short", who, err)
}

// setOthers says which instruments are on the other lines.
func (b *bus) setOthers(all []config.Instrument) {
	others := ofOtherLines(all, b.port.Name)
	b.others.Store(&others)
}

// swapped is the fault of an exchange on the bus's line, see that function.
func (b *bus) swapped(err error, came []byte) error {
	if others := b.others.Load(); others != nil {
		return swapped(b.port, *others, err, came)
	}
	return err
}

// ofOtherLines are the text instruments that stand on other lines than this port's.
func ofOtherLines(all []config.Instrument, port string) []config.Instrument {
	return slices.DeleteFunc(slices.Clone(all), func(in config.Instrument) bool { return in.Port == port || in.Modbus != nil })
}

// swapped adds to a fault that what came is a line of an instrument of another
// port: the plugs of the two are swapped.
func swapped(port config.Port, others []config.Instrument, err error, came []byte) error {
	f, ok := errors.AsType[*fault](err)
	if !ok || f.lost {
		return err
	}
	for i := range others {
		if in := &others[i]; fits(port, in, came) {
			told := *f
			told.text += fmt.Sprintf("; a line came that fits instruments.%s of ports.%s: are the plugs of the two swapped?", in.Name, in.Port)
			return &told
		}
	}
	return err
}

// fits says whether a whole line of an instrument stands in what came. The first
// may not have been heard from its begin: it fits as well where its pattern does.
func fits(port config.Port, in *config.Instrument, came []byte) bool {
	var pattern config.Pattern
	var end []byte
	if in.Stream != nil {
		pattern, end = in.Stream.Line, in.Stream.End
	} else {
		pattern, end = in.Query.Reply, in.Query.End
	}
	lines := bytes.Split(came, end)
	return slices.ContainsFunc(lines[:len(lines)-1], func(line []byte) bool {
		_, err := readLine(port, pattern, in.Checksum, line)
		return err == nil
	})
}
