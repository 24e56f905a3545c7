package config

import (
	"os"
	"strings"
	"testing"
)

// TestBrokerInTheClear holds that a broker without encryption is warned of, with
// the password it is given, where it is not on this machine.
func TestBrokerInTheClear(t *testing.T) {
	base, err := os.ReadFile("../testdata/rigs/bad/warn-broker.toml")
	if err != nil {
		t.Fatal(err)
	}
	text, _, _ := strings.Cut(string(base), "[mqtt]")
	for broker, warned := range map[string]bool{
		"tcp://127.0.0.1": false, "mqtt://localhost:1884": false, "tcp://[::1]:1883": false, "embedded": false,
		"tls://broker.example": false, "tcp://192.0.2.7": true, "mqtt://broker.example": true,
	} {
		account := "username = \"bench-3\"\npassword_file = \"mqtt.secret\"\n"
		if broker == "embedded" {
			account = ""
		}
		_, problems := Parse("rig.toml", []byte(text+"[mqtt]\nbroker = \""+broker+"\"\n"+account))
		want := 0
		if warned {
			want = 2
		}
		if len(problems) != want || Fatal(problems) {
			t.Errorf("%s: %v", broker, problems)
		}
	}
}
