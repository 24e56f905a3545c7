package instrument

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/channel"
	"flowrigd/daq/modbus"
)

// piece is a part of what goes out on the wire, after a pause.
type piece struct {
	after time.Duration
	bytes []byte
}

// farEnd answers requests with pieces, in the order in which they were made.
func farEnd(c net.Conn, size func([]byte) int, answer func(request []byte) []piece) {
	out := make(chan piece, 64)
	go func() {
		for p := range out {
			time.Sleep(p.after)
			if _, err := c.Write(p.bytes); err != nil {
				for range out {
				}
				return
			}
		}
	}()
	defer close(out)
	var buf []byte
	in := make([]byte, 256)
	for {
		n, err := c.Read(in)
		if err != nil {
			return
		}
		buf = append(buf, in[:n]...)
		for n := size(buf); n > 0; n = size(buf) {
			for _, p := range answer(bytes.Clone(buf[:n])) {
				out <- p
			}
			buf = buf[n:]
		}
	}
}

func modbusRequestSize(buf []byte) int {
	if len(buf) < 8 {
		return 0
	}
	return 8
}

func now(b ...byte) []piece { return []piece{{0, b}} }

// TestFaultTable puts each fault on one answer of each conversation: the
// reading has the reason of the table within one timeout, and the next
// exchange is clean.
func TestFaultTable(t *testing.T) {
	nan := modbus.ReadResponse(1, modbus.ReadInputRegisters, []byte{0x7F, 0xC0, 0, 0})
	cases := []struct {
		name  string
		fault func(request, frame []byte) []piece
		want  map[string]daq.Reason // by conversation; "" is good
	}{
		{"noise in the answer", func(_, f []byte) []piece { f[len(f)/2] ^= 0x44; return now(f...) },
			map[string]daq.Reason{"modbus": daq.ReasonChecksum, "query": daq.ReasonFormat, "query+xor": daq.ReasonChecksum}},
		{"noise before the answer", func(_, f []byte) []piece { return now(append([]byte{0x55}, f...)...) },
			map[string]daq.Reason{"modbus": daq.ReasonChecksum, "query": daq.ReasonFormat, "query+xor": daq.ReasonChecksum}},
		{"noise behind the answer", func(_, f []byte) []piece { return now(append(f, 0x55)...) },
			map[string]daq.Reason{"modbus": daq.ReasonProtocol, "query": daq.ReasonProtocol, "query+xor": daq.ReasonProtocol}},
		// A frame ends with a silence; a line of text ends with its end, and what
		// follows is dropped before the next question.
		{"zero behind the answer", func(_, f []byte) []piece { return []piece{{0, f}, {time.Millisecond, []byte{0}}} },
			map[string]daq.Reason{"modbus": daq.ReasonProtocol, "query": "", "query+xor": ""}},
		{"cut", func(_, f []byte) []piece { return now(f[:len(f)-3]...) },
			map[string]daq.Reason{"modbus": daq.ReasonTimeout, "query": daq.ReasonTimeout, "query+xor": daq.ReasonTimeout}},
		{"one byte", func(_, f []byte) []piece { return now(f[0]) },
			map[string]daq.Reason{"modbus": daq.ReasonTimeout, "query": daq.ReasonTimeout, "query+xor": daq.ReasonTimeout}},
		{"silence", func(_, _ []byte) []piece { return nil },
			map[string]daq.Reason{"modbus": daq.ReasonTimeout, "query": daq.ReasonTimeout, "query+xor": daq.ReasonTimeout}},
		{"late", func(_, f []byte) []piece { return []piece{{150 * time.Millisecond, f}} },
			map[string]daq.Reason{"modbus": daq.ReasonTimeout, "query": daq.ReasonTimeout, "query+xor": daq.ReasonTimeout}},
		{"in two pieces", func(_, f []byte) []piece { return []piece{{0, f[:4]}, {5 * time.Millisecond, f[4:]}} },
			map[string]daq.Reason{"modbus": "", "query": "", "query+xor": ""}},
		{"echo", func(r, f []byte) []piece { return now(append(r, f...)...) },
			map[string]daq.Reason{"modbus": "", "query": "", "query+xor": ""}},
		{"echo alone", func(r, _ []byte) []piece { return now(r...) },
			map[string]daq.Reason{"modbus": daq.ReasonTimeout, "query": daq.ReasonTimeout, "query+xor": daq.ReasonTimeout}},
		{"two answers", func(_, f []byte) []piece { return now(append(f, f...)...) },
			map[string]daq.Reason{"modbus": daq.ReasonProtocol, "query": daq.ReasonProtocol, "query+xor": daq.ReasonProtocol}},
		{"another address", func(_, f []byte) []piece { f[0] = 2; return now(modbus.AppendCRC(f[:len(f)-2])...) },
			map[string]daq.Reason{"modbus": daq.ReasonProtocol}},
		{"another address before ours", func(_, f []byte) []piece {
			return now(append(modbus.ReadResponse(2, 4, []byte{1, 2, 3, 4}), f...)...)
		}, map[string]daq.Reason{"modbus": ""}},
		{"another function", func(_, f []byte) []piece { f[1] = 3; return now(modbus.AppendCRC(f[:len(f)-2])...) },
			map[string]daq.Reason{"modbus": daq.ReasonProtocol}},
		{"too few registers", func(_, _ []byte) []piece { return now(modbus.ReadResponse(1, 4, []byte{1, 2})...) },
			map[string]daq.Reason{"modbus": daq.ReasonProtocol}},
		{"exception", func(_, _ []byte) []piece { return now(modbus.ExceptionResponse(1, 4, 2)...) },
			map[string]daq.Reason{"modbus": daq.ReasonException}},
		{"failed sensor", func(_, _ []byte) []piece { return now(nan...) },
			map[string]daq.Reason{"modbus": daq.ReasonOpen}},
		{"error line", func(_, _ []byte) []piece { return now([]byte("E=4\r\n")...) },
			map[string]daq.Reason{"query": daq.ReasonFormat, "query+xor": daq.ReasonChecksum}},
		{"not a number", func(_, _ []byte) []piece { return now([]byte("T=nan\r\n")...) },
			map[string]daq.Reason{"query": daq.ReasonFormat}},
		{"babble", func(_, f []byte) []piece { return now(bytes.Repeat([]byte{0xAA}, 3000)...) },
			map[string]daq.Reason{"modbus": daq.ReasonChecksum, "query": daq.ReasonProtocol, "query+xor": daq.ReasonProtocol}},
	}
	for _, c := range cases {
		for conversation, want := range c.want {
			t.Run(c.name+"/"+conversation, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) { oneFault(t, conversation, c.fault, want) })
			})
		}
	}
}

