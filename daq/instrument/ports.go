package instrument

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"flowrigd/config"
)

// Found is a serial port of this machine.
type Found struct {
	Device string   `json:"device"`
	Stable []string `json:"stable"` // names that stay the same wherever it is plugged in
	USB    *USB     `json:"usb"`    // nil: not on USB
}

// USB is the identity of a USB adapter.
type USB struct {
	Vendor       string `json:"vendor"`  // four hexadecimal digits
	Product      string `json:"product"` // four hexadecimal digits
	Serial       string `json:"serial"`
	Manufacturer string `json:"manufacturer"`
	Name         string `json:"name"`
}

// Ports lists the serial ports of this machine by name. It opens none of them:
// opening changes the settings of a line that is at work.
func Ports() ([]Found, error) {
	found, err := listPorts()
	return append([]Found{}, found...), err // in JSON none is [], not null
}

// PrintPorts writes the ports as a technician reads them, with the name to write
// down; that there is none it tells say.
func PrintPorts(out, say io.Writer, found []Found) error {
	if len(found) == 0 {
		fmt.Fprintln(say, "no serial port: is the adapter plugged in, and does this user belong to the group of its device (often dialout)?")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "DEVICE\tUSB\tWRITE THIS IN THE CONFIGURATION")
	for _, f := range found {
		usb, stable := "-", append(f.Stable, f.Device)[0]
		if f.USB != nil {
			usb = strings.Join(strings.Fields(f.USB.Vendor+":"+f.USB.Product+" "+f.USB.Name+" "+f.USB.Serial), " ")
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", config.Printable(f.Device), config.Printable(usb), config.Printable(stable))
	}
	return w.Flush()
}
