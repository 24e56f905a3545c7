package instrument

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
func Ports() ([]Found, error) { return listPorts() }
