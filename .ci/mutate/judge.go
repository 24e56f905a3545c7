package main

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"
)

// The verdicts on a change.
const (
	unbuildable = "unborn"
	noticed     = "noticed"
	unnoticed   = "SURVIVED"
)

// judge runs the tests against a change.
type judge struct {
	further []string // packages beside the file's own
	only    string   // tests of those
	limit   time.Duration
}

// verdict lays the change over its file and runs the tests of the file's own
// package, and where they notice nothing those of the further packages.
func (j judge) verdict(c change) (string, error) {
	dir, err := os.MkdirTemp("", "mutate-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	overlay, err := lay(dir, c)
	if err != nil {
		return "", err
	}
	own := "./" + filepath.Dir(c.file)
	if built, err := j.run(overlay, "build", "-o", os.DevNull, own); err != nil || !built {
		return unbuildable, err
	}
	// Without vet: it would refuse some changes before a test is asked.
	test := []string{"test", "-vet=off", "-count=1", "-failfast", "-short"}
	runs := [][]string{append(slices.Clone(test), own)}
	for _, p := range j.further {
		args := append(slices.Clone(test), p)
		if j.only != "" {
			args = append(args, "-run", j.only)
		}
		runs = append(runs, args)
	}
	for _, args := range runs {
		passed, err := j.run(overlay, args...)
		if err != nil || !passed {
			return noticed, err
		}
	}
	return unnoticed, nil
}

// lay writes the changed file and the description of what it stands for.
func lay(dir string, c change) (overlay string, err error) {
	file, err := filepath.Abs(c.file)
	if err != nil {
		return "", err
	}
	changed := filepath.Join(dir, "changed.go")
	text := c.source[:c.from] + c.now + c.source[c.to:]
	if err := os.WriteFile(changed, []byte(text), 0o600); err != nil {
		return "", err
	}
	description, err := json.Marshal(map[string]map[string]string{"Replace": {file: changed}})
	if err != nil {
		return "", err
	}
	overlay = filepath.Join(dir, "overlay.json")
	return overlay, os.WriteFile(overlay, description, 0o600)
}

// run says whether a go command passed; the overlay holds for the go commands
// that the tests start too. One that does not end in time has not passed.
func (j judge) run(overlay string, args ...string) (bool, error) {
	ctx, cancel := context.WithTimeout(context.Background(), j.limit)
	defer cancel()
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Env = append(os.Environ(), "GOFLAGS=-overlay="+overlay)
	cmd.WaitDelay = 10 * time.Second
	err := cmd.Run()
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) || errors.Is(err, exec.ErrWaitDelay) || ctx.Err() != nil {
		return false, nil
	}
	return err == nil, err
}
