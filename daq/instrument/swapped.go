package instrument

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"flowrigd/config"
)

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
