package live

import (
	"strings"
	"testing"

	"flowrigd/config"
)

// TestReloadAsksTheEngine holds that what the engine cannot take up is refused
// before anything has moved, whatever the check of the file let through.
func TestReloadAsksTheEngine(t *testing.T) {
	t.Parallel()
	old, problems := config.Load("../../testdata/rigs/good/bench.toml")
	if old == nil {
		t.Fatal(problems)
	}
	if why := NeedsRestart(old, old); why != "" {
		t.Errorf("the configuration in force is refused: %s", why)
	}
	odd := *old
	odd.Tank.Drop.X = 30 // m
	if why := NeedsRestart(old, &odd); !strings.Contains(why, "engine: drop: 30 m is outside -20 to 20 m") {
		t.Errorf("a drop of 30 m: %q", why)
	}
}
