package instrument

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"flowrigd/config"
)

// lineLog writes what goes over a line as text, for a person to read and for a
// test to play (package daqtest): each line a time in seconds since the line
// was opened, sent or heard, the bytes in hexadecimal, and behind # the same as
// text.
type lineLog struct {
	w     io.Writer
	began time.Time
	err   error // the first of writing
}

func newLineLog(w io.Writer, port config.Port, in config.Instrument) *lineLog {
	l := &lineLog{w: w, began: time.Now()}
	l.Note("flowrigd line log 1")
	l.Note(fmt.Sprintf("%s on %s, %d Bd, %s", in.Name, place(port), port.Baud, port.Framing()))
	return l
}

// Open opens lines that write into the log.
func (l *lineLog) Open(open Opener) Opener {
	return func(port config.Port) (Line, error) {
		line, err := open(port)
		if err != nil {
			return nil, err
		}
		l.began = time.Now()
		logged := &loggedLine{line, l}
		if fine, ok := line.(listener); ok {
			return &loggedListener{logged, fine}, nil
		}
		return logged, nil
	}
}

// Note writes a comment.
func (l *lineLog) Note(text string) {
	l.print("# " + strings.ReplaceAll(text, "\n", " "))
}

func (l *lineLog) entry(at time.Time, direction string, b []byte) {
	if len(b) > 0 {
		l.print(fmt.Sprintf("%.6f %s %s # %s", at.Sub(l.began).Seconds(), direction, hexOf(b), textOf(b)))
	}
}

func (l *lineLog) print(text string) {
	if l.err == nil {
		_, l.err = fmt.Fprintln(l.w, text)
	}
}

// loggedLine is a Line whose bytes stand in a log.
type loggedLine struct {
	Line
	log *lineLog
}

func (l *loggedLine) Read(b []byte) (int, error) {
	n, err := l.Line.Read(b)
	l.log.entry(time.Now(), "heard", b[:n])
	return n, err
}

func (l *loggedLine) Write(b []byte) (int, error) {
	at := time.Now()
	n, err := l.Line.Write(b)
	l.log.entry(at, "sent", b[:n])
	return n, err
}

// loggedListener is one that listens as finely as the line itself.
type loggedListener struct {
	*loggedLine
	listener
}

// hexOf writes bytes in hexadecimal for a person: "01 04 2F".
func hexOf(b []byte) string { return fmt.Sprintf("% X", b) }

// textOf writes bytes as text, with escapes for those that are no letters.
func textOf(b []byte) string {
	var out strings.Builder
	for i := range b {
		quoted := strconv.QuoteToASCII(string(b[i : i+1]))
		out.WriteString(quoted[1 : len(quoted)-1])
	}
	return out.String()
}