// conversationOf is an instrument, the size of its request and its answer.
func conversationOf(name string) (config.Instrument, func([]byte) int, []byte) {
	if name == "modbus" {
		return register(quantity.Temperature, 1, 0, 300*time.Millisecond), modbusRequestSize, modbus.ReadResponse(1, 4, []byte{0x41, 0xCC, 0, 0})
	}
	in, answer := query(), "T=25.5\r\n"
	in.Every = 300 * time.Millisecond
	if name == "query+xor" {
		in.Checksum = config.XORChecksum
		answer = fmt.Sprintf("T=25.5%02X\r\n", checksum(config.XORChecksum, []byte("T=25.5")))
	}
	return in, func(buf []byte) int { return len(buf) / 3 * 3 }, []byte(answer)
}

func oneFault(t *testing.T, conversation string, fault func(request, frame []byte) []piece, want daq.Reason) {
	in, size, answer := conversationOf(conversation)
	asked := 0
	s := &socket{serve: func(c net.Conn) {
		farEnd(c, size, func(request []byte) []piece {
			if asked++; asked == 3 {
				return fault(request, bytes.Clone(answer))
			}
			return now(answer...)
		})
	}}
	out := &readings{}
	_, stop := start(t, busOptions(s, out, in))
	time.Sleep(3 * time.Second)
	stop()
	time.Sleep(time.Second)
	list := out.of(in.ID)
	if len(list) < 8 {
		t.Fatalf("%d readings", len(list))
	}
	for i, r := range list {
		switch {
		case i == 2 && r.Reason != want:
			t.Errorf("reason %q (%s), want %q", r.Reason, r.Error, want)
		case i == 2 && (r.Error == "") != (want == ""):
			t.Errorf("sentence %q", r.Error)
		case i == 2 && r.Took > 2*testPort("").Timeout:
			t.Errorf("it took %v", r.Took)
		case i != 2 && (r.Reason != "" || r.Number != 25.5):
			t.Errorf("exchange %d: %+v", i, r)
		}
	}
	if want != "" {
		t.Logf("%s", list[2].Error)
	}
}

