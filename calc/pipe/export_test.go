package pipe

// ProfileOf is the profile at a signed Gr/Re.
var ProfileOf = profile
