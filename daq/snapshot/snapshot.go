// Package snapshot owns how everything that a value holds, its unexported fields too, is
// written as bytes and read back, for a checkpoint that the very same program reads on
// the same kind of machine. It is the only room that reaches behind a type's back
// (package unsafe): so a field that is added to the engine is in the next checkpoint
// by itself, and none can be forgotten.
//
//	Check(type) → what cannot be written, by name
//	Take(&value, known…) → bytes → Restore(bytes, &value, known…)
//
// Numbers go as they lie in memory. A pointer that several fields share is shared
// after Restore too; a nil slice stays nil. Known are pointers that are not written but
// put in place again by whoever restores, such as that to the configuration.
package snapshot

import (
	"fmt"
	"reflect"
	"regexp"
	"time"
)

var (
	timeType    = reflect.TypeFor[time.Time]()
	patternType = reflect.TypeFor[regexp.Regexp]()
)

// Check says what a type holds that Take cannot write, by the way of fields to it; nil
// for nothing. What stands behind the types of known pointers does not count.
func Check(t reflect.Type, known ...reflect.Type) error {
	seen := map[reflect.Type]bool{}
	for _, k := range known {
		seen[k] = true
	}
	return check(t, t.String(), seen)
}

func check(t reflect.Type, way string, seen map[reflect.Type]bool) error {
	if seen[t] || t == timeType || t == patternType {
		return nil
	}
	seen[t] = true
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			if err := check(t.Field(i).Type, way+"."+t.Field(i).Name, seen); err != nil {
				return err
			}
		}
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return check(t.Elem(), way, seen)
	case reflect.Map:
		if k := t.Key(); k.Kind() != reflect.String && !isPlain(k) {
			return fmt.Errorf("%s: a map with keys of %s cannot be written: use text or a number", way, k)
		}
		return check(t.Elem(), way, seen)
	case reflect.String:
	default:
		if !isPlain(t) {
			return fmt.Errorf("%s: a %s cannot be written: keep what it is made of, or make it anew in each step", way, t.Kind())
		}
	}
	return nil
}

// isPlain says whether a type is numbers alone, without a gap between them: these go as
// they lie in memory.
func isPlain(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Array:
		return isPlain(t.Elem())
	case reflect.Struct:
		size := uintptr(0)
		for i := range t.NumField() {
			if !isPlain(t.Field(i).Type) {
				return false
			}
			size += t.Field(i).Type.Size()
		}
		return size == t.Size()
	}
	return t.Kind() >= reflect.Bool && t.Kind() <= reflect.Complex128 && t.Kind() != reflect.Uintptr
}

// plains remembers what isPlain said.
type plains map[reflect.Type]bool

func (p plains) is(t reflect.Type) bool {
	yes, known := p[t]
	if !known {
		yes = isPlain(t)
		p[t] = yes
	}
	return yes
}

// lengthAlone says whether only the length of a slice goes.
func lengthAlone(f reflect.StructField) bool { return f.Tag.Get("snapshot") == "length" }

// object is what a pointer leads to. A struct and its first field lie at one place, and
// differ in their type.
type object struct {
	at   uintptr
	kind reflect.Type
}

// What stands where a pointer is written: nothing, one of the known, one that has been
// written already, or a new one, whose value follows.
const (
	toNothing = iota
	toKnown
	toEarlier
	toNew
)
