package instrument

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// The serial library's own list opens every ttyS to see whether it is real and
// sets it up anew on the way; the kernel tells the same without.

func listPorts() ([]Found, error) { return portsUnder("/sys/class/tty", "/dev") }

// portsUnder reads the kernel's list of terminals that have a device behind
// them.
func portsUnder(class, dev string) ([]Found, error) {
	entries, err := os.ReadDir(class)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // a container without sysfs has no ports
	}
	if err != nil {
		return nil, fmt.Errorf("ports: %w", err)
	}
	stable := stableNames(filepath.Join(dev, "serial", "by-id"))
	var list []Found
	for _, e := range entries {
		entry := filepath.Join(class, e.Name())
		device, err := filepath.EvalSymlinks(filepath.Join(entry, "device"))
		if err != nil || attribute(entry, "type") == "0" { // a ttyS without hardware is of type 0
			continue
		}
		name := filepath.Join(dev, e.Name())
		list = append(list, Found{Device: name, Stable: stable[name], USB: usbOf(device)})
	}
	slices.SortFunc(list, func(a, b Found) int { return strings.Compare(a.Device, b.Device) })
	return list, nil
}

// stableNames are the links to each device; none where the folder is not
// there.
func stableNames(folder string) map[string][]string {
	names := map[string][]string{}
	entries, err := os.ReadDir(folder)
	if err != nil {
		return names
	}
	for _, e := range entries {
		link := filepath.Join(folder, e.Name())
		if target, err := filepath.EvalSymlinks(link); err == nil {
			names[target] = append(names[target], link)
		}
	}
	return names
}

// usbOf looks upwards from a device for the USB device that it is part of.
func usbOf(device string) *USB {
	for dir := device; len(dir) > 1; dir = filepath.Dir(dir) {
		if vendor := attribute(dir, "idVendor"); vendor != "" {
			return &USB{
				Vendor: vendor, Product: attribute(dir, "idProduct"), Serial: attribute(dir, "serial"),
				Manufacturer: attribute(dir, "manufacturer"), Name: attribute(dir, "product"),
			}
		}
	}
	return nil
}

// attribute is a line of sysfs; "" where it is not there.
func attribute(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