// A stream has no request: each fault on its line is told within its own pace
// and one timeout, and the next clean line is good.
func TestFaultTableOfStreams(t *testing.T) {
	sum := fmt.Sprintf("F=1.5%02X\n", checksum(config.XORChecksum, []byte("F=1.5")))
	cases := []struct {
		name  string
		sum   config.Checksum
		fault string // in place of one line
		want  daq.Reason
	}{
		{"noise", config.NoChecksum, "F=1x5\n", daq.ReasonFormat},
		{"cut", config.NoChecksum, "F=1", daq.ReasonTimeout},
		{"without its begin", config.NoChecksum, "1.5\n", daq.ReasonFormat},
		{"silence", config.NoChecksum, "", daq.ReasonTimeout},
		{"not a number", config.NoChecksum, "F=inf\n", daq.ReasonFormat},
		{"a line of another kind first", config.NoChecksum, "ready\nF=1.5\n", ""},
		{"noise under a checksum", config.XORChecksum, "F=2.5" + sum[5:], daq.ReasonChecksum},
		{"no checksum", config.XORChecksum, "F=1.5\n", daq.ReasonChecksum},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { oneStreamFault(t, c.sum, sum, c.fault, c.want) })
		})
	}
}

func oneStreamFault(t *testing.T, kind config.Checksum, summed, fault string, want daq.Reason) {
	line := "F=1.5\n"
	if kind != config.NoChecksum {
		line = summed
	}
	s := &socket{serve: func(c net.Conn) {
		for i := 0; i < 20; i++ {
			text := line
			if i == 5 {
				text = fault
			}
			if _, err := c.Write([]byte(text)); err != nil {
				return
			}
			time.Sleep(200 * time.Millisecond)
			if i == 5 {
				time.Sleep(300 * time.Millisecond) // the cut line stands alone
				c.Write([]byte("\n"))
			}
		}
	}}
	out := &readings{}
	in := config.Instrument{ID: quantity.Flow, Name: "flow", Port: "bus", Every: 200 * time.Millisecond, Checksum: kind, Stream: &config.Stream{Line: pattern("F={value}"), End: []byte("\n")}}
	_, stop := start(t, busOptions(s, out, in))
	time.Sleep(3 * time.Second)
	stop()
	time.Sleep(5 * time.Second)
	var faults []daq.Reading
	for _, r := range out.of(quantity.Flow) {
		if r.Reason != "" {
			faults = append(faults, r)
		} else if r.Number != 1.5 {
			t.Errorf("%+v passed", r)
		}
	}
	if want == "" && len(faults) > 1 || want != "" && (len(faults) == 0 || faults[0].Reason != want) {
		t.Fatalf("faults %+v, want %q", faults, want)
	}
	if last, _ := out.last(quantity.Flow); last.Reason != "" {
		t.Errorf("not clean again: %+v", last)
	}
	if want != "" {
		if late := faults[0].At - time.Second; late > 301*time.Millisecond {
			t.Errorf("told %v after the fault", late)
		}
	}
}

