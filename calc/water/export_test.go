package water

// Release gives the properties over the whole span of the formulation, kelvin.
var Release = properties
