package instrument

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq/modbus"
)

// lateAnswers asks one instrument 2,000 times; every answer bears the number of
// its question, and every tenth is late by 1 to worst timeouts. It gives how
// many readings passed with the answer to another question.
func lateAnswers(t *testing.T, conversation string, worst float64) (wrong, good int) {
	in, size, _ := conversationOf(conversation)
	in.Every = 50 * time.Millisecond
	r := rand.New(rand.NewPCG(3, 5))
	asked := 0
	s := &socket{serve: func(c net.Conn) {
		out, ended := make(chan []byte, 100), make(chan struct{})
		defer close(ended)
		go func() {
			for {
				select {
				case answer := <-out:
					c.Write(answer) // the line may have ended
				case <-ended:
					return
				}
			}
		}()
		var buf []byte
		heard := make([]byte, 256)
		for {
			n, err := c.Read(heard)
			if err != nil {
				return
			}
			buf = append(buf, heard[:n]...)
			for n := size(buf); n > 0; n = size(buf) {
				asked++
				answer, delay := numbered(conversation, asked), time.Millisecond
				if asked%10 == 0 {
					delay = time.Duration((1 + (worst-1)*r.Float64()) * float64(testPort("").Timeout))
				}
				time.AfterFunc(delay, func() { out <- answer })
				buf = bytes.Clone(buf[n:])
			}
		}
	}}
	out := &readings{}
	_, stop := start(t, busOptions(s, out, in))
	for len(out.of(in.ID)) < 2000 {
		time.Sleep(time.Second)
	}
	stop()
	s.pull()
	time.Sleep(time.Second) // the last answers are due
	for i, x := range out.of(in.ID) {
		switch {
		case x.Reason != "":
		case x.Number == float64(i+1):
			good++
		default:
			wrong++
		}
	}
	return wrong, good
}

func numbered(conversation string, n int) []byte {
	if conversation == "modbus" {
		bits := math.Float32bits(float32(n))
		return modbus.ReadResponse(1, 4, []byte{byte(bits >> 24), byte(bits >> 16), byte(bits >> 8), byte(bits)})
	}
	return fmt.Appendf(nil, "T=%d\r\n", n)
}

// A late answer looks like the answer to the next question: neither a checksum
// nor a pattern tells. One that comes within two timeouts is dropped; what is
// later still is the residual risk, and its figure is printed. Every later
// answer is dropped as soon as two stand together.
func TestLateAnswersOfTheSameShape(t *testing.T) {
	for _, conversation := range []string{"modbus", "query"} {
		for _, worst := range []float64{1.9, 3, 6} {
			synctest.Test(t, func(t *testing.T) {
				wrong, good := lateAnswers(t, conversation, worst)
				t.Logf("%s, late by 1 to %g timeouts: %d of 200 late answers passed for the answer to a later question, %d readings were right", conversation, worst, wrong, good)
				if worst < 2 && wrong > 0 || good < 1500 || wrong > 6 { // measured: 3 at most
					t.Errorf("%s, late by 1 to %g timeouts: %d passed, %d right", conversation, worst, wrong, good)
				}
			})
		}
	}
}

// lateNeighbour serves the questions of two instruments whose answers look
// alike: those of A always come 1.15 timeouts later and say 22, those of T come
// soon and say 72.
func lateNeighbour(c net.Conn) {
	out, ended := make(chan string, 100), make(chan struct{})
	defer close(ended)
	go func() {
		for {
			select {
			case answer := <-out:
				_, _ = c.Write([]byte(answer)) // the line may have ended
			case <-ended:
				return
			}
		}
	}()
	var buf []byte
	heard := make([]byte, 64)
	for {
		n, err := c.Read(heard)
		if err != nil {
			return
		}
		for buf = append(buf, heard[:n]...); len(buf) >= 3; buf = buf[3:] {
			answer, delay := "V=72\r\n", 40*time.Millisecond
			if buf[0] == 'A' {
				answer, delay = "V=22\r\n", 230*time.Millisecond
			}
			time.AfterFunc(delay, func() { out <- answer })
		}
	}
}

