package web

import (
	"context"
	"net/http"
	"time"
)

// reportWait bounds the making of a report: a year of rows takes some seconds.
const reportWait = time.Minute

// reportPolicy is that of a file which holds all that it shows: styles and pictures in
// it, and nothing from anywhere.
const reportPolicy = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"

// report serves the report of one experiment, or of the whole recording.
func (s *Server) report(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	for name, values := range query {
		if name != "experiment" || len(values) > 1 {
			refuse(w, http.StatusBadRequest, "a report has experiment=ID and nothing else; without it, it is of the whole recording")
			return
		}
	}
	if s.opt.Report == nil {
		refuse(w, http.StatusServiceUnavailable, "nothing is recorded, so there is no report")
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), reportWait)
	defer cancel()
	done, err := s.costly(ctx, w, r)
	if err != nil {
		fail(w, err)
		return
	}
	page, known, err := s.opt.Report(ctx, query.Get("experiment"))
	done()
	switch {
	case err != nil && !known:
		refuse(w, http.StatusNotFound, err.Error())
	case err != nil:
		fail(w, err)
	default:
		w.Header().Set("Content-Security-Policy", reportPolicy)
		writeBody(w, http.StatusOK, "text/html; charset=utf-8", page)
	}
}
