package web

import (
	"maps"
	"net/http"
	"slices"
	"strings"
)

// route is one method of one path and the role it needs: "" for everybody.
type route struct {
	need  string
	serve http.HandlerFunc
}

// routes is the map of everything that is served.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	paths := map[string]map[string]route{
		"/{$}":           {"GET": {"", s.page("page.html")}},
		"/hall":          {"GET": {"", s.page("hall.html")}},
		"/assets/{file}": {"GET": {"", s.asset}},
		"/enter":         {"GET": {"", s.enter}},
		"/page/follow":   {"GET": {RoleWatch, s.followPage}},
		"/page/working":  {"GET": {RoleWatch, s.working}},
		"/api/now":       {"GET": {RoleWatch, answering(s.now)}},
		"/api/follow":    {"GET": {RoleWatch, s.follow}},
		"/api/trend":     {"GET": {RoleWatch, answering(s.trend)}},
		"/api/report":    {"GET": {RoleWatch, s.report}},
		"/api/recording": {"GET": {RoleWatch, answering(s.recording)}},
		"/api/alarms":    {"GET": {RoleWatch, answering(s.alarms)}},
		"/api/alarms/{name}/{verb}": {
			"POST": {RoleOperate, answering(s.command)}},
		"/api/permit": {
			"GET": {RoleWatch, answering(s.permit)}, "POST": {RoleOperate, answering(s.changePermit)}},
		"/api/dye": {
			"POST": {RoleOperate, answering(s.watchDye)}},
		"/api/session": {
			"GET": {"", answering(s.session)}, "POST": {"", s.signIn}, "DELETE": {"", answering(s.signOut)}},
		"/metrics": {"GET": {RoleWatch, s.metrics().ServeHTTP}},
		"/healthz": {"GET": {RoleWatch, answering(s.healthz)}},
		"/readyz":  {"GET": {RoleWatch, answering(s.readyz)}},
	}
	maps.Copy(paths, s.notebookRoutes())
	paths["/api/simulator"] = s.simulatorRoutes()
	for path, methods := range paths {
		mux.Handle(path, s.methods(methods))
	}
	mux.HandleFunc("/", notFound)
	return s.seat(s.guard(mux))
}

// notebookRoutes are those of what is written down at the bench.
func (s *Server) notebookRoutes() map[string]map[string]route {
	paths := map[string]map[string]route{}
	for what, write := range map[string]func(http.ResponseWriter, *http.Request) (any, error){
		"test-points": s.capture, "observations": s.observe, "collections": s.collect, "notes": s.note,
		"experiments": s.startExperiment,
	} {
		paths["/api/"+what] = map[string]route{"GET": {RoleWatch, answering(s.results(what))}, "POST": {RoleOperate, answering(write)}}
		if resultKinds[what] != "" {
			paths["/api/"+what+"/{sequence}/strike"] = map[string]route{"POST": {RoleOperate, answering(s.strike(what))}}
		}
	}
	paths["/api/experiments"]["GET"] = route{RoleWatch, answering(s.experiments)}
	paths["/api/experiments/{id}/stop"] = map[string]route{"POST": {RoleOperate, answering(s.stopExperiment)}}
	return paths
}

func notFound(w http.ResponseWriter, r *http.Request) {
	refuse(w, http.StatusNotFound, "there is nothing at "+r.URL.Path+"; the page at / and the README list what there is")
}

// methods picks the route of a request's method and checks its role.
func (s *Server) methods(table map[string]route) http.Handler {
	allowed := slices.Sorted(maps.Keys(table))
	if _, ok := table["GET"]; ok {
		allowed = append(allowed, "HEAD")
	}
	allow := strings.Join(allowed, ", ")
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		method := r.Method
		if method == http.MethodHead {
			method = http.MethodGet
		}
		to, ok := table[method]
		if !ok {
			w.Header().Set("Allow", allow)
			refuse(w, http.StatusMethodNotAllowed, r.Method+" is not for "+r.URL.Path+"; use "+allow)
			return
		}
		if method == http.MethodGet && r.ContentLength != 0 {
			refuse(w, http.StatusBadRequest, r.Method+" takes no body: write what you ask for into the address")
			return
		}
		if s.admit(w, r, to.need) {
			to.serve(w, r)
		}
	})
}
