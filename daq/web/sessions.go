package web

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// sessionAge is how long a browser stays signed in: a person far away must be
// able to act in the middle of the night without looking for the token.
const sessionAge = 30 * 24 * time.Hour

// sessionsPerToken bounds the browsers that one token signs in; a class may
// share one. The oldest session ends for one more.
const sessionsPerToken = 64

// session is a browser that is signed in. What it may do is asked of the
// tokens file each time, so that it ends with its token.
type session struct {
	token hash // zero: it came by the one-time link
	began time.Time
}

// sessions are kept by the hash of what the cookie holds, in memory and in a
// file beside the tokens, so that a restart signs nobody out.
type sessions struct {
	path    string // "": in memory alone
	log     *slog.Logger
	mu      sync.Mutex
	open    map[hash]session
	changed chan struct{}
}

func openSessions(tokensFile string, log *slog.Logger) *sessions {
	s := &sessions{log: log, open: map[hash]session{}, changed: make(chan struct{}, 1)}
	if tokensFile == "" {
		return s
	}
	s.path = tokensFile + ".sessions"
	text, err := os.ReadFile(s.path)
	if errors.Is(err, fs.ErrNotExist) {
		return s
	}
	if err == nil {
		err = s.parse(text)
	}
	if err != nil {
		log.Warn("sessions: not all were kept, people sign in again", "error", err)
	}
	return s
}

// parse reads a file of sessions, one a line.
func (s *sessions) parse(text []byte) error {
	lines := bufio.NewScanner(bytes.NewReader(text))
	for n := 1; lines.Scan(); n++ {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		if err := s.parseLine(lines.Text()); err != nil {
			return fmt.Errorf("%s:%d: %w", s.path, n, err)
		}
	}
	return lines.Err()
}

// parseLine reads `hash-of-cookie hash-of-token began`.
func (s *sessions) parseLine(line string) error {
	words := strings.Fields(line)
	if len(words) != 3 {
		return errors.New("a session has three words")
	}
	cookie, errCookie := parseHash(words[0])
	token, errToken := parseHash(words[1])
	began, errTime := time.Parse(time.RFC3339, words[2])
	if err := errors.Join(errCookie, errToken, errTime); err != nil {
		return err
	}
	s.open[cookie] = session{token, began}
	return nil
}

// begin opens a session and gives what its cookie holds.
func (s *sessions) begin(token hash, now time.Time) string {
	cookie := rand.Text()
	s.mu.Lock()
	defer s.mu.Unlock()
	count, oldest := 0, hash{}
	for key, one := range s.open {
		switch {
		case now.Sub(one.began) > sessionAge:
			delete(s.open, key)
		case one.token == token:
			if count++; count == 1 || one.began.Before(s.open[oldest].began) {
				oldest = key
			}
		}
	}
	if count >= sessionsPerToken {
		delete(s.open, oldest)
	}
	s.open[hashOf(cookie)] = session{token, now}
	s.noteChange()
	return cookie
}

// find is the session of a cookie. Only hashes are compared: how long that
// takes tells nothing about a cookie.
func (s *sessions) find(cookie string, now time.Time) (session, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	one, ok := s.open[hashOf(cookie)]
	return one, ok && now.Sub(one.began) <= sessionAge
}

func (s *sessions) end(cookie string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.open[hashOf(cookie)]; ok {
		delete(s.open, hashOf(cookie))
		s.noteChange()
	}
}

func (s *sessions) noteChange() {
	select {
	case s.changed <- struct{}{}:
	default: // what is to be written is read when it is written
	}
}

// keep writes the file after each change, until the context ends. Nobody waits
// for it: a hung disk keeps nobody from signing in.
func (s *sessions) keep(ctx context.Context) {
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-s.changed:
			s.noteWritten(s.write())
		}
	}
	select {
	case <-s.changed:
		s.noteWritten(s.write())
	default:
	}
}

func (s *sessions) noteWritten(err error) {
	if err != nil {
		s.log.Warn("sessions: cannot be kept, after a restart people sign in again", "error", err)
	}
}

func (s *sessions) write() (err error) {
	if s.path == "" {
		return nil
	}
	text := s.text()
	f, err := os.CreateTemp(filepath.Dir(s.path), filepath.Base(s.path)+".*") // for its owner alone
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), s.path)
	}
	if err != nil {
		err = errors.Join(err, os.Remove(f.Name()))
	}
	return err
}

func (s *sessions) text() []byte {
	b := []byte("# hashes of the browsers that are signed in; written by flowrigd\n")
	s.mu.Lock()
	defer s.mu.Unlock()
	for key, one := range s.open {
		if one.token != (hash{}) {
			b = fmt.Appendf(b, "%x %x %s\n", key, one.token, one.began.UTC().Format(time.RFC3339))
		}
	}
	return b
}
