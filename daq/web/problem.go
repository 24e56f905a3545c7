package web

import (
	"encoding/json"
	"net/http"
	"strconv"
)

// problemType is the media type of RFC 9457.
const problemType = "application/problem+json"

// problem is an error as RFC 9457 writes it; Checks is an extension member.
type problem struct {
	Type   string            `json:"type"`
	Title  string            `json:"title"`
	Status int               `json:"status"`
	Detail string            `json:"detail,omitempty"`
	Checks map[string]string `json:"checks,omitempty"`
}

// refuse answers with a problem; detail is a sentence with the remedy.
func refuse(w http.ResponseWriter, status int, detail string) {
	writeProblem(w, problem{Status: status, Detail: detail})
}

func writeProblem(w http.ResponseWriter, p problem) {
	p.Type, p.Title = "about:blank", http.StatusText(p.Status)
	if p.Status == http.StatusServiceUnavailable {
		w.Header().Set("Retry-After", "1")
	}
	writeBody(w, p.Status, problemType, encode(p))
}

func writeJSON(w http.ResponseWriter, body any) {
	writeBody(w, http.StatusOK, "application/json", encode(body))
}

// encode writes values of our own types, which cannot fail.
func encode(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		return []byte("null")
	}
	return b
}

func writeBody(w http.ResponseWriter, status int, kind string, body []byte) {
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Length", strconv.Itoa(len(body)+1))
	w.WriteHeader(status)
	// The other end may be gone; there is nobody to tell.
	_, _ = w.Write(append(body, '\n'))
}
