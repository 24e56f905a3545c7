package instrument

import (
	"bytes"
	"errors"
	"math"
	"os"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq/modbus"
)

// tape is a line that plays bytes, in pieces of at most piece, and then times
// out.
type tape struct {
	left  []byte
	piece int
}

func (a *tape) Read(p []byte) (int, error) {
	if len(a.left) == 0 {
		return 0, os.ErrDeadlineExceeded
	}
	n := copy(p, a.left[:min(len(a.left), a.piece)])
	a.left = a.left[n:]
	return n, nil
}

func (a *tape) Write(p []byte) (int, error)        { return len(p), nil }
func (a *tape) Close() error                       { return nil }
func (a *tape) SetReadDeadline(time.Time) error    { return nil }
func (a *tape) SetWriteDeadline(time.Time) error   { return nil }
func (a *tape) Listen(time.Duration) (bool, error) { return len(a.left) > 0, nil }

// unread holds bytes back until something was written.
type unread struct {
	tape
	later []byte
}

func (u *unread) Write(p []byte) (int, error) {
	u.left, u.later = append(u.left, u.later...), nil
	return len(p), nil
}

// Whatever bytes come, a number passes only out of a lawful answer.
func FuzzAnswer(f *testing.F) {
	frame := modbus.ReadResponse(1, 4, []byte{0x41, 0xCC, 0, 0})
	request := modbus.ReadRequest(1, 4, 0, 2)
	f.Add(frame, byte(9))
	f.Add(append(bytes.Clone(request), frame...), byte(3))
	f.Add(append(modbus.ReadResponse(2, 4, []byte{1, 2}), frame...), byte(200))
	f.Add(modbus.ExceptionResponse(1, 4, 2), byte(1))
	f.Add(append(bytes.Clone(frame), 0), byte(9))
	f.Fuzz(func(t *testing.T, wire []byte, piece byte) {
		w := newWire(&unread{tape{nil, int(piece) + 1}, bytes.Clone(wire)}, testPort("/dev/bus"))
		p := plan([]config.Instrument{register(quantity.Flow, 1, 0, time.Second)})[0]
		results, err := p.exchange(w)
		if x := reading(&p.members[0], results[0], 0, 0); (x.Reason == "") != (results[0].err == nil) || x.Reason != "" && x.Error == "" {
			t.Fatalf("%+v of %v", x, err)
		}
		if err == nil && !lawful(request, wire) {
			t.Fatalf("% X passed", wire)
		}
	})
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x42, 0xF6, 0xE9, 0x79, 0, 0, 0, 0}, byte(4), false, false)
	f.Fuzz(func(t *testing.T, data []byte, kind byte, little, swapped bool) {
		m := &config.Modbus{Type: config.NumberType(kind % 7), WordsLittle: little, BytesSwapped: swapped, Register: 5}
		if len(data) < 2*width(m) {
			return
		}
		before := bytes.Clone(data)
		number, _, err := decode(m, data, 5)
		if err == nil && (math.IsNaN(number) || math.IsInf(number, 0)) {
			t.Fatalf("%v passed", number)
		}
		if !bytes.Equal(before, data) {
			t.Fatal("the answer was changed")
		}
	})
}

func FuzzLine(f *testing.F) {
	f.Add([]byte("T=1.234\r\n"), byte(0), byte(7))
	f.Add([]byte("T?\rT=1.2343A\r\n"), byte(1), byte(1))
	f.Add([]byte("T=1\r\nT=2\r\n"), byte(2), byte(3))
	f.Fuzz(func(t *testing.T, wire []byte, sum, piece byte) {
		w := newWire(&unread{tape{nil, int(piece) + 1}, bytes.Clone(wire)}, testPort("/dev/tc"))
		in := query()
		in.Checksum = config.Checksum(sum % 4)
		number, err := w.ask(&in)
		var fault *fault
		if err != nil && (!errors.As(err, &fault) || fault.text == "" || fault.reason == "") {
			t.Fatalf("an error without a reason: %v", err)
		}
		if err == nil && (math.IsNaN(number) || math.IsInf(number, 0) || !bytes.HasSuffix(wire, in.Query.End)) {
			t.Fatalf("%q passed as %v", wire, number)
		}
	})
}
