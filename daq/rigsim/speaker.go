package rigsim

import (
	"bytes"
	"fmt"
	"time"

	"flowrigd/calc/quantity"
)

// longestQuestion bounds what a text instrument keeps of a line without end.
const longestQuestion = 64

// hearTC takes bytes off the thermocouple's line; to T? it answers the
// millivolts, to any other question that it does not know it.
func (s *Sim) hearTC(l *line, p []byte) (answers []answer) {
	s.follow()
	l.heard = append(l.heard, p...)
	for {
		question, rest, whole := bytes.Cut(l.heard, []byte{'\r'})
		if !whole {
			break
		}
		reply := s.say(bytes.TrimSpace(question))
		answers = append(answers, s.mangle(l, append(bytes.Clone(question), '\r'), reply)...)
		l.heard = bytes.Clone(rest)
	}
	if len(l.heard) > longestQuestion {
		l.heard = nil
	}
	return answers
}

func (s *Sim) say(question []byte) []byte {
	if string(question) != "T?" {
		return []byte("E=1\r\n")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	in := s.sensor(quantity.Temperature)
	if in.failed {
		return []byte("T=OPEN\r\n")
	}
	return fmt.Appendf(nil, "T=%.3f\r\n", in.read())
}

// airEvery is how often the room's thermometer sends unprompted.
const airEvery = 500 * time.Millisecond

// talkAir is the next line of the room's thermometer: the value and, as two
// hexadecimal digits, the exclusive or of all bytes before them.
func (s *Sim) talkAir() []byte {
	s.follow()
	s.mu.Lock()
	defer s.mu.Unlock()
	in := s.sensor(quantity.Ambient)
	text := fmt.Appendf(nil, "A=%.2f;", in.read())
	check := byte(0)
	for _, b := range text {
		check ^= b
	}
	return fmt.Appendf(text, "%02X\n", check)
}
