package web

import (
	"fmt"
	"slices"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// The drawing of the bench stands in a box of benchWide × benchHigh. Heights and
// lengths are to scale; the bore is drawn tubeWide wide, so that the thread in it
// can be seen.
const (
	benchWide = 460.0
	benchHigh = 600.0
	tubeWide  = 36.0
	rimRoom   = 22.0  // of the tank's wall above the lip
	tankWide  = 190.0 // from wall to wall
)

// rect is a rectangle of the drawing.
type rect struct{ X, Y, W, H float64 }

// spot is a place of the drawing.
type spot struct{ X, Y float64 }

// frame is what of the drawing stands still while the configuration does.
type frame struct {
	Scale   float64 // of the drawing per metre
	Tank    rect    // from the rim to the datum
	Lip     float64
	Limit   *float64 // level below which head-lost is raised; nil: none
	Tube    rect     // between the walls
	Inlet   spot     // where the dye enters
	Turn    string   // brings the thread's box of 600 × 120 into the tube
	Pipes   string   // from the tank to the tube, and from the tube on
	Walls   string   // of the tube
	Valve   spot
	Meter   spot
	Spout   spot
	Watched spot
	Words   string // the tube's sizes
	Says    string // for those who do not see it
	Upright bool
	slots   map[string]slot
}

// frameOf draws the bench from the configuration; where that is not known, from the
// sizes of a common bench.
func frameOf(f *Facts) frame {
	g := f.Tube
	if !(g.Length.X > 0) {
		g.Length.X, g.WatchedAt.X = 0.9, 0.45
	}
	lip, drop := f.Lip, f.Drop
	if !(lip > 0) {
		lip = 0.25
	}
	if !(drop > 0) {
		drop = 1.1
	}
	var d frame
	switch g.Orientation {
	case pipe.Horizontal:
		d = lyingFrame(lip, drop, g.Length.X, g.WatchedAt.X)
	case pipe.VerticalUp:
		d = risingFrame(lip, drop, g.Length.X, g.WatchedAt.X)
	default:
		d = fallingFrame(lip, drop, g.Length.X, g.WatchedAt.X)
	}
	if f.HeadLost != nil {
		y := d.levelAt(*f.HeadLost, lip)
		d.Limit = &y
	}
	way := [...]string{pipe.VerticalDown: "water runs down", pipe.VerticalUp: "water runs up", pipe.Horizontal: "lying"}[g.Orientation]
	d.Words = fmt.Sprintf("tube %s long, %s", benchUnits[config.Length].text(g.Length.X), way)
	if g.Bore.X > 0 {
		d.Words = fmt.Sprintf("bore %s mm, length %s mm, %s", group(1000*g.Bore.X, 2), group(1000*g.Length.X, 0), way)
	}
	d.upstream()
	d.settle(f.Instruments)
	d.Says = "Drawing of the bench: tank with overflow, " + d.Words + ", valve, flow meter and heater. The readings in it stand in the table of instruments too."
	return d
}

// levelAt is the height of a level in the drawing, kept within the tank.
func (d *frame) levelAt(level, lip float64) float64 {
	return max(d.Tank.Y, min(d.Tank.Y+d.Tank.H, d.Lip+(lip-level)*d.Scale))
}

// fallingFrame has the tube under the tank.
func fallingFrame(lip, drop, length, watched float64) frame {
	const yLip, yOutlet, middle = 118.0, 478.0, 230.0
	d := frame{Scale: (yOutlet - yLip) / (lip + drop), Lip: yLip, Upright: true}
	d.Tank = rect{middle - tankWide/2, yLip - rimRoom, tankWide, rimRoom + lip*d.Scale}
	inlet := max(yLip+12, yOutlet-length*d.Scale)
	d.Tube = rect{middle - tubeWide/2, inlet, tubeWide, yOutlet - inlet}
	d.Inlet = spot{middle, inlet}
	d.Turn = fmt.Sprintf("translate(%.1f %.1f) rotate(90) scale(%.4f %.4f)", middle+tubeWide/2, inlet, d.Tube.H/600, tubeWide/120)
	floor := d.Tank.Y + d.Tank.H
	d.Walls = fmt.Sprintf("M%.1f %.1fV%.1fM%.1f %.1fV%.1f", d.Tube.X, inlet, yOutlet, d.Tube.X+tubeWide, inlet, yOutlet)
	d.Pipes = fmt.Sprintf("M%.1f %.1fV%.1fM%.1f %.1fV%.1fM%.1f %.1fV%.1f", d.Tube.X, floor, max(floor, inlet), d.Tube.X+tubeWide, floor, max(floor, inlet),
		middle, yOutlet, benchHigh-8)
	d.Valve, d.Meter, d.Spout = spot{middle, yOutlet + 20}, spot{middle, yOutlet + 66}, spot{middle, benchHigh - 8}
	d.Watched = spot{middle, inlet + watched*d.Scale}
	left, right := d.Tube.X-14, d.Tube.X+tubeWide+14
	d.slots = map[string]slot{
		"level": readingSlot(351, yLip-30, behindLip, 2), "tank": readingSlot(351, floor-34, behindLip, 1),
		"inlet": readingSlot(0, max(floor+4, inlet-6), labelWide, 1).endsAt(left), "dye": valueSlot(0, d.Watched.Y-16, labelWide, 2).endsAt(left),
		"tube": wordsSlot(right, max(floor+4, inlet-4), labelWide, 2), "thread": wordsSlot(right, d.Watched.Y-16, labelWide, 3),
		"pressure": readingSlot(right, d.Watched.Y+48, labelWide, 1), "flow": readingSlot(right+16, d.Meter.Y-42, 180, 1),
		"room": readingSlot(4, d.Valve.Y+6, besideTank, 1),
	}
	return d
}

// risingFrame has the tube beside the tank's fall pipe.
func risingFrame(lip, drop, length, watched float64) frame {
	const yLip, yInlet, middle, fall, out = 118.0, 530.0, 236.0, 160.0, 400.0
	d := frame{Scale: (yInlet - yLip) / (lip + drop + length), Lip: yLip, Upright: true}
	d.Tank = rect{135, yLip - rimRoom, tankWide, rimRoom + lip*d.Scale}
	outlet := yInlet - length*d.Scale
	d.Tube = rect{middle - tubeWide/2, outlet, tubeWide, yInlet - outlet}
	d.Inlet = spot{middle, yInlet}
	d.Turn = fmt.Sprintf("translate(%.1f %.1f) rotate(-90) scale(%.4f %.4f)", middle-tubeWide/2, yInlet, d.Tube.H/600, tubeWide/120)
	d.Walls = fmt.Sprintf("M%.1f %.1fV%.1fM%.1f %.1fV%.1f", d.Tube.X, outlet, yInlet, d.Tube.X+tubeWide, outlet, yInlet)
	floor := d.Tank.Y + d.Tank.H
	d.Pipes = fmt.Sprintf("M%.1f %.1fV%.1fH%.1fV%.1fM%.1f %.1fV%.1fH%.1fV%.1f", fall, floor, yInlet+34, middle, yInlet, middle, outlet, outlet-16, out, outlet+76)
	d.Valve, d.Meter, d.Spout = spot{out, outlet + 8}, spot{out, outlet + 48}, spot{out, outlet + 76}
	d.Watched = spot{middle, yInlet - watched*d.Scale}
	right, left := d.Tube.X+tubeWide+14, fall-14
	d.slots = map[string]slot{
		"level": readingSlot(351, yLip-30, behindLip, 2), "tank": readingSlot(351, floor-20, behindLip, 1),
		"tube": wordsSlot(fall+14, outlet-54, 172, 2), "flow": readingSlot(0, outlet-8, 114, 1).endsAt(d.Meter.X - 18),
		"dye": valueSlot(right, d.Watched.Y-16, 190, 2), "inlet": readingSlot(right, yInlet-44, 190, 1),
		"room": readingSlot(4, 250, besideTank, 1), "thread": wordsSlot(0, d.Watched.Y-16, 142, 4).endsAt(left),
		"pressure": readingSlot(0, d.Watched.Y+50, 142, 1).endsAt(left),
	}
	return d
}

// lyingFrame has the tube at the foot of the tank's fall pipe.
func lyingFrame(lip, drop, length, watched float64) frame {
	const yLip, begin, end, fall, out = 118.0, 176.0, 380.0, 150.0, 430.0
	d := frame{Scale: min((end-begin)/length, 330/(lip+drop)), Lip: yLip}
	d.Tank = rect{135, yLip - rimRoom, tankWide, rimRoom + lip*d.Scale}
	y := yLip + (lip+drop)*d.Scale
	long := length * d.Scale
	d.Tube = rect{begin, y - tubeWide/2, long, tubeWide}
	d.Inlet = spot{begin, y}
	d.Turn = fmt.Sprintf("translate(%.1f %.1f) scale(%.4f %.4f)", begin, y-tubeWide/2, long/600, tubeWide/120)
	d.Walls = fmt.Sprintf("M%.1f %.1fH%.1fM%.1f %.1fH%.1f", begin, d.Tube.Y, begin+long, begin, d.Tube.Y+tubeWide, begin+long)
	floor := d.Tank.Y + d.Tank.H
	d.Pipes = fmt.Sprintf("M%.1f %.1fV%.1fH%.1fM%.1f %.1fH%.1fV%.1f", fall, floor, y, begin, begin+long, y, out, y+40)
	d.Valve, d.Meter, d.Spout = spot{begin + long + 20, y}, spot{out, y + 8}, spot{out, y + 40}
	d.Watched = spot{begin + watched*d.Scale, y}
	below := d.Tube.Y + tubeWide + 12
	d.slots = map[string]slot{
		"level": readingSlot(351, yLip-30, behindLip, 2), "tank": readingSlot(351, floor-20, behindLip, 1),
		"tube": wordsSlot(begin, d.Tube.Y-34, 170, 2), "flow": readingSlot(352, y-118, 108, 1),
		"inlet": readingSlot(4, below, besideTank, 1), "dye": valueSlot(144, below, 158, 2), "thread": wordsSlot(144, below+56, 158, 3),
		"pressure": readingSlot(312, y+46, 148, 1), "room": readingSlot(4, 250, besideTank, 1),
	}
	return d
}

// HeatX and HeatY are where the heater's water falls into the tank.
func (d frame) HeatX() float64 { return d.Tank.X + 14 }

// HeatY is below the rim.
func (d frame) HeatY() float64 { return d.Tank.Y + 10 }

// TankWalls has the right wall end at the overflow's lip.
func (d frame) TankWalls() string {
	return fmt.Sprintf("M%.1f %.1fV%.1fH%.1fV%.1f", d.Tank.X, d.Tank.Y, d.Tank.Y+d.Tank.H, d.Tank.X+d.Tank.W, d.Lip)
}

// Overflow is the channel behind the lip.
func (d frame) Overflow() string {
	right := d.Tank.X + d.Tank.W
	return fmt.Sprintf("M%.1f %.1fV%.1fM%.1f %.1fh14V%.1f", right+14, d.Lip-10, d.Lip+44, right, d.Lip+12, d.Lip+44)
}

// Over is the water that runs over the lip.
func (d frame) Over() string {
	right := d.Tank.X + d.Tank.W
	return fmt.Sprintf("M%.1f %.1fq7 0 7 8V%.1f", right-2, d.Lip-1, d.Lip+44)
}

// Needle brings the dye to the tube's inlet.
func (d frame) Needle() string {
	switch {
	case !d.Upright:
		return fmt.Sprintf("M%.1f %.1fh-22", d.Inlet.X, d.Inlet.Y)
	case d.Inlet.Y > d.Watched.Y:
		return fmt.Sprintf("M%.1f %.1fv22", d.Inlet.X, d.Inlet.Y)
	}
	return fmt.Sprintf("M%.1f %.1fV%.1f", d.Inlet.X, d.Inlet.Y+6, d.Tank.Y-8)
}

// Pointer marks where the dye is watched.
func (d frame) Pointer() string {
	if !d.Upright {
		return fmt.Sprintf("M%.1f %.1fv8", d.Watched.X, d.Watched.Y+tubeWide/2+2)
	}
	if d.Inlet.Y > d.Watched.Y {
		return fmt.Sprintf("M%.1f %.1fh10", d.Watched.X+tubeWide/2+2, d.Watched.Y)
	}
	return fmt.Sprintf("M%.1f %.1fh-10", d.Watched.X-tubeWide/2-2, d.Watched.Y)
}

// ValvePath is two triangles that meet, along the pipe.
func (d frame) ValvePath() string {
	v := d.Valve
	if !d.Upright {
		return fmt.Sprintf("M%.1f %.1fv20l24 -20v20z", v.X-12, v.Y-10)
	}
	return fmt.Sprintf("M%.1f %.1fh20l-20 24h20z", v.X-10, v.Y-12)
}

// MeterPath is the pointer of the meter's dial.
func (d frame) MeterPath() string { return fmt.Sprintf("M%.1f %.1fl10 -10", d.Meter.X-5, d.Meter.Y+5) }

// label is a reading where it is measured, or words beside it.
type label struct {
	rect
	Left        bool
	Value, Unit string
	What        string
	Kind        string // good, uncertain, bad; "" for words
	Age         string
	Why         string
}

// drawing is what of the bench moves.
type drawing struct {
	Known  bool
	Water  rect
	Runs   bool // over the lip
	Over   string
	Labels []label
	Heater string // on, off, or ""
	Permit string // given, off, or "" without one
}

// drawingOf puts the readings where they are measured.
func drawingOf(v *view, state *daq.State, d *frame, f *Facts) drawing {
	values := &state.Values
	w := drawing{Heater: onOff(values, quantity.HeaterOn, "on", "off"), Permit: onOff(values, quantity.HeatingPermitted, "given", "off")}
	if level, known := values.Get(quantity.Level); known {
		y := d.levelAt(level, f.Lip)
		w.Known, w.Water, w.Runs = true, rect{d.Tank.X, y, d.Tank.W, d.Tank.Y + d.Tank.H - y}, level > f.Lip
		w.Over = d.Over()
	}
	for _, m := range measured {
		what := m.what
		if m.id == quantity.Level {
			what = v.Head.Against
		}
		if i := slices.IndexFunc(v.Readings, func(r reading) bool { return r.id == m.id }); i >= 0 {
			w.add(d.slots[m.slot], v.Readings[i], what)
		}
	}
	if fall, known := values.Get(quantity.TubeTemperatureFall); known {
		w.add(d.slots["dye"], reading{Value: benchUnit(quantity.TubeTemperature).number(valueOf(values, quantity.TubeTemperature)), Unit: "°C"},
			"at the dye; "+benchUnits[config.TemperatureDifference].text(fall)+" lost from end to end")
	}
	w.add(d.slots["tube"], reading{}, d.Words)
	if speed, known := values.Get(quantity.Velocity); known {
		text := "mean speed " + group(1000*speed, 0) + "\u00a0mm/s"
		if ratio, known := values.Get(quantity.GrashofReynoldsRatio); known {
			text += ", Gr/Re\u00a0" + group(ratio, 0)
		}
		if torn, known := values.Get(quantity.DisturbedFraction); known {
			text += ", thread torn " + percent(torn) + " of the time"
		}
		w.add(d.slots["thread"], reading{}, text)
	}
	return w
}

func valueOf(s *quantity.Set, id quantity.ID) float64 {
	v, _ := s.Get(id)
	return v
}

func onOff(s *quantity.Set, id quantity.ID, on, off string) string {
	switch v, known := s.Get(id); {
	case !known:
		return ""
	case v != 0:
		return on
	}
	return off
}

// add puts a label into its slot.
func (w *drawing) add(at slot, r reading, what string) {
	w.Labels = append(w.Labels, label{at.box(), at.Left, r.Value, r.Unit, what, r.Kind, r.Age, r.Why})
}
