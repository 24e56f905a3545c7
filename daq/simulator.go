package daq

// Hands is what a person does at a simulated rig; what is nil stays as it is.
type Hands struct {
	Valve    *float64 // opening, 0 to 1
	Supply   *float64 // m³/s that the tap is set to
	Heater   *float64 // °C that the thermostat holds the heater's outlet at
	Dye      *bool    // there is a thread
	Scenario *string  // begins from the present state
	Speed    *float64 // seconds of the rig in a second of the clock on the wall
	Pause    *bool    // rig and daemon stand still
}

// Simulator is how a simulated rig is set now.
type Simulator struct {
	Valve     float64    // opening that the hand turns to, 0 to 1
	Opening   float64    // where the valve is by now
	Supply    float64    // m³/s that the tap is set to
	Heater    float64    // °C that the thermostat is set to
	Dye       bool       // there is a thread
	Scenario  string     // that is played; "" where a person works the rig by hand
	Speed     float64    // seconds of the rig in a second of the clock on the wall
	Paused    bool       // rig and daemon stand still
	Scenarios []Scenario // that can be begun
}

// Scenario is something that can befall a simulated rig.
type Scenario struct {
	Name   string `json:"name"`
	About  string `json:"about"`  // in a sentence
	Mishap bool   `json:"mishap"` // something fails in it
}
