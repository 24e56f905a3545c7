package table

import (
	"encoding/json"
	"net/url"
	"slices"
	"strings"
	"time"
)

// The description of a CSV file by the W3C's Recommendations "Metadata Vocabulary for
// Tabular Data" and "Model for Tabular Data and Metadata on the Web" (17 December
// 2015). Units stand under schema:unitText, by the Unified Code for Units of Measure.

// DescriptionSuffix is what follows the name of a CSV file in the name of its
// description: where the Model, section 5.3, has programs look for it.
const DescriptionSuffix = "-metadata.json"

type description struct {
	Context     []any   `json:"@context"`
	URL         string  `json:"url"`
	Title       string  `json:"dc:title"`
	Description string  `json:"dc:description"`
	Dialect     dialect `json:"dialect"`
	Schema      schema  `json:"tableSchema"`
}

type dialect struct {
	Delimiter       string   `json:"delimiter"`
	Encoding        string   `json:"encoding"`
	Header          bool     `json:"header"`
	LineTerminators []string `json:"lineTerminators"`
	QuoteChar       string   `json:"quoteChar"`
	DoubleQuote     bool     `json:"doubleQuote"`
}

type schema struct {
	Columns    []columnDescription `json:"columns"`
	PrimaryKey string              `json:"primaryKey,omitempty"`
}

type columnDescription struct {
	Name        string `json:"name"`
	Titles      string `json:"titles"`
	Datatype    any    `json:"datatype"`
	Required    bool   `json:"required,omitempty"`
	Unit        string `json:"schema:unitText,omitempty"`
	Description string `json:"dc:description,omitempty"`
}

// datatype is one with a format: of numbers or of times.
type datatype struct {
	Base   string `json:"base"`
	Format any    `json:"format"`
}

// Describe is the description of a CSV file of that name, which holds what.
func (p *Plan) Describe(name, what string) ([]byte, error) {
	text := "A text that begins with = + - or @ has an apostrophe before it. Unknown is an empty cell."
	if p.form.Zone != nil {
		zone := "of the zone " + p.form.Zone.String()
		if p.form.Zone == time.Local {
			zone = "of the machine that wrote this"
		}
		text += " Times are those " + zone + ", to the millisecond; where clocks go back an hour comes twice, and the order of the rows tells."
	}
	d := description{
		Context: []any{"http://www.w3.org/ns/csvw", map[string]string{"@language": "en"}},
		URL:     (&url.URL{Path: name}).String(), Title: what, Description: text,
		Dialect: dialect{p.separator(), "utf-8", true, []string{"\r\n"}, `"`, true},
		Schema:  schema{Columns: p.describeColumns()},
	}
	if slices.ContainsFunc(p.columns, func(c chosen) bool { return c.at == 0 }) {
		d.Schema.PrimaryKey = p.nameOf(0)
	}
	out, err := json.MarshalIndent(d, "", "  ")
	return append(out, '\n'), err
}

func (p *Plan) nameOf(at int) string {
	return p.columns[slices.IndexFunc(p.columns, func(c chosen) bool { return c.at == at })].Name
}

func (p *Plan) describeColumns() (list []columnDescription) {
	for _, c := range p.columns {
		list = append(list, columnDescription{c.Name, c.Name, p.datatype(c.Kind), c.at < 2, c.unit, c.Help})
	}
	return list
}

func (p *Plan) datatype(k Kind) any {
	switch {
	case k == Number && p.form.Decimal == ",":
		return datatype{"double", map[string]string{"decimalChar": ","}}
	case k == Moment && p.form.Zone != nil:
		return datatype{"dateTime", strings.NewReplacer("2006", "yyyy", "01", "MM", "02", "dd", "15", "HH", "04", "mm", "05", "ss", "000", "SSS").Replace(zoned)}
	}
	return [...]string{Text: "string", Integer: "integer", Number: "double", Truth: "boolean", Moment: "dateTimeStamp"}[k]
}
