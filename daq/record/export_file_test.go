package record

import (
	"errors"
	"io"
	"path/filepath"
	"strings"
	"testing"
)

// TestHalfAFileIsNone: where writing fails, neither the file nor its description stays.
func TestHalfAFileIsNone(t *testing.T) {
	file := filepath.Join(t.TempDir(), "half.csv")
	err := newFile(file, func(w io.Writer) error {
		_, _ = io.WriteString(w, "half")
		return errors.New("then nothing")
	})
	if left, _ := filepath.Glob(file + "*"); err == nil || !strings.Contains(err.Error(), "half.csv: then nothing") || left != nil {
		t.Errorf("%v, %v", err, left)
	}
}
