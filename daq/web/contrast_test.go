package web

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"

	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// paleText lists the text inside drawings whose contrast (WCAG 2.2, 1.4.3 and 1.4.6)
// with the area that is painted behind it, at five places along it, is below what is
// wanted; an examiner of pages leaves SVG out. It gives how many texts it has measured.
const paleText = `(least) => {
	const channel = (c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
	const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
	const pen = Object.assign(document.createElement('canvas'), {width: 1, height: 1}).getContext('2d', {willReadFrequently: true});
	const known = new Map();
	const rgba = (colour) => {
		if (!known.has(colour)) {
			pen.clearRect(0, 0, 1, 1);
			pen.fillStyle = colour;
			pen.fillRect(0, 0, 1, 1);
			known.set(colour, [...pen.getImageData(0, 0, 1, 1).data]);
		}
		return known.get(colour);
	};
	const over = (top, below) => below.map((c, i) => top[i] * top[3] / 255 + c * (1 - top[3] / 255));
	const filled = (e, x, y) => {
		if (!(e instanceof SVGElement)) return getComputedStyle(e).backgroundColor;
		if (!(e instanceof SVGGeometryElement) || e.matches('line')) return 'transparent';
		const at = new DOMPoint(x, y).matrixTransform(e.getScreenCTM().inverse());
		return getComputedStyle(e).fill !== 'none' && e.isPointInFill(at) ? getComputedStyle(e).fill : 'transparent';
	};
	const behind = (text, x, y) => {
		const list = [...text.closest('svg').querySelectorAll('rect, path, circle, polygon, ellipse')].filter((e) => {
			const box = e.getBoundingClientRect();
			return x >= box.left && x <= box.right && y >= box.top && y <= box.bottom && e.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING;
		});
		let colour = rgba(getComputedStyle(document.documentElement).backgroundColor);
		if (colour[3] < 255) colour = [255, 255, 255, 255];
		const around = [];
		for (let e = text.closest('svg'); e; e = e.parentElement) around.unshift(e);
		for (const e of [...around, ...list]) colour = over(rgba(filled(e, x, y)), colour.slice(0, 3));
		return colour;
	};
	const found = [];
	let measured = 0;
	for (const text of document.querySelectorAll('svg text, svg foreignObject span')) {
		const box = text.getBoundingClientRect(), style = getComputedStyle(text);
		if (!text.textContent.trim() || box.width === 0) continue;
		measured++;
		let colour = text instanceof SVGElement ? style.fill : style.color;
		for (const part of [0.02, 0.25, 0.5, 0.75, 0.98]) {
			let under = behind(text, box.left + box.width * part, box.top + box.height / 2);
			if (!(text instanceof SVGElement)) under = over(rgba(style.backgroundColor), under);
			const [a, b] = [light(over(rgba(colour), under)), light(under)];
			const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
			if (ratio < least) { found.push(text.textContent.trim().slice(0, 40) + ': ' + ratio.toFixed(2)); break; }
		}
	}
	return {measured, found};
}`

// hasContrast holds the text in the drawings of the page as it stands; few is how many there
// are at least.
func hasContrast(t *testing.T, ctx context.Context, what string, least float64, few int) {
	t.Helper()
	got := look[struct {
		Measured int      `json:"measured"`
		Found    []string `json:"found"`
	}](t, ctx, fmt.Sprintf(`(%s)(%v)`, paleText, least))
	if len(got.Found) > 0 || got.Measured < few {
		t.Errorf("%s: of %d texts these have a contrast below %v: %q", what, got.Measured, least, got.Found)
	}
}

// TestTextInDrawings: bench, ruler and trends in the light and in the dark, with doubtful and
// with bad instruments; the hall's as what is read from afar; and the report's pictures.
func TestTextInDrawings(t *testing.T) {
	daqtest.Browses(t)
	t.Parallel()
	ctx, b := desk(t, 1366, 768, "", nil)
	for _, view := range []struct {
		path  string
		least float64
		few   int
	}{{"/", 4.5, 40}, {"/hall", 7, 5}} {
		must(t, chromedp.Do(ctx, chromedp.Navigate(b.base+view.path)))
		until(t, ctx, `[...document.querySelectorAll('figure .chart')].every((c) => c.querySelector('svg text') !== null)`)
		for seen, state := range map[string]*daq.State{"unknown": badState(), "laminar": crowdedState()} {
			b.become(state)
			until(t, ctx, `document.querySelector('[data-word]').dataset.word === '`+seen+`'`)
			for _, scheme := range []string{"light", "dark"} {
				must(t, chromedp.Do(ctx, inScheme(scheme)))
				until(t, ctx, `matchMedia('(prefers-color-scheme: `+scheme+`)').matches`)
				hasContrast(t, ctx, view.path+", "+seen+", "+scheme, view.least, view.few)
			}
		}
	}
	file, err := filepath.Abs("../report/testdata/sweep.html")
	must(t, err)
	must(t, chromedp.Do(ctx, chromedp.Navigate("file://"+file)))
	hasContrast(t, ctx, "report", 4.5, 10)
}
