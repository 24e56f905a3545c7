package instrument

import (
	"bytes"
	"errors"
	"fmt"

	"flowrigd/config"
)

// setOthers says which instruments are on the other lines.
func (b *bus) setOthers(all []config.Instrument) {
	var others []config.Instrument
	for _, in := range all {
		if in.Port != b.port.Name && in.Modbus == nil {
			others = append(others, in)
		}
	}
	b.others.Store(&others)
}

// swapped adds to a fault that what came is a line of an instrument of another
// port: the plugs of the two are swapped.
func (b *bus) swapped(err error, came []byte) error {
	var f *fault
	others := b.others.Load()
	if others == nil || !errors.As(err, &f) || f.lost {
		return err
	}
	for i := range *others {
		if in := &(*others)[i]; b.fits(in, came) {
			told := *f
			told.text += fmt.Sprintf("; a line came that fits instruments.%s of ports.%s: are the plugs of the two swapped?", in.Name, in.Port)
			return &told
		}
	}
	return err
}

// fits says whether a whole line of an instrument stands in what came. The first
// may not have been heard from its begin: it fits as well where its pattern does.
func (b *bus) fits(in *config.Instrument, came []byte) bool {
	pattern, end := lineOf(in)
	for rest := came; ; {
		line, behind, found := bytes.Cut(rest, end)
		if !found {
			return false
		}
		if _, err := readLine(b.port, pattern, in.Checksum, line); err == nil {
			return true
		}
		rest = behind
	}
}

// lineOf is how the lines of a text instrument look.
func lineOf(in *config.Instrument) (config.Pattern, []byte) {
	if in.Stream != nil {
		return in.Stream.Line, in.Stream.End
	}
	return in.Query.Reply, in.Query.End
}
