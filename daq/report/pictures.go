package report

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"flowrigd/calc/pipe"
	"flowrigd/daq"
)

// Point is a test point or an observation as a picture shows it.
type Point struct {
	Time     time.Time
	Reynolds float64
	Y        float64 // what stands over Re
	Seen     string  // laminar, transitional or turbulent; "" where nobody looked
}

var dashed, dotted = []vg.Length{5, 3}, []vg.Length{1.5, 2.5}

// drawable says that a number can stand on a logarithmic axis.
func drawable(v float64) bool { return v > 0 && !math.IsInf(v, 0) }

// OverTime is Re over time, least, mean and greatest of each stretch, with the two
// limits and the test points. ok is false where there is nothing to draw.
func OverTime(trend []daq.Bucket, points []Point, lower, upper float64, zone *time.Location) (Picture, bool, error) {
	p := newPlot("time ("+zoneName(firstOf(trend), zone)+")", "Reynolds number")
	logAxis(&p.Y)
	low, high, drawn := math.Inf(1), 0.0, 0
	var stretch plotter.XYs
	var first, last float64
	line := func() {
		name := ""
		if drawn == 0 && len(stretch) > 0 {
			name = "Re, mean of each stretch"
		}
		addLine(p, name, black, nil, stretch)
		drawn += len(stretch)
		stretch = nil
	}
	for _, b := range trend {
		if b.Count == 0 || !drawable(b.Min) || !drawable(b.Mean) || !drawable(b.Max) {
			line()
			continue
		}
		x := float64(b.Time.Unix())
		if first == 0 {
			first = x
		}
		last = x
		low, high = min(low, b.Min), max(high, b.Max)
		addLine(p, "", pale, nil, plotter.XYs{{X: x, Y: b.Min}, {X: x, Y: math.Max(b.Max, b.Min*1.0001)}})
		stretch = append(stretch, plotter.XY{X: x, Y: b.Mean})
	}
	line()
	if drawn == 0 {
		return Picture{}, false, nil
	}
	if last <= first {
		last = first + 60
	}
	addLine(p, fmt.Sprintf("limits %.0f and %.0f", lower, upper), grey, dashed, plotter.XYs{{X: first, Y: lower}, {X: last, Y: lower}})
	addLine(p, "", grey, dashed, plotter.XYs{{X: first, Y: upper}, {X: last, Y: upper}})
	by := map[string]plotter.XYs{}
	for _, pt := range points {
		if drawable(pt.Reynolds) {
			by[pt.Seen] = append(by[pt.Seen], plotter.XY{X: float64(pt.Time.Unix()), Y: pt.Reynolds})
			low, high = min(low, pt.Reynolds), max(high, pt.Reynolds)
		}
	}
	addMarks(p, by)
	p.X.Min, p.X.Max, p.X.Tick.Marker = first, last, timeTicks(zone)
	p.Y.Min, p.Y.Max = min(low, lower)*0.9, max(high, upper)*2.5 // room for the legend
	picture, err := render(p, "Reynolds number over time", fmt.Sprintf(
		"From %s to %s Re lies between %.0f and %.0f; dashed lines stand at the limits %.0f and %.0f; test points, marked by what the dye showed: %d.",
		time.Unix(int64(first), 0).In(zone).Format("2 Jan 15:04"), time.Unix(int64(last), 0).In(zone).Format("2 Jan 15:04"), low, high, lower, upper, len(points)))
	return picture, err == nil, err
}

// began is the time of the first stretch.
func firstOf(trend []daq.Bucket) time.Time {
	if len(trend) == 0 {
		return time.Time{}
	}
	return trend[0].Time
}

// Friction is the measured Darcy friction factor over Re beside 64/Re and the law
// of Blasius for a smooth wall.
func Friction(points []Point) (Picture, bool, error) {
	by, low, high, n := grouped(points)
	if n == 0 {
		return Picture{}, false, nil
	}
	low, high = min(low/1.2, 800), max(high*1.2, 8000)
	p := newPlot("Reynolds number", "Darcy friction factor")
	logAxis(&p.X)
	logAxis(&p.Y)
	curve := func(from, to float64, f func(float64) float64) (line plotter.XYs) {
		for i := range 41 {
			re := from * math.Pow(to/from, float64(i)/40)
			line = append(line, plotter.XY{X: re, Y: f(re)})
		}
		return line
	}
	addLine(p, "64/Re (laminar)", blue, dashed, curve(low, min(high, 4000), pipe.LaminarFriction))
	addLine(p, "0.3164/Re^0.25 (Blasius, smooth)", red, dotted, curve(max(low, 2300), high, func(re float64) float64 { return 0.3164 / math.Sqrt(math.Sqrt(re)) }))
	addMarks(p, by)
	p.X.Min, p.X.Max = low, high
	p.Y.Max *= 2.2
	picture, err := render(p, "Friction factor against Reynolds number", fmt.Sprintf(
		"%d measured friction factors on logarithmic axes, beside the laws 64/Re and 0.3164/Re^0.25.", n))
	return picture, err == nil, err
}

