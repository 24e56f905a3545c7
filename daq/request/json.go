// Package request owns how what is asked from outside is read, over HTTP and over MQTT
// alike: one JSON object, strictly, and the bounds of what may stand in it.
//
// It is pure, and obeys nothing: that is the engine's.
package request

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Decode reads one JSON object into v, and takes nothing that could be meant in two ways: RFC 8259 leaves
// open which of two keys of one name counts, and the decoder takes a key in
// other letters than its own, and null for what was left out.
func Decode(text []byte, v any) error {
	if !utf8.Valid(text) {
		return errors.New("not UTF-8")
	}
	walk := json.NewDecoder(bytes.NewReader(text))
	if err := checkValue(walk, ""); err != nil {
		return inPlainWords(err)
	}
	if _, err := walk.Token(); !errors.Is(err, io.EOF) {
		return errors.New("more follows after the object")
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	err := inPlainWords(d.Decode(v))
	if err != nil && strings.HasPrefix(err.Error(), "unknown key") {
		return fmt.Errorf("%w; %s", err, known(reflect.TypeOf(v).Elem()))
	}
	return err
}

// known says which keys an object takes.
func known(object reflect.Type) string {
	var keys []string
	for _, f := range reflect.VisibleFields(object) {
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" && name != "-" {
			keys = append(keys, name)
		}
	}
	if keys == nil {
		return "it takes none"
	}
	return "it takes " + strings.Join(keys, ", ")
}

// deepest is how many objects and lists may stand in one another.
const deepest = 16

// checkValue reads one value; at is its place, "" for the whole.
func checkValue(d *json.Decoder, at string) error {
	t, err := d.Token()
	switch {
	case err != nil:
		return err
	case at == "" && t != json.Delim('{'):
		return errors.New("not an object")
	case strings.Count(at, ".")+strings.Count(at, "[") > deepest:
		return fmt.Errorf("%s: too many objects and lists in one another", at)
	case t == json.Delim('{'):
		err = checkObject(d, at)
	case t == json.Delim('['):
		for i := 0; err == nil && d.More(); i++ {
			err = checkValue(d, fmt.Sprintf("%s[%d]", at, i))
		}
	case t == nil:
		return fmt.Errorf("%s: null; leave it out", at)
	default:
		return checkText(at, t)
	}
	if err == nil {
		_, err = d.Token() // its end
	}
	return err
}

func checkObject(d *json.Decoder, at string) error {
	seen := map[string]bool{}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return err
		}
		key, _ := t.(string)
		place := strings.TrimPrefix(at+"."+key, ".")
		switch {
		case seen[key]:
			return fmt.Errorf("%q stands there twice", place)
		case strings.Trim(key, "abcdefghijklmnopqrstuvwxyz0123456789_-") != "":
			return fmt.Errorf("unknown key %q; keys are in small letters, digits and _", place)
		}
		seen[key] = true
		if err := checkValue(d, place); err != nil {
			return err
		}
	}
	return nil
}

// checkText refuses characters that move a terminal's cursor or colour what is
// read later; a text may have lines.
func checkText(at string, t json.Token) error {
	text, _ := t.(string)
	for _, c := range text {
		if unicode.IsControl(c) && !strings.ContainsRune("\n\r\t", c) || c == utf8.RuneError {
			return fmt.Errorf("%s: the character %U cannot be kept; leave it out", at, c)
		}
	}
	return nil
}

// inPlainWords says what the decoder means.
func inPlainWords(err error) error {
	var kind *json.UnmarshalTypeError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &kind):
		return fmt.Errorf("%s: %s in place of %s", cmp.Or(kind.Field, "all of it"), kind.Value, kind.Type.Kind())
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return errors.New("it ends too early")
	}
	return errors.New(strings.TrimPrefix(strings.Replace(err.Error(), "unknown field", "unknown key", 1), "json: "))
}
