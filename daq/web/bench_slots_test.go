package web

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"

	"flowrigd/calc/pipe"
	"flowrigd/calc/uncertainty"
	"flowrigd/daq"
)

// benchOf is a bench with every instrument that a drawing may show.
func benchOf(o pipe.Orientation, length, lip, drop, watched float64) Facts {
	f := testFacts()
	f.Permit, f.Instruments = true, crowdedState().Instruments
	f.Lip, f.Drop, f.HeadLost = lip, drop, number(lip-0.02)
	f.Tube.Orientation, f.Tube.Bore, f.Tube.Length, f.Tube.WatchedAt = o, uncertainty.Value{X: 0.013}, uncertainty.Value{X: length}, uncertainty.Value{X: watched * length}
	return f
}

var orientations = [...]pipe.Orientation{pipe.VerticalDown, pipe.VerticalUp, pipe.Horizontal}

// TestLabelsKeepApart: whatever the bench's sizes and wherever the dye is watched, no
// label's room touches another's, the tank, the tube, the valve or the meter, nor does
// it leave the drawing, and none moves when readings turn bad.
func TestLabelsKeepApart(t *testing.T) {
	for _, o := range orientations {
		for _, size := range [][4]float64{{0.9, 0.25, 1.1, 0.5}, {0.3, 0.1, 0.35, 0.5}, {3, 0.5, 3.2, 0.5}, {0.9, 0.25, 1.1, 0.05}, {0.9, 0.25, 1.1, 0.95}, {1.5, 0.2, 0.4, 0.5}} {
			name := fmt.Sprintf("%v %v", o, size)
			f := benchOf(o, size[0], size[1], size[2], size[3])
			good := crowdedState()
			for _, id := range good.Instruments {
				good.Quality[id] = daq.Quality{Grade: daq.Good}
			}
			crowded := viewOf(crowdedState(), nil, nil, daq.Identity{}, withFrame(&f), talk{}).Bench.Labels
			if len(crowded) != 12 {
				t.Fatalf("%s: %d labels", name, len(crowded))
			}
			for i, l := range viewOf(good, nil, nil, daq.Identity{}, &f, talk{}).Bench.Labels {
				if l.rect != crowded[i].rect {
					t.Errorf("%s: %q moves", name, l.What)
				}
			}
			taken := f.frame.solid()
			for _, l := range crowded {
				if l.X < 0 || l.Y < 0 || l.X+l.W > benchWide || l.Y+l.H > benchHigh {
					t.Errorf("%s: %q leaves the drawing: %+v", name, l.What, l.rect)
				}
				for _, r := range taken {
					if l.covers(r) {
						t.Errorf("%s: %q at %+v covers %+v", name, l.What, l.rect, r)
					}
				}
				taken = append(taken, l.rect)
			}
		}
	}
}

// cutLabels are the lines of text in the drawing that end below the room of their label;
// of a reason only the first two lines are meant to be seen.
const cutLabels = `[...document.querySelectorAll('.bench foreignObject')].flatMap((room) => {
	const walk = document.createTreeWalker(room, NodeFilter.SHOW_TEXT), list = [], foot = room.getBoundingClientRect().bottom;
	for (let n; (n = walk.nextNode());) {
		const range = document.createRange();
		range.selectNodeContents(n);
		const end = n.parentElement.closest('.why')?.getBoundingClientRect().bottom ?? Infinity;
		if ([...range.getClientRects()].some((line) => line.top < end - 1 && line.bottom > foot + 1)) list.push(n.textContent.trim().slice(0, 60));
	}
	return list;
})`

// TestLabelsHaveRoom: in a browser, in each orientation, all that a label may come to say
// fits into its room.
func TestLabelsHaveRoom(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 1366, 768, "", func(o *Options) { o.Facts = benchOf(orientations[0], 0.9, 0.25, 1.1, 0.5) })
	b.become(crowdedState())
	for _, o := range orientations {
		f := benchOf(o, 0.9, 0.25, 1.1, 0.5)
		b.SetFacts(f)
		must(t, chromedp.Do(ctx, chromedp.Reload()))
		until(t, ctx, `document.querySelectorAll('.label.uncertain').length === 9 && document.querySelector('svg.bench').ariaLabel.includes('`+withFrame(&f).frame.Words+`')`)
		if cut := look[[]string](t, ctx, cutLabels); len(cut) > 0 {
			t.Errorf("%v: cut: %q", o, cut)
		}
	}
}

// TestChangedDrawingLoadsAnew: the drawing's lines stand in the page, not in its stream:
// what changes them has the page load anew.
func TestChangedDrawingLoadsAnew(t *testing.T) {
	b := testBed(t, nil)
	builds := map[string]string{}
	for name, change := range map[string]func(*Facts){
		"as it is": func(*Facts) {}, "drop": func(f *Facts) { f.Drop = 0.7 }, "lip": func(f *Facts) { f.Lip = 0.3 }, "tube": func(f *Facts) { f.Tube.Length.X = 2 },
		"orientation": func(f *Facts) { f.Tube.Orientation = pipe.Horizontal }, "instruments": func(f *Facts) { f.Instruments = f.Instruments[:2] },
	} {
		f := testFacts()
		change(&f)
		build := b.build(&f)
		if other, same := builds[build]; same {
			t.Errorf("%s and %s are one build", name, other)
		}
		builds[build] = name
	}
}
