package record

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"flowrigd/daq"
	"flowrigd/daq/table"
)

// ExportTo writes an export to a file that is not there yet, and beside a CSV the
// description of its columns. Where that fails neither stays. The count is of records.
func (r *Reader) ExportTo(ctx context.Context, path string, e Export) (count int, err error) {
	plan, err := e.Plan()
	if err != nil {
		return 0, err
	}
	if _, err := os.Lstat(path); err == nil {
		return 0, errThere(path)
	}
	if e.Form.Format == "csv" {
		described := path + table.DescriptionSuffix
		describe := func(w io.Writer) error {
			text, err := plan.Describe(filepath.Base(path), e.What)
			if err == nil {
				_, err = w.Write(text)
			}
			return err
		}
		if err := newFile(described, describe); err != nil {
			return 0, err
		}
		defer func() {
			if err != nil {
				os.Remove(described)
			}
		}()
	}
	err = newFile(path, func(w io.Writer) (err error) {
		count, err = r.Export(ctx, w, e)
		return err
	})
	return count, err
}

func errThere(path string) error {
	return fmt.Errorf("export: %s: exists already; name a new file", path)
}

// newFile writes a file that is not there yet, whole or not at all.
func newFile(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, os.ErrExist) {
		return errThere(path)
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	if err = errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		os.Remove(path)
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// WhyNothing says that no record was there for an export, and when there are some.
func (r *Reader) WhyNothing(ctx context.Context, e Export) (string, error) {
	first, last, err := r.SpanOf(ctx, e.What)
	if err != nil || first.IsZero() {
		return "this recording has no " + e.What, err
	}
	return fmt.Sprintf("no %s in that time; the recording has some from %s to %s", e.What, daq.FormatTime(first), daq.FormatTime(last)), nil
}