// mangle is the seeded generator of wire faults.
func mangle(r *rand.Rand, request, frame []byte) []byte {
	f := bytes.Clone(frame)
	switch r.IntN(9) {
	case 0: // single bits
		for range 1 + r.IntN(4) {
			f[r.IntN(len(f))] ^= 1 << r.IntN(8)
		}
	case 1: // bytes
		for range 1 + r.IntN(len(f)) {
			f[r.IntN(len(f))] = byte(r.Uint32())
		}
	case 2: // cut
		f = f[:r.IntN(len(f))]
	case 3: // bytes put in
		at := r.IntN(len(f) + 1)
		f = append(append(bytes.Clone(f[:at]), byte(r.Uint32())), f[at:]...)
	case 4: // bytes left out
		at := r.IntN(len(f))
		f = append(f[:at:at], f[at+1:]...)
	case 5: // noise alone
		f = make([]byte, r.IntN(40))
		for i := range f {
			f[i] = byte(r.Uint32())
		}
	case 6: // echo, then a hit answer
		f[r.IntN(len(f))] ^= byte(1 + r.IntN(255))
		f = append(bytes.Clone(request), f...)
	case 7: // the begin and the end of two answers
		f = append(f[:r.IntN(len(f))], frame[r.IntN(len(frame)):]...)
	case 8: // everything behind some byte is new
		for i := r.IntN(len(f)); i < len(f); i++ {
			f[i] = byte(r.Uint32())
		}
	}
	return f
}

