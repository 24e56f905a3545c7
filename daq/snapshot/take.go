package snapshot

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"reflect"
	"slices"
	"time"
	"unsafe"
)

// Take writes what root points to. The error names what cannot be written, such as a
// pointer into the middle of something else, which would not be shared any more.
func Take(root any, known ...any) ([]byte, error) {
	w := writer{plain: plains{}, earlier: map[object]uint64{}, known: map[object]uint64{}, closed: map[reflect.Type]bool{}}
	for i, k := range known {
		v := reflect.ValueOf(k)
		w.known[object{v.Pointer(), v.Type().Elem()}] = uint64(i)
		w.closed[v.Type().Elem()] = true
	}
	v := reflect.ValueOf(root)
	w.lies(v.Pointer(), v.Type().Elem().Size(), v.Type().String(), true)
	if err := w.value(v.Elem(), v.Elem().Type().String()); err != nil {
		return nil, err
	}
	return w.out, w.overlap()
}

type writer struct {
	out     []byte
	plain   plains
	known   map[object]uint64
	earlier map[object]uint64     // what has been written, by its number
	closed  map[reflect.Type]bool // of these the known ones alone may be met
	extents []extent
}

// extent is where something that was written lies in memory.
type extent struct {
	from, to uintptr
	way      string
	pointer  bool // a pointer leads to it
}

func (w *writer) lies(at, size uintptr, way string, pointer bool) {
	if size > 0 {
		w.extents = append(w.extents, extent{at, at + size, way, pointer})
	}
}

// overlap finds a pointer that leads into something else.
func (w *writer) overlap() error {
	slices.SortFunc(w.extents, func(a, b extent) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(b.to, a.to)) })
	var around extent
	for _, e := range w.extents {
		if e.from < around.to && (e.pointer || around.pointer) {
			return fmt.Errorf("%s lies within %s: a pointer into the middle of something is not kept: keep an index", e.way, around.way)
		}
		if e.to > around.to {
			around = e
		}
	}
	return nil
}

func (w *writer) length(n int) { w.out = binary.AppendUvarint(w.out, uint64(n)) }

func (w *writer) text(b []byte) {
	w.length(len(b))
	w.out = append(w.out, b...)
}

// memory is a value as it lies there.
func memory(v reflect.Value) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(v.UnsafeAddr())), v.Type().Size())
}

// open is a field that may be read and set, be it exported or not.
func open(v reflect.Value, i int) reflect.Value {
	f := v.Field(i)
	return reflect.NewAt(f.Type(), unsafe.Pointer(f.UnsafeAddr())).Elem()
}

func (w *writer) value(v reflect.Value, way string) (err error) {
	t := v.Type()
	switch {
	case w.plain.is(t):
		w.out = append(w.out, memory(v)...)
		return nil
	case w.closed[t]:
		return fmt.Errorf("%s: a %s is not written, and this is not the one known", way, t)
	case t == timeType:
		b, err := v.Interface().(time.Time).MarshalBinary()
		w.text(b)
		return err
	case t == patternType:
		return fmt.Errorf("%s: a pattern is kept by a pointer alone", way)
	}
	switch t.Kind() {
	case reflect.String:
		w.text([]byte(v.String()))
	case reflect.Struct:
		for i := range t.NumField() {
			if lengthAlone(t.Field(i)) {
				w.length(v.Field(i).Len())
				continue
			}
			if err := w.value(open(v, i), way+"."+t.Field(i).Name); err != nil {
				return err
			}
		}
	case reflect.Array:
		return w.elements(v, way)
	case reflect.Slice:
		return w.slice(v, way)
	case reflect.Pointer:
		return w.pointer(v, way)
	case reflect.Map:
		return w.entries(v, way)
	default:
		return fmt.Errorf("%s: a %s cannot be written", way, t.Kind())
	}
	return nil
}

func (w *writer) elements(v reflect.Value, way string) error {
	for i := range v.Len() {
		if err := w.value(v.Index(i), way); err != nil {
			return err
		}
	}
	return nil
}

// slice writes 0 for nil, else its length and one.
func (w *writer) slice(v reflect.Value, way string) error {
	if v.IsNil() {
		w.length(0)
		return nil
	}
	w.length(v.Len() + 1)
	size := uintptr(v.Len()) * v.Type().Elem().Size()
	w.lies(v.Pointer(), size, way, false)
	if w.plain.is(v.Type().Elem()) {
		w.out = append(w.out, unsafe.Slice((*byte)(v.UnsafePointer()), size)...)
		return nil
	}
	return w.elements(v, way)
}

func (w *writer) pointer(v reflect.Value, way string) error {
	o := object{v.Pointer(), v.Type().Elem()}
	number, known := w.known[o]
	earlier, written := w.earlier[o]
	switch {
	case v.IsNil():
		w.length(toNothing)
	case known:
		w.length(toKnown)
		w.length(int(number))
	case written:
		w.length(toEarlier)
		w.length(int(earlier))
	default:
		w.length(toNew)
		w.earlier[o] = uint64(len(w.earlier))
		w.lies(o.at, o.kind.Size(), way, true)
		if o.kind == patternType {
			w.text([]byte(v.Interface().(fmt.Stringer).String()))
			return nil
		}
		return w.value(v.Elem(), way)
	}
	return nil
}

// entries writes a map in the order of its keys as they are written: one map gives
// the same bytes each time.
func (w *writer) entries(v reflect.Value, way string) error {
	if v.IsNil() {
		w.length(0)
		return nil
	}
	w.length(v.Len() + 1)
	before := w.out
	var list [][]byte
	for it := v.MapRange(); it.Next(); {
		w.out = nil
		for _, part := range []reflect.Value{it.Key(), it.Value()} {
			there := reflect.New(part.Type()).Elem() // what lies in a map has no address
			there.Set(part)
			if err := w.value(there, way); err != nil {
				return err
			}
		}
		list = append(list, w.out)
	}
	slices.SortFunc(list, bytes.Compare)
	w.out = append(before, bytes.Join(list, nil)...)
	return nil
}
