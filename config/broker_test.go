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

// TestCommandsThatAnybodyMayGive holds that commands over MQTT are warned of, where others
// than those meant could give them.
func TestCommandsThatAnybodyMayGive(t *testing.T) {
	base, err := os.ReadFile("../testdata/rigs/bad/warn-broker.toml")
	if err != nil {
		t.Fatal(err)
	}
	text, _, _ := strings.Cut(string(base), "[mqtt]")
	const account = "username = \"bench-3\"\npassword_file = \"mqtt.secret\"\n"
	for table, want := range map[string]string{
		"broker = \"embedded\"\n":                        "has no accounts",
		"broker = \"tcp://127.0.0.1\"\n":                 "without an account",
		"broker = \"tcp://127.0.0.1\"\n" + account:       "",
		"broker = \"tls://broker.example\"\n":            "without an account",
		"broker = \"tls://broker.example\"\n" + account:  "",
		"broker = \"tcp://broker.example\"\n" + account:  "in the clear, and anybody there can give them",
		"broker = \"mqtt://broker.example\"\n" + account: "in the clear, and anybody there can give them",
	} {
		for _, on := range []bool{true, false} {
			c, problems := Parse("rig.toml", []byte(text+"[mqtt]\n"+table+"commands = "+map[bool]string{true: "true", false: "false"}[on]+"\n"))
			var said string
			for _, p := range problems {
				if strings.Contains(p.String(), "mqtt.commands") {
					said += p.String()
				}
			}
			if Fatal(problems) || c.MQTT.Commands != on || (said != "") != (on && want != "") || on && !strings.Contains(said, want) {
				t.Errorf("%s commands = %v: %q, want %q", table, on, said, want)
			}
		}
	}
}
