package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/dashboards"
)

// partNames are the pieces of the page that the stream replaces; each is a
// template part-NAME.
var partNames = [...]string{"notices", "band", "permit", "bench", "thread", "word", "number", "ruler", "sure", "steady", "advice", "readings", "alarms", "plan",
	"remarks", "details", "say", "clock", "sign", "next"}

// asset is a file of the page with its mark for caches.
type asset struct {
	name, kind, tag string
	data            []byte
}

// loadPage parses the templates and reads the files beside them.
func (s *Server) loadPage() error {
	pages, err := template.ParseFS(dashboards.Files, "page.html", "hall.html", "parts.html", "bench.html", "simulator.html")
	if err != nil {
		return fmt.Errorf("page: %w", err)
	}
	s.pages, s.assets = pages, map[string]asset{}
	files, err := fs.Glob(dashboards.Files, "assets/*")
	if err != nil {
		return fmt.Errorf("page: %w", err)
	}
	for _, file := range files {
		data, err := fs.ReadFile(dashboards.Files, file)
		if err != nil {
			return fmt.Errorf("page: %w", err)
		}
		name := path.Base(file)
		s.assets[name] = asset{name, assetKinds[path.Ext(name)], `"` + digest(data) + `"`, data}
	}
	return nil
}

// assetKinds are ours: the machine's own table may be wrong.
var assetKinds = map[string]string{".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}

func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:8])
}

// asset serves a file of the page.
func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	a, ok := s.assets[r.PathValue("file")]
	if !ok {
		notFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", a.tag)
	http.ServeContent(w, r, a.name, time.Time{}, bytes.NewReader(a.data))
}

// build changes with the page's files and with the configuration: a page that
// was loaded under another one loads itself anew.
func (s *Server) build(f *Facts) string {
	var b []byte
	for _, name := range slices.Sorted(maps.Keys(s.assets)) {
		b = append(b, s.assets[name].tag...)
	}
	b = fmt.Appendf(b, "%v %v %v %v %v %v %v %v %q", s.opt.Version, f.LaminarBelow, f.TurbulentAbove, f.Lip, f.Drop, f.Zone, f.Tube, f.Instruments, f.Plans)
	for _, limit := range [...]*float64{f.HeadLost, f.Overheat} {
		if limit != nil {
			b = fmt.Appendf(b, " %v", *limit)
		}
	}
	return digest(b)
}

// pageData is what the frame of the page needs.
type pageData struct {
	Site, Rig  string
	Build      string
	Role, Name string
	Reader     bool // may see values
	Parts      map[string]template.HTML
	Trends     []trendFrame
	Frame      frame
	Plans      []string
	Zone       string // by its name in the IANA database, in which times are shown; "" where it has none
	ZoneName   string
	Offset     int  // s, of the zone now
	Simulated  bool // the rig has hands
	Light      bool // a photodiode watches the thread
}

// trendFrame is one chart that the page's script fills.
type trendFrame struct {
	Quantity, Title, Unit string
	Factor                float64
	Decimals              int
	Limits                []tick
}

// page serves the page with the newest values in it already; to somebody who
// may not read it serves the form to sign in alone.
func (s *Server) page(file string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) { s.servePage(w, r, file) }
}

func (s *Server) servePage(w http.ResponseWriter, r *http.Request, file string) {
	p := who(r)
	facts := s.facts.Load()
	data := pageData{Build: s.build(facts), Role: p.role, Name: p.name,
		Reader: covers(p.role, RoleWatch) || s.local(r)}
	status := http.StatusUnauthorized
	if data.Reader {
		status = http.StatusOK
		s.fillPage(&data, facts)
	}
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, file, data); err != nil {
		refuse(w, http.StatusInternalServerError, "page: "+err.Error())
		return
	}
	writeBody(w, status, "text/html; charset=utf-8", b.Bytes())
}

func (s *Server) fillPage(data *pageData, facts *Facts) {
	id := s.opt.Rig.Identity()
	data.Site, data.Rig = id.Site, id.Rig
	data.Parts = map[string]template.HTML{}
	for name, html := range s.snapshot(0).parts {
		data.Parts[name] = template.HTML(html) // made by our own templates, escaped there
	}
	data.Trends, data.Frame, data.Plans = trendFrames(facts), facts.frame, facts.Plans
	data.Simulated, data.Light = s.opt.Simulator != nil, slices.Contains(facts.Instruments, quantity.DyeLight)
	here := facts.local(time.Now())
	data.ZoneName, data.Offset = here.Zone()
	if name := here.Location().String(); name != "Local" {
		data.Zone, data.ZoneName = name, name
	}
}

func trendFrames(f *Facts) []trendFrame {
	frame := func(id quantity.ID, title string, limits ...tick) trendFrame {
		u := benchUnit(id)
		for i := range limits {
			limits[i].At = u.of(limits[i].At)
		}
		return trendFrame{id.Name(), title, u.sign, 1 / u.Factor, u.decimals, limits}
	}
	level := []tick{{f.Lip, "lip"}}
	if f.HeadLost != nil {
		level = append(level, tick{*f.HeadLost, "head-lost"})
	}
	var heat []tick
	if f.Overheat != nil {
		heat = append(heat, tick{*f.Overheat, "water-overheat"})
	}
	return []trendFrame{
		frame(quantity.Reynolds, "Reynolds number", tick{f.LaminarBelow, "laminar limit"}, tick{f.TurbulentAbove, "turbulent limit"}),
		frame(quantity.Temperature, "Temperature at the inlet", heat...),
		frame(quantity.Flow, "Flow"),
		frame(quantity.Level, "Level", level...),
	}
}
