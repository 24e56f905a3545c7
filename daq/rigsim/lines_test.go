package rigsim

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"

	"flowrigd/calc/quantity"
	"flowrigd/daq/modbus"
)

// start runs a rig for the length of a test and fails it when the rig fails or
// leaves a goroutine behind.
func start(t *testing.T, o Options) *Sim {
	t.Helper()
	before := goleak.IgnoreCurrent()
	s := newSim(t, o)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	select {
	case <-s.Ready():
	case err := <-done:
		t.Fatalf("the rig did not start: %v", err)
	}
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the rig ended with %v", err)
		}
		goleak.VerifyNone(t, before)
	})
	return s
}

type deadliner interface {
	io.ReadWriteCloser
	SetReadDeadline(time.Time) error
}

// exchange asks once and waits up to two seconds for n bytes.
func exchange(t *testing.T, c deadliner, request []byte, n int) ([]byte, error) {
	t.Helper()
	if _, err := c.Write(request); err != nil {
		return nil, err
	}
	must(t, c.SetReadDeadline(time.Now().Add(2*time.Second)))
	got := make([]byte, n)
	_, err := io.ReadFull(c, got)
	return got, err
}

func TestMemoryLine(t *testing.T) {
	s := start(t, Options{Seed: 1})
	far, err := s.Dial("/anywhere/bus")
	must(t, err)
	req := modbus.ReadRequest(1, modbus.ReadInputRegisters, 0, 2)
	got, err := exchange(t, far.(deadliner), req, 9)
	must(t, err)
	if _, err := modbus.ParseResponse(req, got); err != nil {
		t.Error(err)
	}
	again, err := s.Dial("bus")
	must(t, err)
	defer again.Close()
	if _, err := far.Read(make([]byte, 1)); err != io.EOF {
		t.Errorf("the one who held the line before reads %v, want EOF", err)
	}
	if _, err := s.Dial("nowhere"); err == nil {
		t.Error("a line that is not there was opened")
	}
}

func TestMemoryDeadline(t *testing.T) {
	near, far := newLine()
	defer near.Close()
	must(t, far.SetReadDeadline(time.Now().Add(time.Millisecond)))
	if _, err := far.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("a read past its deadline: %v", err)
	}
}

func TestMemoryPull(t *testing.T) {
	s := start(t, Options{Seed: 1})
	far, err := s.Dial("tc")
	must(t, err)
	s.lines[lineTC].plug(false)
	if _, err := far.Read(make([]byte, 1)); err != io.EOF {
		t.Errorf("after the cable was pulled a read gives %v, want EOF", err)
	}
	if _, err := s.Dial("tc"); err == nil {
		t.Error("a pulled cable was opened")
	}
	s.lines[lineTC].plug(true)
	far = dialSoon(t, s, "tc")
	defer far.Close()
	if got, err := exchange(t, far.(deadliner), []byte("T?\r"), 9); err != nil || !bytes.HasPrefix(got, []byte("T=")) {
		t.Errorf("after the cable is back: %q, %v", got, err)
	}
}

// dialSoon dials until the line is there, two seconds at most.
func dialSoon(t *testing.T, s *Sim, name string) io.ReadWriteCloser {
	t.Helper()
	for deadline := time.Now().Add(2 * time.Second); ; {
		far, err := s.Dial(name)
		if err == nil {
			return far
		}
		if time.Now().After(deadline) {
			t.Fatal(err)
		}
	}
}

func TestStreamTalks(t *testing.T) {
	s := start(t, Options{Seed: 1, Scenario: "sweep"})
	far, err := s.Dial("air")
	must(t, err)
	defer far.Close()
	got, err := exchange(t, far.(deadliner), nil, len("A=21.00;XX\n"))
	must(t, err)
	check := byte(0)
	for _, b := range got[:8] {
		check ^= b
	}
	const digits = "0123456789ABCDEF"
	var celsius float64
	if _, err := fmt.Sscanf(string(got), "A=%f;", &celsius); err != nil {
		t.Fatalf("%q: %v", got, err)
	}
	truth := s.Truth()
	room, _ := truth.Values.Get(quantity.Ambient)
	// Its limits of 0.5 K, and its noise.
	if math.Abs(celsius-room) > 0.6 || got[8] != digits[check>>4] || got[9] != digits[check&15] {
		t.Errorf("the room's thermometer says %q", got)
	}
}

// A rig that is told to stop while nobody has dialled, and one that is dialled
// after its end.
func TestDialAfterEnd(t *testing.T) {
	s := newSim(t, Options{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	must(t, s.Run(ctx))
	if _, err := s.Dial("bus"); err == nil {
		t.Error("a rig that has stopped was dialled")
	}
}
