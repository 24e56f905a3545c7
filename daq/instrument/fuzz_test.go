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
	"flowrigd/daq"
	"flowrigd/daq/clock"
	"flowrigd/daq/daqtest"
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
	recorded(f, byte(9), "modbus", "modbus-refused")
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

// recorded adds what was heard in line logs as seeds, with a second argument.
func recorded(f *testing.F, second any, names ...string) {
	for _, name := range names {
		for _, heard := range daqtest.Heard(daqtest.Load(f, "../../testdata/logs/"+name+".log")) {
			f.Add(heard, second)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x42, 0xF6, 0xE9, 0x79, 0, 0, 0, 0}, byte(4), false, false)
	f.Fuzz(func(t *testing.T, data []byte, kind byte, little, swapped bool) {
		m := &config.Modbus{Type: config.NumberType(kind % 7), WordsLittle: little, BytesSwapped: swapped, Register: 5}
		if len(data) < 2*m.Width() {
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
	for _, heard := range daqtest.Heard(daqtest.Load(f, "../../testdata/logs/query.log")) {
		f.Add(heard, byte(0), byte(200))
	}
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

// Whatever an instrument that sends unprompted says, and in what pieces: what
// waits for its end stays short, and a number comes only from a line of its own.
func FuzzStream(f *testing.F) {
	f.Add([]byte("x\nF=1.25\nF=1.5\n"), byte(3))
	recorded(f, byte(11), "stream")
	in := config.Instrument{ID: quantity.Flow, Name: "flow", Port: "bus", Every: time.Second, Checksum: config.XORChecksum, Stream: &config.Stream{Line: pattern("A={value};"), End: []byte("\n")}}
	f.Fuzz(func(t *testing.T, wire []byte, piece byte) {
		var good int
		port := testPort("/dev/bus")
		s := &stream{bus: &bus{port: port, now: func() time.Duration { return 0 }, clock: clock.New(), worker: clock.New().Worker(), out: func(r daq.Reading) {
			if r.Reason == "" && (math.IsNaN(r.Number) || math.IsInf(r.Number, 0)) || r.Reason != "" && r.Error == "" {
				t.Fatalf("%+v", r)
			}
			if r.Reason == "" {
				good++
			}
		}}, in: in, skip: true, lastLineAt: time.Now()}
		s.wire = newWire(&tape{bytes.Clone(wire), int(piece) + 1}, port)
		for range len(wire) + 1 {
			s.receive()
			if len(s.buf) > maxAnswer || len(s.wire.received) > maxAnswer || bytes.Contains(s.buf, in.Stream.End) {
				t.Fatalf("%d bytes wait, %d are kept", len(s.buf), len(s.wire.received))
			}
		}
		if lines := bytes.Count(wire, in.Stream.End); good > max(0, lines-1) {
			t.Fatalf("%d numbers of %d whole lines", good, lines-1)
		}
	})
}
