package live

import (
	"context"
	"fmt"
	"io"
	"iter"
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// sameTo is how far another build may be from what was recorded, relative: the last
// digits of a computation differ between compilers and machines.
const sameTo = 1e-9

// comparison holds the states of a replay against the rows of a run that another
// build has recorded, quantity by quantity.
type comparison struct {
	recorded Recorded
	next     func() (daq.Row, error, bool)
	stop     func()
	row      daq.Row // the next one to compare with
	has      bool
	rows     int // compared
	first    [quantity.Count]string
	times    [quantity.Count]int
}

// endOfTime is later than any run.
var endOfTime = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// compareWith begins at a run, which ends where the next one begins.
func compareWith(ctx context.Context, from Recorded, run daq.Run, until time.Time) *comparison {
	if until.IsZero() {
		until = endOfTime
	}
	c := &comparison{recorded: from}
	c.next, c.stop = iter.Pull2(from.Rows(ctx, run.Began, until))
	return c
}

// see takes a state of the run: those that make a row have one, unless the disk did
// not take it.
func (c *comparison) see(s *daq.State) error {
	if !s.Sample {
		return nil
	}
	for at := s.Time.Truncate(time.Microsecond); !c.has || c.row.Time.Before(at); {
		row, err, more := c.next()
		if err != nil {
			return err
		}
		if !more {
			row.Time = endOfTime
		}
		if c.row, c.has = row, true; !more {
			return nil
		}
	}
	if daq.FormatTime(c.row.Time) != daq.FormatTime(s.Time) {
		return nil
	}
	c.rows++
	for id := range quantity.Count {
		if c.recorded.Has(id) && !equalTo(&c.row.Values, &s.Values, id) {
			if c.times[id]++; c.times[id] == 1 {
				c.first[id] = fmt.Sprintf("first at %s, where %s was recorded and %s comes now", daq.FormatTime(s.Time), known(&c.row.Values, id), known(&s.Values, id))
			}
		}
	}
	return nil
}

// equalTo says whether a quantity is the same in both, to sameTo.
func equalTo(a, b *quantity.Set, id quantity.ID) bool {
	x, knownX := a.Get(id)
	y, knownY := b.Get(id)
	return knownX == knownY && math.Abs(x-y) <= sameTo*math.Max(math.Abs(x), math.Abs(y))
}

func known(s *quantity.Set, id quantity.ID) string {
	if text := s.Cell(id); text != "" {
		return text
	}
	return "nothing"
}

func (c *comparison) say(to io.Writer, run daq.Run) {
	c.stop()
	by := "by another build, which it does not name"
	if run.Build != "" {
		by = "by another build, " + run.Build
	}
	fmt.Fprintf(to, "replay: run %d was made %s: %d of its rows compared to %g, of what both know\n", run.Number, by, c.rows, sameTo)
	for id := range quantity.Count {
		if c.times[id] > 0 {
			fmt.Fprintf(to, "replay: run %d: %s differs in %d rows, %s\n", run.Number, id.Name(), c.times[id], c.first[id])
		}
	}
}
