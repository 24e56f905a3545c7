// Package rigsim owns the simulated rig: the physics of a pipe-transition
// bench, the errors of its instruments, the protocols they speak and the
// faults that befall them, on real serial lines or lines in memory.
//
//	scenario → plant (supply, heater, tank, tube) → sensors → slaves → line
//	                └→ truth
//
// Water has a place and an age in it: the tank two layers, the tube parcels that
// cool on their way and turbulent stretches that are born at the inlet and pass.
//
// It does not know the daemon: nothing here reads a configuration or computes
// a Reynolds number for anybody but its own record of the truth, and its physics
// is code of its own, so that one may be tested with the other. It is a model
// for demonstrations and tests, and no evidence that a real rig is safe.
package rigsim
