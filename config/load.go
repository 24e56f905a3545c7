package config

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// maxFile is the largest configuration that is read, in bytes.
const maxFile = 128 << 10

// Load reads and checks a configuration file. The Config is nil when a problem
// is more than a warning.
func Load(path string) (*Config, []Problem) {
	text, err := os.ReadFile(path)
	if err != nil {
		cause := err.Error()
		if p, ok := errors.AsType[*fs.PathError](err); ok { // the path stands before it already
			cause = p.Err.Error()
		}
		return nil, []Problem{{File: path, Line: 1, Column: 1, Text: "read: " + cause, Remedy: "write the name of a file that can be read behind --config"}}
	}
	return Parse(path, text)
}

// Parse checks the text of a configuration. The path is for messages, and its
// directory is where relative file names begin. All problems come at once, in
// order of their place; the Config is nil when one is more than a warning.
func Parse(path string, text []byte) (*Config, []Problem) {
	r := &report{file: path}
	if at, m := encodingMistake(text); m != nil {
		r.add(at, m.Wrong, m.Remedy)
		return nil, r.problems
	}
	root := parseTree(bytes.TrimPrefix(text, []byte(byteOrderMark)), r)
	if root == nil {
		return nil, r.sorted()
	}
	dir := filepath.Dir(path)
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	l := &loader{report: r, root: newSection(root, "", r), dir: dir, now: time.Now()}
	c := l.load()
	c.Path, c.Text = path, Redact(text)
	sum := sha256.Sum256(c.Text)
	c.SHA256 = hex.EncodeToString(sum[:])
	if Fatal(r.problems) {
		c = nil
	}
	return c, r.sorted()
}

// loader turns the tree into a Config.
type loader struct {
	report *report
	root   *section
	dir    string // absolute: where relative file names begin
	config Config
	now    time.Time // dates of calibrations are held against it
}

// load reads everything, holds one part against another, and warns of what is unwise.
func (l *loader) load() *Config {
	l.loadSite()
	l.loadTube()
	l.loadTank()
	l.loadWater()
	l.loadDye()
	l.loadRegime()
	plans := l.loadPlans()
	l.loadPorts()
	l.loadInstruments()
	l.loadTrip()
	l.loadMQTT()
	l.loadNotify()
	l.loadHTTP()
	l.loadRecord()
	l.loadAlarms()
	l.root.done()
	l.crossCheck()
	l.checkPlans(plans)
	l.adviseAccuracy()
	l.adviseBlocked()
	l.adviseCalibrations()
	l.adviseTurbine()
	l.adviseDevices()
	l.adviseLines()
	l.adviseSupply()
	l.adviseListen()
	l.adviseDye()
	return &l.config
}

// at is the place of the deepest part of a path that is written: a value's, or
// a table's name.
func (l *loader) at(path ...string) place {
	n := l.root.node
	for _, key := range path {
		below := n.child(key)
		if below == nil {
			break
		}
		n = below
	}
	if n.isTable() {
		return n.at
	}
	return n.value
}

// file makes a file name absolute; "" stays.
func (l *loader) file(name string) string {
	if name == "" || filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(l.dir, name)
}

// required opens a table that must be there; nil where it is not.
func (l *loader) required(key, remedy string) *section {
	present := l.root.node.child(key) != nil
	s := l.root.table(key)
	if !present {
		l.report.add(l.root.node.at, "the table ["+key+"] is missing", remedy)
	}
	return s
}

// optional opens a table that may be absent; then all its keys are.
func (l *loader) optional(key string) *section {
	if s := l.root.table(key); s != nil {
		return s
	}
	return newSection(&node{at: l.root.node.at}, key, l.report)
}

// The bounds of times that several tables share.
const (
	day         = 24 * time.Hour
	longestTime = 100 * 365 * day
)
