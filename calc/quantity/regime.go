package quantity

// Band is the regime by Reynolds number against the two limits. The zero value
// is unknown.
type Band uint8

// The bands, as a Set stores them under Regime.
const (
	Unknown Band = iota
	NoFlow
	Laminar
	Transitional
	Turbulent
)

// Bands lists every band.
var Bands = [...]Band{Laminar, Transitional, Turbulent, NoFlow, Unknown}

// String is the word of every interface.
func (b Band) String() string {
	words := [...]string{Unknown: "unknown", NoFlow: "no-flow", Laminar: "laminar", Transitional: "transitional", Turbulent: "turbulent"}
	if int(b) < len(words) {
		return words[b]
	}
	return words[Unknown]
}

// ParseBand reads a word that String writes.
func ParseBand(word string) (Band, bool) {
	for _, b := range Bands {
		if b.String() == word {
			return b, true
		}
	}
	return Unknown, false
}

// MarshalText writes the word.
func (b Band) MarshalText() ([]byte, error) { return []byte(b.String()), nil }

// UnmarshalText reads it; a word that is none gives Unknown.
func (b *Band) UnmarshalText(text []byte) error {
	*b, _ = ParseBand(string(text))
	return nil
}
