package web

import (
	"fmt"
	"math"
	"strings"

	"flowrigd/calc/quantity"
)

// sign is the dye thread in the tube, as the regime would have it.
type sign struct {
	Word string
	Path string // of the thread, in a box of 600 × 120
	Says string // for those who do not see it
}

// signOf draws the thread. The drawing depends on the regime alone, so that it
// stands still while the regime does.
func signOf(b quantity.Band) sign {
	switch b {
	case quantity.Laminar:
		return sign{b.String(), "M40 60H580", "The dye thread is a straight line."}
	case quantity.Transitional:
		return sign{b.String(), waver(), "The dye thread wavers."}
	case quantity.Turbulent:
		return sign{b.String(), tangle(), "The dye thread is a tangle across the tube."}
	case quantity.NoFlow:
		return sign{"no flow", "M40 60h26c10 0 10 4 10 12v20", "The dye sinks where it enters."}
	}
	return sign{b.String(), "", "No dye thread is drawn: the regime is not known."}
}

// waver is a thread that begins straight and swings more and more.
func waver() string {
	var b strings.Builder
	b.WriteString("M40 60H150")
	for x := 156.0; x <= 580; x += 6 {
		along := (x - 150) / 430
		fmt.Fprintf(&b, "L%.0f %.1f", x, 60+26*along*math.Sin(along*8.5*math.Pi))
	}
	return b.String()
}

// tangle is a thread that breaks up soon after it enters: strands that loop
// forwards and backwards over the whole bore.
func tangle() string {
	var b strings.Builder
	b.WriteString("M40 60H96")
	for strand := range 3 {
		start, phase := 96+6*float64(strand), 2.1*float64(strand)
		fmt.Fprintf(&b, "M%.0f 60", start)
		for t := 0.5; t <= 120; t += 0.5 {
			reach := math.Min(1, t/24)
			x := start + 3.75*t + reach*17*math.Sin(0.83*t+phase)
			y := 60 + reach*(24*math.Sin(0.57*t+1.7*phase)+15*math.Sin(1.31*t+phase))
			fmt.Fprintf(&b, "L%.1f %.1f", math.Min(x, 584), y)
		}
	}
	return b.String()
}
