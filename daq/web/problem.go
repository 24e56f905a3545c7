package web

import (
	"encoding/json"
	"errors"
	"fmt"
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

func (p problem) Error() string { return p.Detail }

// problemf is an error with its status; the detail is a sentence with the remedy.
func problemf(status int, format string, values ...any) error {
	return problem{Status: status, Detail: fmt.Sprintf(format, values...)}
}

// object is a JSON object that is written already.
type object []byte

// answering serves what a handler gives as JSON, and its error as a problem.
func answering(handler func(http.ResponseWriter, *http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		body, err := handler(w, r)
		if err != nil {
			fail(w, err)
			return
		}
		writeJSON(w, body)
	}
}

// fail answers with an error: what names no status does not work now.
func fail(w http.ResponseWriter, err error) {
	p := problem{Status: http.StatusServiceUnavailable, Detail: err.Error()}
	errors.As(err, &p)
	writeProblem(w, p)
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
	status, text := http.StatusOK, []byte(nil)
	switch b := body.(type) {
	case object:
		text = b
	case created:
		status, text = http.StatusCreated, b
	default:
		text = encode(body)
	}
	writeBody(w, status, "application/json", text)
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
	_, _ = w.Write(body)
	_, _ = w.Write([]byte{'\n'})
}
