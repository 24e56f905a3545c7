package web

import (
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// tick is a mark on a ruler; one without a Label is a short one.
type tick struct {
	At    float64
	Label string
}

// TextAt is the baseline of a label centred on a mark of an upright ruler.
func (t tick) TextAt() float64 { return t.At + 6 }

// Anchor keeps the labels of the level ruler's ends inside it.
func (t tick) Anchor() string {
	switch {
	case t.At <= rulerLeft:
		return "start"
	case t.At >= rulerLeft+rulerLength:
		return "end"
	}
	return "middle"
}

// reRuler is the logarithmic ruler of the Reynolds number, in a box 600 wide.
type reRuler struct {
	Ticks         []tick
	Lower, Upper  tick // the two limits
	Known         bool
	At            float64 // the Reynolds number
	From, Width   float64 // its uncertainty
	Off           string  // which end it lies beyond, "" for on the ruler
	LowerFlow     string
	UpperFlow     string
	AtTemperature string // of the water whose flows these are
}

// Between is the length between the two limits.
func (r reRuler) Between() float64 { return r.Upper.At - r.Lower.At }

const (
	rulerLeft   = 20.0
	rulerLength = 560.0
	rulerLow    = 2.0 // log10 of the left end
	rulerHigh   = 5.0
)

// onRuler is the place of a Reynolds number, held at the ends.
func onRuler(re float64) float64 {
	if re <= 0 {
		return rulerLeft
	}
	part := (math.Log10(re) - rulerLow) / (rulerHigh - rulerLow)
	return rulerLeft + rulerLength*min(1, max(0, part))
}

func rulerOf(v *quantity.Set, f *Facts) reRuler {
	r := reRuler{
		Ticks:     rulerTicks(),
		Lower:     tick{onRuler(f.LaminarBelow), group(f.LaminarBelow, 0)},
		Upper:     tick{onRuler(f.TurbulentAbove), group(f.TurbulentAbove, 0)},
		LowerFlow: bench(v, quantity.LaminarLimitFlow),
		UpperFlow: bench(v, quantity.TurbulentLimitFlow),
	}
	if _, known := v.Get(quantity.TubeTemperature); known {
		r.AtTemperature = bench(v, quantity.TubeTemperature) + ", where the dye is watched"
	} else if t, known := v.Get(quantity.Temperature); known {
		r.AtTemperature = benchUnits[config.Temperature].text(t)
	}
	re, known := v.Get(quantity.Reynolds)
	if !known {
		return r
	}
	r.Known, r.At, r.From = true, onRuler(re), onRuler(re)
	if u, stated := v.Get(quantity.ReynoldsUncertainty); stated { // else no bar: nobody knows how wide
		r.From = onRuler(re - u)
		r.Width = max(2, onRuler(re+u)-r.From)
	}
	switch {
	case re < math.Pow(10, rulerLow):
		r.Off = "below the ruler's end"
	case re > math.Pow(10, rulerHigh):
		r.Off = "beyond the ruler's end"
	}
	return r
}

func rulerTicks() []tick {
	var list []tick
	for decade := 100.0; decade < 1e5; decade *= 10 {
		list = append(list, tick{onRuler(decade), group(decade, 0)})
		for n := 2.0; n < 10; n++ {
			list = append(list, tick{onRuler(n * decade), ""})
		}
	}
	return append(list, tick{onRuler(1e5), group(1e5, 0)})
}

// headRuler is the window around the overflow lip, in a box 240 high.
type headRuler struct {
	Ticks   []tick
	Lip     tick
	Limit   tick // where head-lost is raised; no Label: nowhere
	Known   bool
	At      float64 // the water level
	Depth   float64 // from the level to the box's foot
	Off     string
	Level   string
	Against string // the level against the lip, in words
}

const (
	headTop    = 20.0
	headLength = 200.0
	headFoot   = headTop + headLength
	// bandOtherwise is the half window where no alarm watches the level, m.
	bandOtherwise = 0.020
)

// headWindow maps levels to the ruler: one band above the lip, three below.
type headWindow struct{ top, band float64 }

func (w headWindow) place(level float64) float64 {
	return headTop + headLength*min(1, max(0, (w.top-level)/(4*w.band)))
}

func headOf(v *quantity.Set, f *Facts) headRuler {
	band := bandOtherwise
	if f.HeadLost != nil && f.Lip-*f.HeadLost > 0.001 {
		band = f.Lip - *f.HeadLost
	}
	w := headWindow{f.Lip + band, band}
	h := headRuler{Lip: tick{w.place(f.Lip), benchUnits[config.Length].text(f.Lip)}, Level: unknown}
	for i := range 9 {
		level := w.top - float64(i)*w.band/2
		t := tick{At: w.place(level)}
		if i%2 == 0 && i != 2 { // the lip carries its own
			t.Label = group(1000*level, 0)
		}
		h.Ticks = append(h.Ticks, t)
	}
	if f.HeadLost != nil {
		h.Limit = tick{w.place(*f.HeadLost), benchUnits[config.Length].text(*f.HeadLost)}
	}
	if level, known := v.Get(quantity.Level); known {
		h.stand(level, w, f)
	}
	return h
}

func (h *headRuler) stand(level float64, w headWindow, f *Facts) {
	h.Known, h.At, h.Level = true, w.place(level), benchUnits[config.Length].text(level)
	h.Depth = headFoot - h.At
	switch {
	case level > w.top:
		h.Off = "above the drawing"
	case level < w.top-4*w.band:
		h.Off = "below the drawing"
	}
	over := level - f.Lip
	switch {
	case math.Abs(over) < 0.0005:
		h.Against = "at the lip"
	case over > 0:
		h.Against = benchUnits[config.Length].text(over) + " above the lip"
	default:
		h.Against = benchUnits[config.Length].text(-over) + " below the lip"
	}
}
