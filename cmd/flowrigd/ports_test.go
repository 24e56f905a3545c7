//go:build unix

package main

import (
	"encoding/json"
	"strings"
	"testing"
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