// slowCRC is the check written once more, bit by bit as the specification has
// it, so that the oracle does not share the table.
func slowCRC(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, x := range b {
		crc ^= uint16(x)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// lawful says whether what was on the wire is, by the specification, an answer
// of address 1 to a request of two input registers: perhaps behind our echo
// and whole frames of other addresses.
func lawful(request, wire []byte) bool {
	wire = bytes.TrimPrefix(wire, request)
	for len(wire) > 2 && wire[0] != 1 {
		n := modbus.ResponseSize(wire)
		if n == 0 || n > len(wire) || slowCRC(wire[:n]) != 0 {
			return false
		}
		wire = wire[n:]
	}
	return len(wire) == 9 && wire[0] == 1 && wire[1] == 4 && wire[2] == 4 && slowCRC(wire) == 0
}

// 100,000 faulted exchanges: nothing passes as good whose frame violates the
// protocol. What no CRC can see is counted against 2^-16.
func TestFaultedFrames(t *testing.T) {
	const exchanges = 100000
	synctest.Test(t, func(t *testing.T) {
		r := rand.New(rand.NewPCG(7, 11))
		frame := modbus.ReadResponse(1, 4, []byte{0x41, 0xCC, 0, 0})
		var sent []byte
		near, far := net.Pipe()
		go farEnd(far, modbusRequestSize, func(request []byte) []piece {
			sent = mangle(r, request, frame)
			if len(sent) == 0 {
				return nil
			}
			// The gap is shorter than the silence that ends a frame.
			cut := r.IntN(len(sent))
			return []piece{{0, sent[:cut]}, {time.Duration(r.IntN(2)) * time.Millisecond, sent[cut:]}}
		})
		w := newWire(near, testPort("/dev/bus"))
		p := plan([]config.Instrument{register(quantity.Temperature, 1, 0, time.Second)})[0]
		reasons := map[daq.Reason]int{}
		unseen := 0
		for range exchanges {
			results, _ := p.exchange(w)
			x := reading(&p.members[0], results[0], 0, 0)
			reasons[x.Reason]++
			if x.Reason != "" {
				continue
			}
			if !lawful(p.request, sent) {
				t.Fatalf("% X passed as %v", sent, x.Number)
			}
			if x.Number != 25.5 {
				unseen++
			}
		}
		near.Close()
		far.Close()
		t.Logf("%d faulted exchanges: %v; a wrong number that the CRC cannot see: %d (2^-16 of all is %.1f)", exchanges, reasons, unseen, float64(exchanges)/65536)
		if unseen > 8 {
			t.Errorf("%d wrong numbers passed, 2^-16 of all is %.1f", unseen, float64(exchanges)/65536)
		}
	})
}

// The same for text: without a checksum a hit digit is another digit. The
// figures are the residual risk, and what checksum and max_step change.
func TestFaultedLines(t *testing.T) {
	const exchanges = 20000
	wrong := map[string]int{}
	for name, sum := range map[string]config.Checksum{"none": config.NoChecksum, "xor": config.XORChecksum, "sum": config.SumChecksum, "crc16": config.CRC16Checksum} {
		synctest.Test(t, func(t *testing.T) {
			r := rand.New(rand.NewPCG(7, 11))
			in := query()
			in.Checksum, in.StaleAfter, in.Unit = sum, time.Hour, &config.Unit{Text: "Cel", Factor: 1}
			in.MaxStep = 2
			line := "T=25.5"
			if sum != config.NoChecksum {
				digits := map[config.Checksum]int{config.XORChecksum: 2, config.SumChecksum: 2, config.CRC16Checksum: 4}
				line += fmt.Sprintf("%0*X", digits[sum], checksum(sum, []byte(line)))
			}
			near, far := net.Pipe()
			clean := true
			go farEnd(far, func(buf []byte) int { return len(buf) / 3 * 3 }, func(request []byte) []piece {
				answer := []byte(line + "\r\n")
				if clean = !clean; clean {
					return now(answer...)
				}
				if answer = mangle(r, request, answer); len(answer) == 0 {
					return nil
				}
				return now(answer...)
			})
			w := newWire(near, testPort("/dev/tc"))
			p := plan([]config.Instrument{in})[0]
			channel := channel.New(in)
			stepped := 0
			for i := range exchanges {
				results, _ := p.exchange(w)
				at := time.Duration(i) * time.Second
				x := reading(&in, results[0], 0, at)
				channel.Take(x, nil)
				if x.Reason == "" && x.Number != 25.5 {
					wrong[name]++
				}
				if m := channel.At(at); m.Quality.Grade == daq.Good && math.Abs(m.Value-25.5) > 1e-9 {
					stepped++
				}
			}
			wrong[name+" with max_step"] = stepped
			near.Close()
			far.Close()
		})
	}
	for _, name := range strings.Fields("none xor sum crc16") {
		t.Logf("checksum %-5s: %4d of %d faulted lines gave a wrong number; with max_step = 2 K %d", name, wrong[name], exchanges/2, wrong[name+" with max_step"])
	}
	if wrong["crc16"] > 0 || wrong["xor"] > wrong["none"]/2 || wrong["sum"] > wrong["none"]/2 || wrong["none with max_step"] >= wrong["none"] {
		t.Errorf("a guard does not guard: %v", wrong)
	}
}

// Every digit of a checksum counts: a line with one wrong digit in it, whichever,
// gives no number, and one with small letters does.
func TestEachDigitOfAChecksumCounts(t *testing.T) {
	for kind, digits := range map[config.Checksum]int{config.XORChecksum: 2, config.SumChecksum: 2, config.CRC16Checksum: 4} {
		synctest.Test(t, func(t *testing.T) {
			in, line := query(), "T=25.5"
			in.Checksum = kind
			sum := fmt.Sprintf("%0*X", digits, checksum(kind, []byte(line)))
			said := ""
			near, far := net.Pipe()
			go farEnd(far, func(buf []byte) int { return len(buf) / 3 * 3 }, func([]byte) []piece { return now([]byte(line + said + "\r\n")...) })
			w := newWire(near, testPort("/dev/tc"))
			p := plan([]config.Instrument{in})[0]
			ask := func(text string) daq.Reading {
				said = text
				results, _ := p.exchange(w)
				return reading(&in, results[0], 0, 0)
			}
			for _, right := range []string{sum, strings.ToLower(sum)} {
				if r := ask(right); r.Number != 25.5 || r.Reason != "" {
					t.Errorf("%s: %+v", right, r)
				}
			}
			for i := range digits {
				for _, digit := range "0123456789ABCDEF" {
					if wrong := sum[:i] + string(digit) + sum[i+1:]; wrong != sum {
						if r := ask(wrong); r.Reason != daq.ReasonChecksum {
							t.Errorf("%s in place of %s: %+v", wrong, sum, r)
						}
					}
				}
			}
			near.Close()
			far.Close()
		})
	}
}
