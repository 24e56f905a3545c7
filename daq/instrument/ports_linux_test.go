package instrument

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// Oracle: the layout of sysfs (kernel documentation, ABI/stable/sysfs-bus-usb
// and ABI/testing/sysfs-tty; from memory).
func TestPorts(t *testing.T) {
	root, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	write := func(path, text string) {
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	symlink := func(target, name string) {
		name = filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(filepath.Join(root, target), name); err != nil {
			t.Fatal(err)
		}
	}
	write("devices/usb1/1-2/idVendor", "0001\n")
	write("devices/usb1/1-2/idProduct", "00a2\n")
	write("devices/usb1/1-2/serial", "N7\n")
	write("devices/usb1/1-2/manufacturer", "a maker\n")
	write("devices/usb1/1-2/product", "an adapter\n")
	write("devices/usb1/1-2/1-2:1.0/ttyUSB0/x", "")
	symlink("devices/usb1/1-2/1-2:1.0/ttyUSB0", "class/ttyUSB0/device")
	write("devices/serial8250/x", "")
	symlink("devices/serial8250", "class/ttyS0/device")
	write("class/ttyS0/type", "4\n")
	symlink("devices/serial8250", "class/ttyS1/device")
	write("class/ttyS1/type", "0\n")
	write("class/tty1/x", "")
	write("dev/ttyUSB0", "")
	symlink("dev/ttyUSB0", "dev/serial/by-id/usb-an_adapter-N7")

	got, err := portsUnder(filepath.Join(root, "class"), filepath.Join(root, "dev"))
	if err != nil {
		t.Fatal(err)
	}
	want := []Found{
		{Device: filepath.Join(root, "dev/ttyS0")},
		{
			Device: filepath.Join(root, "dev/ttyUSB0"),
			Stable: []string{filepath.Join(root, "dev/serial/by-id/usb-an_adapter-N7")},
			USB:    &USB{Vendor: "0001", Product: "00a2", Serial: "N7", Manufacturer: "a maker", Name: "an adapter"},
		},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v", got)
	}
	if _, err := Ports(); err != nil {
		t.Error(err)
	}
}
