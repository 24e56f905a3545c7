package transition

import (
	"fmt"
	"math"
)

// ThreadFlow is how much dye to feed, m³/s, so that it leaves a needle of that
// bore (m) as fast as the water passes it: the velocity is the water's at the
// needle's mouth in m/s, the mean velocity in the tube's entry and twice that on
// the axis where laminar flow has developed.
func ThreadFlow(needle, velocity float64) (float64, error) {
	if !(needle > 0 && needle <= 0.01) {
		return 0, fmt.Errorf("transition: needle: %g m is outside 0 to 0.01 m; give the needle's inner diameter", needle)
	}
	if !(velocity > 0 && velocity <= 100) {
		return 0, fmt.Errorf("transition: velocity: %g m/s is outside 0 to 100 m/s; give that of the water at the needle", velocity)
	}
	return math.Pi / 4 * needle * needle * velocity, nil
}

// FloorOf is the Re at which the mean life of a puff of turbulence, in diameters at
// the mean velocity, is the tube's length: τ = exp(exp(0.005556·Re − 8.499)) (Avila
// et al., Science 333 (2011) 192; the constants are from memory). What decays more
// slowly leaves the tube before it has decayed, so that a tube of so many
// diameters (3 or more) shows disturbances down to about here, and cannot show the
// 2040 of long pipes. Blurred by the time a puff needs to form.
func FloorOf(diameters float64) (float64, error) {
	if !(diameters >= 3 && diameters <= 1e7) {
		return 0, fmt.Errorf("transition: length: %g diameters is outside 3 to 1e7; give length over bore", diameters)
	}
	return (math.Log(math.Log(diameters)) + 8.499) / 0.005556, nil
}
