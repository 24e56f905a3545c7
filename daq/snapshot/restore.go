package snapshot

import (
	"encoding/binary"
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"time"
	"unsafe"
)

// errShort says that the bytes are not those of a snapshot of this type.
var errShort = errors.New("it ends too early, or says what it cannot hold: it is not whole, or of another program")

// Restore reads what Take has written into what root points to; known are as for Take,
// in the same order. After an error root is not to be used.
func Restore(data []byte, root any, known ...any) error {
	r := reader{in: data, plain: plains{}}
	for _, k := range known {
		r.known = append(r.known, reflect.ValueOf(k))
	}
	v := reflect.ValueOf(root).Elem()
	if err := r.value(v, v.Type().String()); err != nil {
		return err
	}
	if len(r.in) > 0 {
		return fmt.Errorf("%s: %d bytes are left over: it is of another program", v.Type(), len(r.in))
	}
	return nil
}

type reader struct {
	in      []byte
	plain   plains
	known   []reflect.Value
	earlier []reflect.Value
}

func (r *reader) length() (uint64, error) {
	n, size := binary.Uvarint(r.in)
	if size <= 0 {
		return 0, errShort
	}
	r.in = r.in[size:]
	return n, nil
}

func (r *reader) take(n uint64) ([]byte, error) {
	if n > uint64(len(r.in)) {
		return nil, errShort
	}
	b := r.in[:n]
	r.in = r.in[n:]
	return b, nil
}

func (r *reader) text() ([]byte, error) {
	n, err := r.length()
	if err != nil {
		return nil, err
	}
	return r.take(n)
}

func (r *reader) value(v reflect.Value, way string) (err error) {
	t := v.Type()
	switch {
	case r.plain.is(t):
		b, err := r.take(uint64(t.Size()))
		copy(memory(v), b)
		return named(way, err)
	case t == timeType:
		b, err := r.text()
		if err != nil {
			return named(way, err)
		}
		return named(way, v.Addr().Interface().(*time.Time).UnmarshalBinary(b))
	}
	switch t.Kind() {
	case reflect.String:
		b, err := r.text()
		v.SetString(string(b))
		return named(way, err)
	case reflect.Struct:
		return r.fields(v, way)
	case reflect.Array:
		return r.elements(v, way)
	case reflect.Slice:
		return r.slice(v, way)
	case reflect.Pointer:
		return r.pointer(v, way)
	case reflect.Map:
		return r.entries(v, way)
	}
	return fmt.Errorf("%s: a %s cannot be read", way, t.Kind())
}

func (r *reader) fields(v reflect.Value, way string) (err error) {
	for i := range v.NumField() {
		f := v.Type().Field(i)
		if lengthAlone(f) {
			var n uint64
			if n, err = r.length(); err == nil && n > longest {
				err = errShort
			}
			if err == nil {
				open(v, i).Set(reflect.MakeSlice(f.Type, int(n), int(n)))
			}
			err = named(way, err)
		} else {
			err = r.value(open(v, i), way+"."+f.Name)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// longest is how many numbers a slice has whose length alone was written.
const longest = 1 << 20

func named(way string, err error) error {
	if err != nil {
		return fmt.Errorf("%s: %w", way, err)
	}
	return nil
}

func (r *reader) elements(v reflect.Value, way string) error {
	for i := range v.Len() {
		if err := r.value(v.Index(i), way); err != nil {
			return err
		}
	}
	return nil
}

// count reads a number of things that are behind it, each of a byte at least; false
// for nil.
func (r *reader) count() (int, bool, error) {
	n, err := r.length()
	if err != nil || n == 0 {
		return 0, false, err
	}
	if n-1 > uint64(len(r.in)) {
		return 0, false, errShort
	}
	return int(n - 1), true, nil
}

func (r *reader) slice(v reflect.Value, way string) error {
	n, there, err := r.count()
	if err != nil || !there {
		v.SetZero()
		return named(way, err)
	}
	v.Set(reflect.MakeSlice(v.Type(), n, n))
	if kind := v.Type().Elem(); r.plain.is(kind) {
		size := uint64(n) * uint64(kind.Size())
		b, err := r.take(size)
		copy(unsafe.Slice((*byte)(v.UnsafePointer()), size), b)
		return named(way, err)
	}
	return r.elements(v, way)
}

func (r *reader) pointer(v reflect.Value, way string) error {
	to, err := r.length()
	if err != nil {
		return named(way, err)
	}
	switch to {
	case toNothing:
		v.SetZero()
		return nil
	case toKnown:
		return r.among(r.known, v, way)
	case toEarlier:
		return r.among(r.earlier, v, way)
	case toNew:
		kind := v.Type().Elem()
		if kind == patternType {
			return r.pattern(v, way)
		}
		there := reflect.New(kind)
		r.earlier = append(r.earlier, there)
		v.Set(there)
		return r.value(there.Elem(), way)
	}
	return named(way, errShort)
}

// among sets a pointer to one of those that are there.
func (r *reader) among(list []reflect.Value, v reflect.Value, way string) error {
	n, err := r.length()
	if err == nil && (n >= uint64(len(list)) || list[n].Type() != v.Type()) {
		err = errShort
	}
	if err != nil {
		return named(way, err)
	}
	v.Set(list[n])
	return nil
}

func (r *reader) pattern(v reflect.Value, way string) error {
	b, err := r.text()
	if err != nil {
		return named(way, err)
	}
	p, err := regexp.Compile(string(b))
	r.earlier = append(r.earlier, reflect.ValueOf(p))
	v.Set(reflect.ValueOf(p))
	return named(way, err)
}

func (r *reader) entries(v reflect.Value, way string) error {
	n, there, err := r.count()
	if err != nil || !there {
		v.SetZero()
		return named(way, err)
	}
	t := v.Type()
	v.Set(reflect.MakeMapWithSize(t, n))
	for range n {
		key, value := reflect.New(t.Key()).Elem(), reflect.New(t.Elem()).Elem()
		if err := r.value(key, way); err != nil {
			return err
		}
		if err := r.value(value, way); err != nil {
			return err
		}
		v.SetMapIndex(key, value)
	}
	return nil
}
