//go:build !faults

package daq

// hang does nothing: only a build with the tag faults can hang the engine.
func hang(Kind) {}
