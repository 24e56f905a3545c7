package instrument

import (
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial/enumerator"
)

func listPorts() ([]Found, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("ports: %w", err)
	}
	var list []Found
	for _, d := range details {
		f := Found{Device: d.Name}
		if d.IsUSB {
			f.USB = &USB{Vendor: d.VID, Product: d.PID, Serial: d.SerialNumber, Manufacturer: d.Manufacturer, Name: d.Product}
		}
		list = append(list, f)
	}
	slices.SortFunc(list, func(a, b Found) int { return strings.Compare(a.Device, b.Device) })
	return list, nil
}
