package web

import (
	"bytes"
	"errors"
	"io"
	"net/http"

	"flowrigd/daq/request"
)

// maxBody bounds what a request may send, in bytes.
const maxBody = 16 << 10

// readJSON reads one JSON object strictly into v; an empty body is {}.
func readJSON(w http.ResponseWriter, r *http.Request, v any) error {
	if kind := r.Header.Get("Content-Encoding"); kind != "" && kind != "identity" {
		return problemf(http.StatusUnsupportedMediaType, "the body is packed (Content-Encoding: %q): send it as it is", kind)
	}
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return problemf(http.StatusRequestEntityTooLarge, "the body is larger than %d bytes: send less", maxBody)
	}
	if err == nil && len(bytes.TrimSpace(text)) > 0 {
		err = request.Decode(text, v)
	}
	if err != nil {
		return problemf(http.StatusBadRequest, "body: %v; write one JSON object in UTF-8", err)
	}
	return nil
}
