// Command loop is a bare loop: it polls the bench, computes and publishes. Nothing is
// checked further, recorded, alarmed or shown.
package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"log"
	"math"
	"net"
	"os"
	"strconv"
	"time"

	"golang.org/x/sys/unix"
)

func line(name string) *os.File {
	fd, err := unix.Open(name, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	check(err)
	mode, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	check(err)
	mode.Iflag, mode.Oflag, mode.Lflag = 0, 0, 0
	check(unix.IoctlSetTermios(fd, unix.TCSETS, mode))
	return os.NewFile(uintptr(fd), name)
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}

func crc(b []byte) []byte {
	sum := uint16(0xFFFF)
	for _, x := range b {
		sum ^= uint16(x)
		for range 8 {
			low := sum & 1
			if sum >>= 1; low != 0 {
				sum ^= 0xA001
			}
		}
	}
	return []byte{byte(sum), byte(sum >> 8)}
}

func ask(f *os.File, request []byte, whole func([]byte) bool) []byte {
	_, err := f.Write(request)
	check(err)
	check(f.SetReadDeadline(time.Now().Add(2 * time.Second)))
	got, buf := []byte(nil), make([]byte, 256)
	for !whole(got) {
		n, err := f.Read(buf)
		check(err)
		got = append(got, buf[:n]...)
	}
	return got
}

func registers(f *os.File, address, function byte, register, count uint16) []byte {
	request := binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16([]byte{address, function}, register), count)
	n := 5 + 2*int(count)
	got := ask(f, append(request, crc(request)...), func(b []byte) bool { return len(b) >= n })
	if !bytes.Equal(crc(got[:n-2]), got[n-2:n]) {
		log.Fatal("checksum")
	}
	return got[3 : n-2]
}

func packet(kind byte, body []byte) []byte {
	return append(binary.AppendUvarint([]byte{kind}, uint64(len(body))), body...)
}

func text(s string) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(len(s))), s...)
}

func main() {
	bus, tc := line(os.Args[1]), line(os.Args[2])
	peer, err := net.Dial("tcp", os.Args[3])
	check(err)
	_, err = peer.Write(packet(0x10, append(append(text("MQTT"), 4, 2, 0, 0), text("bare-loop")...)))
	check(err)
	_, err = peer.Read(make([]byte, 4))
	check(err)
	const bore, length = 0.013, 0.9
	area := math.Pi * bore * bore / 4
	tick := time.NewTicker(200 * time.Millisecond)
	for n := 1; ; n++ {
		q := float64(math.Float32frombits(binary.BigEndian.Uint32(registers(bus, 1, 4, 0, 2)))) / 60000
		time.Sleep(2 * time.Millisecond)
		level := (float64(binary.BigEndian.Uint16(registers(bus, 2, 3, 16, 1))) - 4000) / 16000 * 0.4
		answer := ask(tc, []byte("T?\r"), func(b []byte) bool { return bytes.HasSuffix(b, []byte("\r\n")) })
		t, err := strconv.ParseFloat(string(answer[2:len(answer)-2]), 64)
		check(err)
		rho := 999.97 * (1 - (t+288.9414)/508929.2/(t+68.12963)*(t-3.9863)*(t-3.9863))
		mu := 2.414e-5 * math.Pow(10, 247.8/(t+133.15))
		v := q / area
		re := rho * v * bore / mu
		f, regime := 64/re, "laminar"
		if re > 4000 {
			f, regime = 0.3164/math.Pow(re, 0.25), "turbulent"
		}
		head := level + 1.1
		if n%5 == 0 {
			body, err := json.Marshal(map[string]any{
				"site": "north-hall", "rig": "bench-3", "time": time.Now().UTC(), "flow_cubic_meters_per_second": q,
				"temperature_celsius": t, "level_meters": level, "density_kg_per_cubic_meter": rho,
				"dynamic_viscosity_pascal_seconds": mu, "kinematic_viscosity_square_meters_per_second": mu / rho,
				"velocity_meters_per_second": v, "reynolds_number": re, "friction_factor": f, "head_meters": head,
				"loss_coefficient": 2*9.80665*head/v/v - f*length/bore, "regime": regime,
			})
			check(err)
			_, err = peer.Write(packet(0x30, append(text("bare/loop/state"), body...)))
			check(err)
		}
		<-tick.C
	}
}
