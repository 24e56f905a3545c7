package dye

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// Still is the light behind a still thread.
type Still struct {
	Light   float64 // its mean, 0 to 1
	Flicker float64 // standard deviation over half a second ÷ the mean
}

// StillTime is how long the still thread is watched.
const StillTime = 10 * time.Second

// What a still thread can look like. Common practice, no source.
const (
	darkest   = 0.01 // of the light: below it the diode sees the thread no more
	brightest = 0.99 // above it the amplifier is at its end, where nothing flickers
	unsteady  = 0.05 // flicker ÷ light: a still thread flickers by far less
	missed    = 0.2  // of the readings
)

// Taking is a still thread that is being taken.
type Taking struct {
	setting  Setting
	flicker  flicker
	flickers []float64 // standard deviations
	light    float64   // sum
	readings int
}

// NewTaking begins to take a still thread.
func NewTaking(s Setting) *Taking { return &Taking{setting: s, flicker: newFlicker(s)} }

// Add takes a reading of the light, 0 to 1.
func (t *Taking) Add(at time.Duration, light float64) {
	t.flicker.add(at, light)
	t.light += light
	t.readings++
	if _, deviation, ok := t.flicker.of(); ok {
		t.flickers = append(t.flickers, deviation)
	}
}

// End gives the still thread, or says why what was seen is none.
func (t *Taking) End() (Still, error) {
	due := StillTime.Seconds() / t.setting.Every.Seconds()
	if float64(t.readings) < (1-missed)*due || len(t.flickers) == 0 {
		return Still{}, fmt.Errorf("%d readings of the light came in place of %.0f: see to the line of dye_light, and ask again", t.readings, due)
	}
	mean := t.light / float64(t.readings)
	switch {
	case mean < darkest:
		return Still{}, fmt.Errorf("the light is at %.1f %%: see to the lamp and the diode", 100*mean)
	case mean > brightest:
		return Still{}, fmt.Errorf("the light is at %.1f %%, the end of its range, where nothing can flicker: turn the amplifier down", 100*mean)
	}
	pooled := 0.0
	for _, d := range t.flickers {
		pooled += d * d
	}
	pooled = math.Sqrt(pooled / float64(len(t.flickers)))
	if pooled > unsteady*mean {
		return Still{}, fmt.Errorf("the light flickers by %.1f %%, more than behind a still thread: wait until the thread is a straight line, and ask again", 100*pooled/mean)
	}
	slices.Sort(t.flickers)
	usual := max(t.flickers[len(t.flickers)/2], leastFlicker*mean)
	if t.flickers[len(t.flickers)-1] > t.setting.TornAbove*usual {
		return Still{}, errors.New("the thread was torn for a part of the time: wait until it is a straight line, and ask again")
	}
	return Still{Light: mean, Flicker: max(pooled/mean, leastFlicker)}, nil
}
