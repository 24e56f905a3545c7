//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"flowrigd/daq/instrument"
)

// TestPorts holds what the verb prints on this machine, whatever its ports are.
func TestPorts(t *testing.T) {
	t.Parallel()
	stdout, stderr, code := call(t, program, "ports", "--json")
	var list []struct {
		Device *string
		Stable []string
		USB    map[string]string
	}
	if err := json.Unmarshal([]byte(stdout), &list); err != nil || code != exitDone || stderr != "" || list == nil {
		t.Fatalf("ends with %d, %v: %s%s", code, err, stdout, stderr)
	}
	text, stderr, code := call(t, program, "ports")
	if code != exitDone || len(list) == 0 && (text != "" || !strings.Contains(stderr, "is the adapter plugged in")) {
		t.Errorf("ends with %d: %s%s", code, text, stderr)
	}
	for _, p := range list {
		if p.Device == nil || !strings.Contains(text, *p.Device) {
			t.Errorf("%+v is not in\n%s", p, text)
		}
	}
}

// TestPortsForPeople holds what a technician reads: the stable name is the one
// to write down, and where there is none the device.
func TestPortsForPeople(t *testing.T) {
	t.Parallel()
	c := portsVerb()
	var out, diag bytes.Buffer
	c.SetOut(&out)
	c.SetErr(&diag)
	found := []instrument.Found{
		{Device: "/dev/ttyS0"},
		{Device: "/dev/ttyUSB1", USB: &instrument.USB{Vendor: "0001", Product: "00a2"}},
		{Device: "/dev/ttyUSB0", Stable: []string{"/dev/serial/by-id/usb-an_adapter-N7"}, USB: &instrument.USB{Vendor: "0001", Product: "00a2", Serial: "N7", Name: "an adapter"}},
	}
	if err := printPorts(c, found); err != nil {
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
	if err := printPorts(c, nil); err != nil || out.String() != "" || !strings.Contains(diag.String(), "no serial port: is the adapter plugged in") {
		t.Errorf("without ports: %v, %q, %q", err, &out, &diag)
	}
}

// checkSays is what check must say of each thing that is legal but unwise on a
// line, by the file that has it.
var checkSays = map[string][]string{
	"warn-poll":     {"the polls take", "characters × 11 bits ÷", "Bd + 2 ×", "silence", "every", "raise every or baud"},
	"warn-accuracy": {"has no accuracy: the uncertainty of what is computed from it is unknown", "write the maker's limits of error"},
	"warn-tty":      {"may be another adapter after a restart", "write its name under /dev/serial/by-id, see `flowrigd ports`"},
}

func TestCheckWarns(t *testing.T) {
	t.Parallel()
	for name, parts := range checkSays {
		stdout, _, code := call(t, program, "check", "--config", "../../testdata/rigs/bad/"+name+".toml")
		if code != exitDone {
			t.Errorf("%s ends with %d", name, code)
		}
		says(t, name, stdout, parts...)
	}
}
