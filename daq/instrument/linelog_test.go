package instrument

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// conversations are recorded ones: flowrigd probe --log wrote them against a
// slave made with pymodbus (modbus) and against the simulated rig (query and
// stream).
func conversations() []conversation {
	refused := register(quantity.Level, 1, 8, 200*time.Millisecond)
	refused.Modbus.Type = config.Uint16
	question := query()
	question.Every = 500 * time.Millisecond
	air := config.Instrument{
		ID: quantity.Ambient, Name: "ambient", Port: "bus", Every: time.Second, Checksum: config.XORChecksum,
		Stream: &config.Stream{Line: pattern("A={value};"), End: []byte("\n")},
	}
	return []conversation{
		{"modbus", register(quantity.Flow, 1, 0, 200*time.Millisecond), []string{"1.2", "1.2", "1.2"}},
		{"modbus-refused", refused, []string{"exception", "exception", "exception"}},
		{"query", question, []string{"0.64", "0.641", "0.636"}},
		{"stream", air, []string{"20.76", "20.76", "20.73"}},
	}
}

type conversation struct {
	log  string
	in   config.Instrument
	want []string // of each exchange: its number, or the reason of its fault
}

// playing opens a line whose far end plays a log.
func playing(log []daqtest.Entry, ended chan<- error) Opener {
	return func(config.Port) (Line, error) {
		near, far := net.Pipe()
		go func() { ended <- daqtest.Play(far, log) }()
		return near, nil
	}
}

// A recorded conversation, played again, gives what it gave; its own log is the
// same conversation.
func TestRecordedConversations(t *testing.T) {
	for _, c := range conversations() {
		t.Run(c.log, func(t *testing.T) {
			log := daqtest.Load(t, "../../testdata/logs/"+c.log+".log")
			synctest.Test(t, func(t *testing.T) {
				var text bytes.Buffer
				again, ended := newLineLog(&text, testPort("/dev/bus"), c.in), make(chan error, 1)
				var got []string
				if err := probe(t.Context(), testPort("/dev/bus"), c.in, again.Open(playing(log, ended)), len(c.want), func(_ *prober, x exchange) {
					got = append(got, worth(x.reading))
				}); err != nil {
					t.Fatal(err)
				}
				if err := <-ended; err != nil {
					t.Error(err)
				}
				if !slices.Equal(got, c.want) {
					t.Errorf("got %q, want %q", got, c.want)
				}
				second, err := daqtest.Read(&text)
				if err != nil || fmt.Sprint(daqtest.Heard(second)) != fmt.Sprint(daqtest.Heard(log)) || len(second) != len(log) {
					t.Errorf("its own log, %v:\n%v\nwant\n%v", err, second, log)
				}
			})
		})
	}
}

// worth is a reading's number, or the reason of its fault.
func worth(r daq.Reading) string {
	if r.Reason != "" {
		return string(r.Reason)
	}
	return fmt.Sprint(float32(r.Number))
}

// A far end that is asked something else says so: a log is a test.
func TestRecordedConversationWithAnotherRequest(t *testing.T) {
	log := daqtest.Load(t, "../../testdata/logs/modbus.log")
	synctest.Test(t, func(t *testing.T) {
		ended := make(chan error, 1)
		in := register(quantity.Flow, 1, 2, 200*time.Millisecond)
		_ = probe(t.Context(), testPort("/dev/bus"), in, playing(log, ended), 1, func(*prober, exchange) {})
		if err := <-ended; err == nil || !strings.Contains(err.Error(), "entry 1: 01 04 00 02 00 02 D0 0B came") {
			t.Errorf("got %v", err)
		}
	})
}

type fullDisk struct{}

var errFull = errors.New("no space left")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestLineLogTellsOfADiskThatIsFull(t *testing.T) {
	log := newLineLog(fullDisk{}, testPort("/dev/bus"), query())
	if err := log.err; !errors.Is(err, errFull) {
		t.Errorf("got %v", err)
	}
	if _, err := log.Open(func(config.Port) (Line, error) { return nil, errBusy })(testPort("/dev/bus")); !errors.Is(err, errBusy) {
		t.Errorf("a busy line: %v", err)
	}
}

func TestHexAndText(t *testing.T) {
	b := []byte{0, 0x2F, 'T', '"', 0xCD, 0x84, '\r'}
	if got := hexOf(b) + " " + textOf(b); got != `00 2F 54 22 CD 84 0D \x00/T\"\xcd\x84\r` {
		t.Errorf("got %s", got)
	}
	if hexOf(nil)+textOf(nil) != "" {
		t.Error("nothing is something")
	}
}
