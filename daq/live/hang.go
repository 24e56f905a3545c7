//go:build !faults

package live

import "flowrigd/daq"

// hang does nothing: only a build with the tag faults can hang the engine.
func hang(daq.Kind) {}
