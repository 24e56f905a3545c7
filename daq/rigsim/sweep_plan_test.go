package rigsim

import (
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// The plan of the scenario sweep is captured whole, unaided: four temperatures, three
// states each, and each condition once. Then the experiment is done. With -short its
// first temperature.
func TestSweepIsCapturedUnaided(t *testing.T) {
	t.Parallel()
	seeds := 1
	if *long {
		seeds = 4
	}
	for seed := range seeds {
		w := watchPlan(t, newSim(t, Options{Scenario: "sweep", Seed: uint64(seed) + 1}), "")
		w.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{Who: "dana", Ask: &daq.StartExperimentAsk{Plan: SweepPlan}}})
		if r := w.engine.Reply(); r == nil || r.Error != "" {
			t.Fatal(r)
		}
		end, want := time.Duration(len(sweepStages()))*sweepStage, 3*len(sweepStages())
		if testing.Short() {
			end, want = 3*sweepPoint, 3
		}
		var said []string
		for w.now < end {
			if e := w.interval().Experiment; e != nil && (len(said) == 0 || said[len(said)-1] != e.Next) {
				said = append(said, e.Next)
			}
		}
		points, done := map[string]*daq.TestPoint{}, false
		for _, e := range w.events {
			if p := e.TestPoint; p != nil {
				t.Logf("%v: %s", p.Time.UTC().Format("15:04:05"), p.Point)
				if points[p.Point] != nil || p.Who != "" || p.Experiment == "" || p.Spoilt != "" || p.Repeat != 0 || !strings.HasSuffix(p.Point, p.Computed) {
					t.Errorf("seed %d: %+v", seed, p)
				}
				points[p.Point] = p
			}
			done = done || e.Experiment != nil && e.Experiment.Action == "done"
		}
		if len(points) != want || done == testing.Short() {
			t.Errorf("seed %d: %d points, done %v; it said last %q", seed, len(points), done, said[max(0, len(said)-5):])
		}
	}
}