// An instrument that is always a little late counts as dead before long. Its
// answers must not pass for those of its neighbour then either, nor for those
// to its own next question.
func TestLateAnswersOfADeadNeighbour(t *testing.T) {
	for _, every := range []time.Duration{200 * time.Millisecond, time.Second} {
		synctest.Test(t, func(t *testing.T) {
			out := &readings{}
			late, soon := question(quantity.Ambient, "A", every), question(quantity.Temperature, "T", every)
			late.Query.Reply, soon.Query.Reply = pattern("V={value}"), pattern("V={value}")
			o := busOptions(&socket{serve: lateNeighbour}, out, late, soon)
			o.Ports[0].Timeout = 200 * time.Millisecond
			_, stop := start(t, o)
			time.Sleep(2 * time.Minute)
			stop()
			good := 0
			for _, r := range out.of(quantity.Temperature) {
				if r.Reason != "" {
					continue
				}
				if good++; r.Number != 72 {
					t.Fatalf("every %v: at %v the temperature is %v, the answer to a question to another", every, r.At, r.Number)
				}
			}
			for _, r := range out.of(quantity.Ambient) {
				if r.Reason == "" {
					t.Fatalf("every %v: at %v a late answer passes for one in time: %v", every, r.At, r.Number)
				}
			}
			t.Logf("every %v: %d good readings beside it", every, good)
			if good < 30 {
				t.Errorf("every %v: %d good readings in 2 min", every, good)
			}
		})
	}
}

// watchedLine is a line that can tell of bytes without taking them, as one of the
// machine's can.
type watchedLine struct {
	net.Conn
	ahead []byte
}

func (l *watchedLine) Listen(d time.Duration) (bool, error) {
	if len(l.ahead) > 0 {
		return true, nil
	}
	if err := l.SetReadDeadline(time.Now().Add(max(d, time.Microsecond))); err != nil {
		return false, err
	}
	buf := make([]byte, 64)
	n, err := l.Conn.Read(buf)
	l.ahead = buf[:n]
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n > 0, err
}

func (l *watchedLine) Read(b []byte) (int, error) {
	if len(l.ahead) == 0 {
		return l.Conn.Read(b)
	}
	n := copy(b, l.ahead)
	l.ahead = l.ahead[n:]
	return n, nil
}

// askMany asks one text instrument for two minutes, whose answers to the question
// of that number the far end makes; it gives how many readings were right, and
// fails where one has the number of another question.
func askMany(t *testing.T, watched bool, answer func(n int) []piece) (good int) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		out, asked := &readings{}, 0
		s := &socket{serve: func(c net.Conn) {
			farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func([]byte) []piece {
				asked++
				return answer(asked)
			})
		}}
		o := busOptions(s, out, query())
		if watched {
			open := o.Open
			o.Open = func(p config.Port) (Line, error) {
				line, err := open(p)
				return &watchedLine{Conn: line.(net.Conn)}, err
			}
		}
		_, stop := start(t, o)
		time.Sleep(2 * time.Minute)
		stop()
		s.pull()
		time.Sleep(time.Second) // the far end notices
		for i, r := range out.of(quantity.Temperature) {
			switch {
			case r.Reason != "":
			case r.Number != float64(i+1):
				t.Fatalf("question %d, line watched %v: the reading is %v", i+1, watched, r.Number)
			default:
				good++
			}
		}
	})
	return good
}

// An answer that is two timeouts late may come right before the one to the next
// question. After a question without an answer a line counts only when the silence
// of 3.5 characters follows it, so that neither of two that stand together passes.
func TestALateAnswerRightBeforeTheNextIsDropped(t *testing.T) {
	for _, watched := range []bool{false, true} {
		good := askMany(t, watched, func(n int) []piece {
			own := numbered("query", n)
			switch n % 10 {
			case 0:
				return nil
			case 1:
				return []piece{{time.Millisecond, numbered("query", n-1)}, {time.Millisecond, own}}
			}
			return now(own...)
		})
		if good < 400 { // of some 600
			t.Errorf("line watched %v: %d readings are right", watched, good)
		}
	}
}

// A line that came before the question is no answer to it, however late the answer
// is; and it shows that the instrument speaks unasked, so that the next one is taken
// only with silence behind it.
func TestALineBeforeTheQuestionIsNoAnswer(t *testing.T) {
	for _, watched := range []bool{false, true} {
		stray := piece{100 * time.Millisecond, []byte("T=0\r\n")}
		good := askMany(t, watched, func(n int) []piece {
			own := numbered("query", n)
			if n%5 == 0 {
				return []piece{{time.Millisecond, stray.bytes}, {time.Millisecond, own}, stray}
			}
			return []piece{{20 * time.Millisecond, own}, stray}
		})
		if good < 400 { // of some 600
			t.Errorf("line watched %v: %d readings are right", watched, good)
		}
	}
}
