// Package daqtest owns what the tests of several packages share: it reads the
// line logs that flowrigd probe --log writes, plays them as the far end of a
// line, gives out loopback addresses that stay free, and reads the example rigs.
//
//	line log → entries → Play, at the far end of a pipe or a pseudo-terminal
//	FreeAddress → host:port for a program that a test starts
//	testdata/rigs/good → Rig, the text of a configuration
//
// It writes no log (daq/instrument does, while it probes), judges no answer,
// and only tests import it.
package daqtest

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Entry is bytes that went over a line in one direction.
type Entry struct {
	At    time.Duration // since the line was opened
	Sent  bool          // by the program; else heard by it
	Bytes []byte
}

// Read reads a line log. Each of its lines is a time in seconds, the word sent
// or heard, bytes in hexadecimal, and perhaps a comment behind #; a line may be
// a comment alone. Errors name the line.
func Read(r io.Reader) ([]Entry, error) {
	var log []Entry
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		text, _, _ := strings.Cut(lines.Text(), "#")
		fields := strings.Fields(text)
		if len(fields) == 0 {
			continue
		}
		e, err := entry(fields)
		if err == nil && len(log) > 0 && e.At < log[len(log)-1].At {
			err = fmt.Errorf("%s: earlier than the entry before it", fields[0])
		}
		if err != nil {
			return nil, fmt.Errorf("line log: line %d: %w", n, err)
		}
		log = append(log, e)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("line log: %w", err)
	}
	return log, nil
}

func entry(fields []string) (Entry, error) {
	if len(fields) < 3 || fields[1] != "sent" && fields[1] != "heard" {
		return Entry{}, fmt.Errorf("%q: write a time in seconds, sent or heard, and bytes in hexadecimal", strings.Join(fields, " "))
	}
	seconds, err := strconv.ParseFloat(fields[0], 64)
	if err != nil || !(seconds >= 0 && seconds < math.MaxInt64/1e9) {
		return Entry{}, fmt.Errorf("%q: no time in seconds", fields[0])
	}
	b, err := hex.DecodeString(strings.Join(fields[2:], ""))
	if err != nil {
		return Entry{}, fmt.Errorf("%q: no bytes in hexadecimal", strings.Join(fields[2:], " "))
	}
	return Entry{time.Duration(math.Round(seconds * 1e9)), fields[1] == "sent", b}, nil
}

// Load reads the line log of a file.
func Load(t testing.TB, file string) []Entry {
	t.Helper()
	f, err := os.Open(file)
	Must(t, err)
	defer f.Close()
	log, err := Read(f)
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return log
}

// Heard is what the program heard, the answer to each thing sent as one piece.
func Heard(log []Entry) (pieces [][]byte) {
	var piece []byte
	for _, e := range append(log[:len(log):len(log)], Entry{Sent: true}) {
		if !e.Sent {
			piece = append(piece, e.Bytes...)
		} else if len(piece) > 0 {
			pieces, piece = append(pieces, piece), nil
		}
	}
	return pieces
}

// Play is the far end of a line: it waits for what the log says was sent, and
// answers with what was heard, as long after it as then. It ends with the log,
// with an error when something else comes or the line ends before.
func Play(line io.ReadWriter, log []Entry) error {
	base, baseAt := time.Now(), time.Duration(0)
	for i, e := range log {
		if !e.Sent {
			time.Sleep(time.Until(base.Add(e.At - baseAt)))
			if _, err := line.Write(e.Bytes); err != nil {
				return fmt.Errorf("line log: entry %d: %w", i+1, err)
			}
			continue
		}
		got := make([]byte, len(e.Bytes))
		n, err := io.ReadFull(line, got)
		if err != nil || !bytes.Equal(got, e.Bytes) {
			return fmt.Errorf("line log: entry %d: % X came (%v), the log has % X", i+1, got[:n], err, e.Bytes)
		}
		base, baseAt = time.Now(), e.At
	}
	return nil
}
