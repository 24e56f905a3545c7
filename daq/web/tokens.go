package web

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"flowrigd/config"
	"flowrigd/daq"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"text/tabwriter"
	"time"
)

// The roles of a token. Operate includes watch.
const (
	RoleWatch   = "watch"
	RoleOperate = "operate"
)

// Token is one line of the tokens file. The token itself is kept nowhere.
type Token struct {
	Name    string
	Role    string
	Created time.Time
	hash    hash
}

// hash is the SHA-256 of a secret.
type hash [sha256.Size]byte

func hashOf(secret string) hash { return sha256.Sum256([]byte(secret)) }

var errTokenLine = errors.New("write: name role sha256 created, four words")

var tokenName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)

func parseHash(word string) (hash, error) {
	sum, err := hex.DecodeString(word)
	if err != nil || len(sum) != sha256.Size {
		return hash{}, errors.New("not a SHA-256 in hex")
	}
	return hash(sum), nil
}

// parseToken reads `name role sha256(hex) created`.
func parseToken(line string) (Token, error) {
	words := strings.Fields(line)
	if len(words) != 4 {
		return Token{}, errTokenLine
	}
	t := Token{Name: words[0], Role: words[1]}
	if err := checkToken(t.Name, t.Role); err != nil {
		return Token{}, err
	}
	var err error
	if t.hash, err = parseHash(words[2]); err != nil {
		return Token{}, fmt.Errorf("the third word is %w", err)
	}
	t.Created, err = time.Parse(time.RFC3339, words[3])
	if err != nil {
		return Token{}, errors.New("the fourth word is not a time such as 2026-01-02T15:04:05Z")
	}
	return t, nil
}

// CheckName refuses a token name that cannot be kept.
func CheckName(name string) error {
	if !tokenName.MatchString(name) {
		return fmt.Errorf("token name %q: use letters, digits, dot, dash and underscore, at most 64", name)
	}
	return nil
}

func checkToken(name, role string) error {
	if err := CheckName(name); err != nil {
		return err
	}
	if role != RoleWatch && role != RoleOperate {
		return fmt.Errorf("token role %q: write %s or %s", role, RoleWatch, RoleOperate)
	}
	return nil
}

// parseTokens reads a whole file: the good lines, and what is wrong with the
// others. Lines that begin with # are comments.
func parseTokens(path string, data []byte) ([]Token, error) {
	var list []Token
	var bad []error
	lines := bufio.NewScanner(bytes.NewReader(data))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		t, err := parseToken(line)
		if err != nil {
			bad = append(bad, fmt.Errorf("%s:%d: %w", path, n, err))
			continue
		}
		list = append(list, t)
	}
	return list, errors.Join(append(bad, lines.Err())...)
}

// ListTokens reads the tokens file; one that is not there has no tokens.
func ListTokens(path string) ([]Token, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("tokens: %w", err)
	}
	return parseTokens(path, data)
}

// WriteTokens lists who has a token, and with which role.
func WriteTokens(to io.Writer, path string) error {
	list, err := ListTokens(path)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	for _, t := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\n", config.Printable(t.Name), t.Role, daq.FormatTime(t.Created))
	}
	return w.Flush()
}

// AddToken makes a token and keeps its hash in the file. The token is told
// this once.
func AddToken(path, name, role string) (string, error) {
	if err := checkToken(name, role); err != nil {
		return "", err
	}
	token := rand.Text()
	err := changeTokens(path, func(list []Token) ([]Token, error) {
		if slices.ContainsFunc(list, func(t Token) bool { return t.Name == name }) {
			return nil, fmt.Errorf("token %s: there is one of this name; remove it first or take another name", name)
		}
		return append(list, Token{name, role, time.Now(), hashOf(token)}), nil
	})
	if err != nil {
		return "", err
	}
	return token, nil
}

// RemoveToken takes a token away.
func RemoveToken(path, name string) error {
	return changeTokens(path, func(list []Token) ([]Token, error) {
		rest := slices.DeleteFunc(slices.Clone(list), func(t Token) bool { return t.Name == name })
		if len(rest) == len(list) {
			return nil, fmt.Errorf("token %s: there is none of this name; `flowrigd token list` shows them", name)
		}
		return rest, nil
	})
}

// changeTokens replaces the file as a whole. Its new text is made under a name
// that only one can hold, so that two changes at once do not lose one.
func changeTokens(path string, change func([]Token) ([]Token, error)) (err error) {
	if path == "" {
		return errors.New("tokens: no file for them; write http.tokens_file in the configuration")
	}
	next := path + ".new"
	f, err := os.OpenFile(next, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("tokens: another change is under way; if there is none, it was cut short: remove %s", next)
	}
	if err != nil {
		return fmt.Errorf("tokens: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(next))
		}
	}()
	text, err := changedText(path, change)
	if err == nil {
		err = keepOwner(f, path)
	}
	if err != nil {
		return errors.Join(err, f.Close())
	}
	_, err = f.Write(text)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("tokens: write: %w", err)
	}
	if err := os.Rename(next, path); err != nil {
		return fmt.Errorf("tokens: replace: %w", err)
	}
	return nil
}

func changedText(path string, change func([]Token) ([]Token, error)) ([]byte, error) {
	list, err := ListTokens(path)
	if err != nil {
		return nil, err
	}
	list, err = change(list)
	if err != nil {
		return nil, err
	}
	b := []byte("# name role sha256 created; written by flowrigd token\n")
	for _, t := range list {
		b = fmt.Appendf(b, "%s %s %x %s\n", t.Name, t.Role, t.hash, t.Created.UTC().Format(time.RFC3339))
	}
	return b, nil
}

// TokenFile is the tokens file as a running daemon sees it. It is read for each
// request that shows a token: a change counts with the next one, also where it
// leaves size and time of the file as they were.
type TokenFile struct {
	path string
	log  *slog.Logger
	seen atomic.Pointer[tokenSnapshot]
}

// tokenSnapshot is what the file held when it was last parsed.
type tokenSnapshot struct {
	text []byte
	list []Token
}

// OpenTokens watches a tokens file; path "" holds no tokens.
func OpenTokens(path string, log *slog.Logger) *TokenFile {
	f := &TokenFile{path: path, log: log}
	f.seen.Store(&tokenSnapshot{})
	return f
}

// holder finds the token of a hash. Every one is compared, in constant time.
func (f *TokenFile) holder(sum hash) (found Token, ok bool) {
	for _, t := range f.tokens() {
		if subtle.ConstantTimeCompare(sum[:], t.hash[:]) == 1 {
			found, ok = t, true
		}
	}
	return found, ok
}

// Empty says that there is no token.
func (f *TokenFile) Empty() bool { return len(f.tokens()) == 0 }

func (f *TokenFile) tokens() []Token {
	if f.path == "" {
		return nil
	}
	text, err := os.ReadFile(f.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		f.log.Error("tokens: cannot be read, nobody is let in", "error", err)
	}
	if err != nil {
		return nil
	}
	if seen := f.seen.Load(); bytes.Equal(seen.text, text) {
		return seen.list
	}
	if warning := Exposed(f.path); warning != "" {
		f.log.Warn("tokens: " + warning)
	}
	list, err := parseTokens(f.path, text)
	if err != nil {
		f.log.Error("tokens: lines passed over", "error", err)
	}
	f.seen.Store(&tokenSnapshot{text, list})
	return list
}
