package config

// The codes and factors are those of the Unified Code for Units of Measure
// (UCUM 2.1); psi, inch and foot are exact by the international agreement of
// 1959. The aliases are common practice, no source.

// atom is one unit symbol.
type atom struct {
	factor float64 // to SI
	powers powers
	metric bool // takes a prefix
}

// atoms are the symbols that may stand in a product.
var atoms = map[string]atom{
	"1":        {1, powers{}, false},
	"%":        {0.01, powers{}, false},
	"[ppth]":   {1e-3, powers{}, false},
	"[ppm]":    {1e-6, powers{}, false},
	"m":        {1, powers{meter: 1}, true},
	"[in_i]":   {0.0254, powers{meter: 1}, false},
	"[ft_i]":   {0.3048, powers{meter: 1}, false},
	"g":        {1e-3, powers{kilogram: 1}, true},
	"t":        {1e3, powers{kilogram: 1}, false},
	"s":        {1, powers{second: 1}, true},
	"min":      {60, powers{second: 1}, false},
	"h":        {3600, powers{second: 1}, false},
	"d":        {86400, powers{second: 1}, false},
	"a":        {julianYear, powers{second: 1}, false},
	"Hz":       {1, powers{second: -1}, true},
	"K":        {1, powers{kelvin: 1}, true},
	"Cel":      {1, powers{kelvin: 1}, false},
	"[degF]":   {5.0 / 9, powers{kelvin: 1}, false},
	"L":        {1e-3, powers{meter: 3}, true},
	"l":        {1e-3, powers{meter: 3}, true},
	"N":        {1, powers{meter: 1, kilogram: 1, second: -2}, true},
	"Pa":       {1, powers{meter: -1, kilogram: 1, second: -2}, true},
	"bar":      {1e5, powers{meter: -1, kilogram: 1, second: -2}, true},
	"m[H2O]":   {9806.65, powers{meter: -1, kilogram: 1, second: -2}, true},
	"m[Hg]":    {133322, powers{meter: -1, kilogram: 1, second: -2}, true},
	"[psi]":    {6894.757293168361, powers{meter: -1, kilogram: 1, second: -2}, false},
	"A":        {1, powers{ampere: 1}, true},
	"V":        {1, powers{meter: 2, kilogram: 1, second: -3, ampere: -1}, true},
	"P":        {0.1, powers{meter: -1, kilogram: 1, second: -1}, true},
	"St":       {1e-4, powers{meter: 2, second: -1}, true},
	"By":       {1, powers{byte: 1}, true},
	"[gal_us]": {3.785411784e-3, powers{meter: 3}, false},
	"[gal_br]": {4.54609e-3, powers{meter: 3}, false},
}

// unitAliases are what people write, and the code that it stands for.
var unitAliases = map[string]string{
	"in": "[in_i]", "ft": "[ft_i]", "psi": "[psi]",
	"ºC": "Cel", "˚C": "Cel", "ºF": "[degF]", "˚F": "[degF]", // ordinal and ring in place of the degree
	"°C": "Cel", "℃": "Cel", "degC": "Cel", "°F": "[degF]", "degF": "[degF]",
	"B": "By", "kB": "kBy", "MB": "MBy", "GB": "GBy", "TB": "TBy",
	"KiB": "KiBy", "MiB": "MiBy", "GiB": "GiBy", "TiB": "TiBy",
	"mmH2O": "mm[H2O]", "cmH2O": "cm[H2O]", "mH2O": "m[H2O]", "mmHg": "mm[Hg]",
}

// misnamedUnits are units that the trade writes and that are none here, with what to
// write instead.
var misnamedUnits = map[string]string{
	"lpm": "L/min", "l/m": "L/min", "ltr/min": "L/min", "lit/min": "L/min", "lph": "L/h", "cc/s": "mL/s", "ccm": "mL/min",
	"gpm": "[gal_us]/min", "cmh": "m3/h", "deg c": "Cel", "° c": "Cel", "°": "Cel", "celsius": "Cel",
	"f": "degF", "deg f": "degF", "kelvin": "K", "sec": "s", "secs": "s", "seconds": "s", "msec": "ms", "mins": "min",
	"minutes": "min", "hr": "h", "hrs": "h", "hours": "h", "day": "d", "days": "d", "inch": "in", "inches": "in",
	"micron": "um", "mmwc": "mmH2O", "mmws": "mmH2O", "percent": "%",
}

// prefixes of metric units; both letters for micro are in use.
var prefixes = []struct {
	sign   string
	factor float64
}{
	{"Ti", 1 << 40}, {"Gi", 1 << 30}, {"Mi", 1 << 20}, {"Ki", 1 << 10}, {"da", 10},
	{"T", 1e12}, {"G", 1e9}, {"M", 1e6}, {"k", 1e3}, {"h", 1e2}, {"d", 0.1}, {"c", 1e-2},
	{"m", 1e-3}, {"u", 1e-6}, {"µ", 1e-6}, {"μ", 1e-6}, {"n", 1e-9}, {"p", 1e-12},
}
