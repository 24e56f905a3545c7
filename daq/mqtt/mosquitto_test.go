//go:build unix

package mqtt

import (
	"os"
	"strings"
	"testing"

	"flowrigd/daq/daqtest"
)

func TestMain(m *testing.M) {
	daqtest.AtOnce("8")
	os.Exit(m.Run())
}

// kept is what a broker retains under alarm/ now, by name.
func kept(m *daqtest.Mosquitto) map[string]string {
	all := map[string]string{}
	for _, h := range m.Listen("alarm/+").On("") {
		all[strings.TrimPrefix(h.Topic, "alarm/")] = h.Body
	}
	return all
}
