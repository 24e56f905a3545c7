package report

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"image/color"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Picture is one picture with the words that stand for it where it cannot be seen.
type Picture struct {
	Title       string
	Description string
	SVG         template.HTML // of our own making, every text in it escaped
}

// The size of a picture on paper, in points.
const (
	pictureWidth  = 520
	pictureHeight = 290
	margin        = 14 // on the right, for half a label
)

// The inks: far apart for every eye, and each with a shape or dash of its own, for
// paper is printed in grey.
var (
	black  = color.NRGBA{0x22, 0x22, 0x22, 0xff}
	grey   = color.NRGBA{0x77, 0x77, 0x77, 0xff}
	pale   = color.NRGBA{0xc9, 0xd8, 0xe6, 0xff}
	blue   = color.NRGBA{0x00, 0x5a, 0x9c, 0xff}
	orange = color.NRGBA{0xb3, 0x5a, 0x00, 0xff}
	red    = color.NRGBA{0x9b, 0x1c, 0x31, 0xff}
)

// mark is how a kind of point is drawn.
type mark struct {
	ink   color.Color
	shape draw.GlyphDrawer
}

// marks are those of what the dye showed; "" is what nobody looked at.
var marks = map[string]mark{
	"laminar":      {blue, draw.CircleGlyph{}},
	"transitional": {orange, draw.PyramidGlyph{}},
	"turbulent":    {red, draw.BoxGlyph{}},
	"":             {grey, draw.CrossGlyph{}},
}

// seenWords are the keys of marks in the order of the legend.
var seenWords = [...]string{"laminar", "transitional", "turbulent", ""}

func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = sans(11)
		a.Tick.Label.Font = sans(10)
		a.Tick.Marker = plot.TickerFunc(linearTicks)
		a.Padding = 4
	}
	p.X.Label.Text, p.Y.Label.Text = x, y
	p.Legend.TextStyle.Font = sans(10)
	p.Legend.Top, p.Legend.Left = true, true // the sign before the text, whatever font the reader has
	p.Legend.Padding = 2
	grid := plotter.NewGrid()
	grid.Horizontal.Color, grid.Vertical.Color = color.NRGBA{0xe4, 0xe4, 0xe4, 0xff}, color.NRGBA{0xe4, 0xe4, 0xe4, 0xff}
	p.Add(grid)
	return p
}

func sans(size vg.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

func logAxis(a *plot.Axis) {
	a.Scale = plot.LogScale{}
	a.Tick.Marker = plot.TickerFunc(logTicks)
}

// addLine adds a line with its name in the legend; "" for none.
func addLine(p *plot.Plot, name string, ink color.Color, dashes []vg.Length, points plotter.XYs) {
	if len(points) == 0 {
		return
	}
	l := &plotter.Line{XYs: points, LineStyle: draw.LineStyle{Color: ink, Width: 1.2, Dashes: dashes}}
	p.Add(l)
	if name != "" {
		p.Legend.Add(name, l)
	}
}

// addMarks adds points by what the dye showed.
func addMarks(p *plot.Plot, points map[string]plotter.XYs) {
	for _, seen := range seenWords {
		if len(points[seen]) == 0 {
			continue
		}
		m := marks[seen]
		s := &plotter.Scatter{XYs: points[seen], GlyphStyle: draw.GlyphStyle{Color: m.ink, Shape: m.shape, Radius: 3.2}}
		p.Add(s)
		if seen == "" {
			seen = "dye not noted"
		}
		p.Legend.Add(seen, s)
	}
}

// render draws a picture. The namespaces go: inside an HTML document none is
// needed, and the file then names no address at all.
func render(p *plot.Plot, title, description string) (Picture, error) {
	canvas := vgsvg.New(pictureWidth, pictureHeight)
	p.BackgroundColor = color.White
	p.Draw(draw.Crop(draw.New(canvas), 0, -margin, 0, -4))
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return Picture{}, fmt.Errorf("picture %q: %w", title, err)
	}
	_, drawing, ok := strings.Cut(b.String(), "xmlns:xlink=\"http://www.w3.org/1999/xlink\">")
	if !ok {
		return Picture{}, fmt.Errorf("picture %q: the drawing does not begin as an SVG does", title)
	}
	head := fmt.Sprintf(`<svg viewBox="0 0 %d %d" role="img" aria-label="%s"><title>%s</title><desc>%s</desc>`,
		pictureWidth, pictureHeight, html.EscapeString(title), html.EscapeString(title), html.EscapeString(description))
	drawing = strings.ReplaceAll(drawing, "font-family:Liberation Sans", "font-family:Liberation Sans,Arial,Helvetica,sans-serif")
	return Picture{title, description, template.HTML(head + drawing)}, nil
}
