package pipe

// Colebrook is the friction factor alone, for the tables of others.
func Colebrook(re, relativeRoughness float64) float64 { return colebrook(re, relativeRoughness).factor }

// ProfileOf is the profile at a signed Gr/Re.
var ProfileOf = profile
