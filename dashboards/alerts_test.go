package dashboards

import (
	"os"
	"os/exec"
	"testing"
)

// TestAlertRules: promtool (of Debian's prometheus) checks the rules and runs
// their unit tests.
func TestAlertRules(t *testing.T) {
	path, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("FLOWRIG_REQUIRE") == "1" {
			t.Fatal("promtool is not installed")
		}
		t.Skip("promtool is not installed")
	}
	for _, arguments := range [][]string{{"check", "rules", "alerts.yml"}, {"test", "rules", "alerts_test.yml"}} {
		if out, err := exec.Command(path, arguments...).CombinedOutput(); err != nil {
			t.Errorf("promtool %v: %v\n%s", arguments, err, out)
		}
	}
}
