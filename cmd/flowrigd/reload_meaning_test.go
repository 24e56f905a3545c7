//go:build unix

package main

import (
	"encoding/binary"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
	"flowrigd/daq/modbus"
)

// Two tables for one pressure of 1440 Pa: register 40 holds tenths of a pascal,
// register 41 pascals.
const (
	inTenths = `
[instruments.pressure_drop]
port = "bus"
every = "100 ms"
modbus = {address = 2, table = "holding", register = 40, type = "uint16"}
scale = {from = [0, 10], to = ["0 Pa", "1 Pa"]}
`
	inPascals = `
[instruments.pressure_drop]
port = "bus"
every = "100 ms"
modbus = {address = 2, table = "holding", register = 41, type = "uint16"}
unit = "Pa"
`
)

// TestReloadMixesNoMeanings moves a pressure from one register to another of
// another unit, while a thermometer that does not answer keeps its line busy for
// the change. No reading of the one is taken for the other.
func TestReloadMixesNoMeanings(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	b.set(func(b *handBench) {
		b.garble = func([]byte, []byte) []byte { return nil }
		b.spoil = func(request, answer []byte) []byte {
			switch request[0]<<4 | request[3]&0xF { // address and register
			case 2<<4 | 40&0xF:
				return modbus.ReadResponse(2, modbus.ReadHoldingRegisters, binary.BigEndian.AppendUint16(nil, 14400))
			case 2<<4 | 41&0xF:
				return modbus.ReadResponse(2, modbus.ReadHoldingRegisters, binary.BigEndian.AppendUint16(nil, 1440))
			}
			return answer
		}
	})
	file := b.config(at, inTenths)
	slow := func(more, accuracy string) {
		text := read(t, b.config(at, more))
		head, tail, _ := strings.Cut(text, "[ports.tc]")
		tail = strings.Replace(tail, `timeout = "250 ms"`, `timeout = "1 s"`, 1)
		write(t, file, strings.Replace(head+"[ports.tc]"+tail, `fixed = "0.5 K"`, accuracy, 1))
	}
	slow(inTenths, `fixed = "0.5 K"`)
	d := start(t, program, "run", "--config", file)
	pressure := func() float64 { return number(now(at), "pressure_drop_pascals") }
	within(t, 10*time.Second, "the pressure", func() bool { return pressure() == 1440 })
	for n := range 6 {
		slow([]string{inPascals, inTenths}[n%2], []string{`fixed = "0.6 K"`, `fixed = "0.5 K"`}[n%2])
		d.signal(syscall.SIGHUP)
		within(t, 10*time.Second, "the reload is taken", func() bool { return metric(at, "flowrig_config_reloads_total") == float64(n+1) })
		within(t, 5*time.Second, "the pressure", func() bool { return pressure() == 1440 })
	}
	d.ends(exitDone)
	if wrong := sqlRows(t, b.dir, `SELECT count(*) FROM sample WHERE abs(pressure_drop_pascals - 1440) > 1e-6`); wrong != "0" {
		t.Errorf("%s rows hold another pressure", wrong)
	}
	// Each reading, with the configuration that was in force when it came.
	if inForce := sqlRows(t, b.dir, `SELECT count(*) FROM input WHERE kind = 'reload'`); inForce != "6" {
		t.Errorf("%s reloads in the recording", inForce)
	}
	mixed := sqlRows(t, b.dir, `SELECT count(*) FROM input i WHERE kind = 'reading' AND json_extract(body, '$.of') = 'pressure_drop' AND json_extract(body, '$.reason') IS NULL
		AND json_extract(body, '$.number') != CASE (SELECT count(*) FROM input r WHERE r.kind = 'reload' AND r.number < i.number) % 2 WHEN 0 THEN 14400 ELSE 1440 END`)
	if mixed != "0" {
		t.Errorf("%s readings came under the other configuration", mixed)
	}
}
