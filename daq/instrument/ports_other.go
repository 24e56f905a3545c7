//go:build !linux && !windows

package instrument

import (
	"fmt"
	"slices"

	"go.bug.st/serial"
)

// listPorts has names alone: the library's USB details need cgo here.
func listPorts() ([]Found, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("ports: %w", err)
	}
	slices.Sort(names)
	var list []Found
	for _, name := range names {
		list = append(list, Found{Device: name})
	}
	return list, nil
}