// Disturbed is the share of time with a torn thread over Re: of the test points, and of
// the minutes of the rows.
func Disturbed(points, minutes []Point) (Picture, bool, error) {
	by, low, high, n := grouped(points)
	dots, lowest, highest, each := grouped(minutes)
	if n+each == 0 {
		return Picture{}, false, nil
	}
	low, high = min(low, lowest), max(high, highest)
	p := newPlot("Reynolds number", "share of time with a torn thread")
	addLine(p, "one half", grey, dashed, plotter.XYs{{X: low * 0.95, Y: 0.5}, {X: high * 1.05, Y: 0.5}})
	if each > 0 {
		s := &plotter.Scatter{XYs: dots[""], GlyphStyle: draw.GlyphStyle{Color: grey, Shape: draw.CircleGlyph{}, Radius: 1.2}}
		p.Add(s)
		p.Legend.Add("minute of the recording", s)
	}
	addMarks(p, by)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = low*0.95, high*1.05, -0.02, 1.5 // room for the legend
	if high > 4*low {
		logAxis(&p.X)
	}
	p.Y.Tick.Marker = plot.ConstantTicks{{Value: 0, Label: "0"}, {Value: 0.25}, {Value: 0.5, Label: "0.5"}, {Value: 0.75}, {Value: 1, Label: "1"}}
	picture, err := render(p, "Disturbed fraction against Reynolds number", fmt.Sprintf(
		"Shares from 0 to 1 of %d test points and %d minutes between Re %.0f and %.0f; the dashed line stands at one half.", n, each, low, high))
	return picture, err == nil, err
}

// MeterFactor is the meter factor of every check that stands over time, with its expanded
// uncertainty. One check makes no picture.
func MeterFactor(checks []Kept[*daq.Collection], zone *time.Location) (Picture, bool, error) {
	var list []*daq.Collection
	for _, c := range checks {
		if c.Struck == "" && c.Of.Factor > 0 {
			list = append(list, c.Of)
		}
	}
	if len(list) < 2 {
		return Picture{}, false, nil
	}
	first, last := list[0].Start, list[len(list)-1].Start
	p := newPlot("time ("+zoneName(first, zone)+")", "meter factor")
	var points plotter.XYs
	for _, c := range list {
		x := float64(c.Start.Unix())
		points = append(points, plotter.XY{X: x, Y: c.Factor})
		addLine(p, "", black, nil, plotter.XYs{{X: x, Y: c.Factor - c.FactorU}, {X: x, Y: c.Factor + c.FactorU}})
	}
	margin := max(60, 0.05*last.Sub(first).Seconds())
	p.X.Min, p.X.Max = float64(first.Unix())-margin, float64(last.Unix())+margin
	addLine(p, "collected = metered", grey, dashed, plotter.XYs{{X: p.X.Min, Y: 1}, {X: p.X.Max, Y: 1}})
	s := &plotter.Scatter{XYs: points, GlyphStyle: draw.GlyphStyle{Color: black, Shape: draw.CircleGlyph{}, Radius: 3}}
	p.Add(s)
	p.Legend.Add("check, U (k = 2)", s)
	p.X.Tick.Marker = timeTicks(zone)
	p.Y.Max += (p.Y.Max - p.Y.Min) * 0.35
	newest := list[len(list)-1]
	picture, err := render(p, "Meter factor over time", fmt.Sprintf("%d checks of the flow meter; the newest gives %.4f ± %.4f: %s.", len(list), newest.Factor, newest.FactorU, newest.Verdict))
	return picture, err == nil, err
}

func grouped(points []Point) (by map[string]plotter.XYs, low, high float64, n int) {
	by, low = map[string]plotter.XYs{}, math.Inf(1)
	for _, pt := range points {
		if drawable(pt.Reynolds) && !math.IsNaN(pt.Y) && !math.IsInf(pt.Y, 0) {
			by[pt.Seen] = append(by[pt.Seen], plotter.XY{X: pt.Reynolds, Y: pt.Y})
			low, high, n = min(low, pt.Reynolds), max(high, pt.Reynolds), n+1
		}
	}
	return by, low, high, n
}
