package channel

import (
	"math"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// pulses turns a counter that wraps into a flow: the mean over a window, which
// falls to 0 within one window after the last pulse.
type pulses struct {
	cfg   config.Pulses
	gap   time.Duration // a longer silence begins anew: the counter may have wrapped unseen
	mask  uint64
	kept  []tally // oldest first; the first is the newest that is a window old
	count uint64  // as last read
}

// tally is the unwrapped count at a time.
type tally struct {
	at    time.Duration
	total uint64
}

func newPulses(cfg config.Pulses, stale time.Duration) *pulses {
	bits := cfg.Bits
	if bits <= 0 || bits > 64 {
		bits = 64
	}
	return &pulses{cfg: cfg, gap: max(stale, cfg.Window), mask: math.MaxUint64 >> (64 - bits)}
}

// rate takes a count. ok is false for the first one after a silence.
func (p *pulses) rate(r daq.Reading, m *Measured) (ok bool, f *fault) {
	n := len(p.kept)
	if n == 0 || r.At-p.kept[n-1].at > p.gap {
		p.begin(r)
		return false, nil
	}
	step := (r.Count - p.count) & p.mask
	if step > p.mask/2 {
		was := p.count
		p.begin(r)
		return false, faultf(daq.ReasonStep, "the counter fell from %d to %d: the meter has restarted, or the count is not %d bits wide", was, r.Count, p.cfg.Bits)
	}
	p.add(tally{r.At, p.kept[n-1].total + step}, r.Count)
	return p.mean(m), nil
}

func (p *pulses) begin(r daq.Reading) {
	p.kept, p.count = append(p.kept[:0], tally{at: r.At}), r.Count
}

func (p *pulses) add(t tally, count uint64) {
	p.kept, p.count = append(p.kept, t), count
	old := 0
	for old+1 < len(p.kept) && t.at-p.kept[old+1].at >= p.cfg.Window {
		old++
	}
	p.kept = append(p.kept[:0], p.kept[old:]...)
}

// mean is the flow over the window. Its ends fall anywhere between two pulses,
// so the count is off by the difference of two uniform fractions: a triangle
// of half-width 1, standard uncertainty 1/√6 (JCGM 100:2008, 4.3.9).
func (p *pulses) mean(m *Measured) bool {
	first, last := p.kept[0], p.kept[len(p.kept)-1]
	span := (last.at - first.at).Seconds()
	if span <= 0 {
		return false
	}
	perPulse := 1 / (p.cfg.PerCubicMeter * span)
	m.Value = float64(last.total-first.total) * perPulse
	m.DominantU = perPulse / math.Sqrt(6)
	return true
}
