package report

import (
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
)

// mostTicks bounds the labels of an axis.
const mostTicks = 8

// timeTicks labels Unix seconds with the time of day in a zone, and with the date
// where the axis is longer than two days.
func timeTicks(zone *time.Location) plot.TickerFunc {
	const day = 24 * 3600
	steps := []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 3 * 3600, 6 * 3600, 12 * 3600,
		day, 2 * day, 7 * day, 14 * day, 30 * day, 90 * day, 365 * day}
	return func(low, high float64) (ticks []plot.Tick) {
		step := steps[len(steps)-1]
		for _, s := range steps {
			if (high-low)/s < mostTicks {
				step = s
				break
			}
		}
		layout := "15:04"
		switch {
		case step < 60:
			layout = "15:04:05"
		case step >= day:
			layout = "2 Jan"
		case high-low > 2*day:
			layout = "2 Jan 15:04"
		}
		_, offset := time.Unix(int64(low), 0).In(zone).Zone()
		for t := math.Ceil((low+float64(offset))/step)*step - float64(offset); t <= high; t += step {
			ticks = append(ticks, plot.Tick{Value: t, Label: time.Unix(int64(t), 0).In(zone).Format(layout)})
		}
		return ticks
	}
}

// linearTicks labels multiples of 1, 2 or 5 times a power of ten.
func linearTicks(low, high float64) (ticks []plot.Tick) {
	if !(high > low) {
		return nil
	}
	rough := (high - low) / mostTicks
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	step := 10 * power
	for _, s := range [...]float64{1, 2, 5} {
		if s*power >= rough {
			step = s * power
			break
		}
	}
	for n := math.Ceil(low/step) + 0; n*step <= high*(1+1e-12); n++ {
		ticks = append(ticks, plot.Tick{Value: n * step, Label: label(n*step, step)})
	}
	return ticks
}

func label(v, step float64) string {
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	return strconv.FormatFloat(v+0, 'f', decimals, 64) // + 0: no minus before a zero
}

// logTicks labels 1, 2 and 5 in each decade, over more than three decades the
// decades alone; what lies between is a mark without a label.
func logTicks(low, high float64) (ticks []plot.Tick) {
	if !(low > 0 && high > low) {
		return nil
	}
	wide := math.Log10(high/low) > 3
	for power := math.Floor(math.Log10(low)); power <= math.Ceil(math.Log10(high)); power++ {
		for digit := 1.0; digit < 10; digit++ {
			v := digit * math.Pow(10, power)
			if v < low*(1-1e-12) || v > high*(1+1e-12) {
				continue
			}
			t := plot.Tick{Value: v}
			if digit == 1 || !wide && (digit == 2 || digit == 5) {
				t.Label = label(v, math.Pow(10, power))
			}
			ticks = append(ticks, t)
		}
	}
	return ticks
}
