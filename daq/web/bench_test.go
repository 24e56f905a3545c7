package web

import (
	"slices"
	"strings"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/daq"
)

// TestTheBenchIsToScale: in each orientation the tube's length, the head tank's height
// and, where the tube hangs under the tank, the drop have one scale, and nothing leaves
// the drawing, with a small bench and a large one.
func TestTheBenchIsToScale(t *testing.T) {
	for _, o := range []pipe.Orientation{pipe.VerticalDown, pipe.VerticalUp, pipe.Horizontal} {
		for _, size := range []struct{ length, lip, drop float64 }{{0.9, 0.25, 1.1}, {0.3, 0.1, 0.35}, {3, 0.5, 3.2}} {
			f := testFacts()
			f.Lip, f.Drop, f.HeadLost = size.lip, size.drop, number(size.lip-0.02)
			f.Tube.Orientation, f.Tube.Length, f.Tube.WatchedAt = o, uncertainty.Value{X: size.length}, uncertainty.Value{X: size.length / 2}
			d := frameOf(&f)
			long, spot := d.Tube.H, (d.Watched.Y-d.Tube.Y)/d.Tube.H
			if o == pipe.Horizontal {
				long, spot = d.Tube.W, (d.Watched.X-d.Tube.X)/d.Tube.W
			}
			near := func(what string, got, want float64) {
				if got < want*0.999-0.001 || got > want*1.001+0.001 {
					t.Errorf("%v %v: %s is %v, want %v", o, size, what, got, want)
				}
			}
			near("the tube", long, size.length*d.Scale)
			near("the place of the dye", spot, 0.5)
			near("the tank", d.Tank.Y+d.Tank.H-d.Lip, size.lip*d.Scale)
			near("the limit", *d.Limit-d.Lip, 0.02*d.Scale)
			if o == pipe.VerticalDown {
				near("the drop", d.Tube.Y+d.Tube.H-(d.Tank.Y+d.Tank.H), size.drop*d.Scale)
			}
			s := steadyState()
			v := viewOf(s, nil, nil, daq.Identity{}, withFrame(&f), talk{})
			for _, r := range append([]rect{d.Tank, d.Tube}, labelRects(v.Bench.Labels)...) {
				if r.X < 0 || r.Y < 0 || r.X+r.W > benchWide+0.01 || r.Y > benchHigh-20 {
					t.Errorf("%v %v: %+v leaves the drawing", o, size, r)
				}
			}
		}
	}
}

func withFrame(f *Facts) *Facts {
	f.frame = frameOf(f)
	return f
}

func labelRects(list []label) (all []rect) {
	for _, l := range list {
		all = append(all, l.rect)
	}
	return all
}

// TestReadingsStandInTheDrawing: each with its quality, a bad one without its value and
// with the reason.
func TestReadingsStandInTheDrawing(t *testing.T) {
	f := testFacts()
	v := viewOf(badState(), nil, nil, daq.Identity{}, withFrame(&f), talk{})
	find := func(what string) label {
		i := slices.IndexFunc(v.Bench.Labels, func(l label) bool { return strings.HasPrefix(strings.ReplaceAll(l.What, "\u00a0", " "), what) })
		if i < 0 {
			t.Fatalf("there is no %s in %+v", what, v.Bench.Labels)
		}
		return v.Bench.Labels[i]
	}
	if l := find("inlet"); l.Value != unknown || l.Kind != "bad" || !strings.Contains(l.Why, "no answer") {
		t.Errorf("the inlet shows %+v", l)
	}
	if l := find("flow"); l.Value != "0.712" || l.Unit != "L/min" || l.Kind != "good" {
		t.Errorf("the meter shows %+v", l)
	}
	if l := find("1.2 mm above the lip"); l.Value != "251.2" || l.Kind != "uncertain" {
		t.Errorf("the tank shows %+v", l)
	}
	if !v.Bench.Runs || !v.Bench.Known {
		t.Error("the water is over the lip, and it is not drawn")
	}
	none := badState()
	none.Values.Clear(quantity.Level)
	if v := viewOf(none, nil, nil, daq.Identity{}, &f, talk{}); v.Bench.Known {
		t.Error("water is drawn, and nobody knows where it stands")
	}
}
