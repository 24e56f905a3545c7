package instrument

import (
	"bytes"
	"strings"
	"testing"
)

// TestPortsForPeople holds what a technician reads: the stable name is the one
// to write down, and where there is none the device.
func TestPortsForPeople(t *testing.T) {
	t.Parallel()
	var out, diag bytes.Buffer
	found := []Found{
		{Device: "/dev/ttyS0"},
		{Device: "/dev/ttyUSB1", USB: &USB{Vendor: "0001", Product: "00a2"}},
		{Device: "/dev/ttyUSB0", Stable: []string{"/dev/serial/by-id/usb-an_adapter-N7"}, USB: &USB{Vendor: "0001", Product: "00a2", Serial: "N7", Name: "an adapter"}},
	}
	if err := PrintPorts(&out, &diag, found); err != nil {
		t.Fatal(err)
	}
	want := `DEVICE        USB                      WRITE THIS IN THE CONFIGURATION
/dev/ttyS0    -                        /dev/ttyS0
/dev/ttyUSB1  0001:00a2                /dev/ttyUSB1
/dev/ttyUSB0  0001:00a2 an adapter N7  /dev/serial/by-id/usb-an_adapter-N7
`
	if out.String() != want {
		t.Errorf("it prints\n%swant\n%s", &out, want)
	}
	out.Reset()
	if err := PrintPorts(&out, &diag, nil); err != nil || out.String() != "" || !strings.Contains(diag.String(), "no serial port: is the adapter plugged in") {
		t.Errorf("without ports: %v, %q, %q", err, &out, &diag)
	}
}
