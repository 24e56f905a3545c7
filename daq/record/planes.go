package record

import (
	"encoding/binary"
	"errors"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// errPacked says that packed bytes are not what packing makes.
var errPacked = errors.New("the packed bytes do not hold together")

var squeeze = sync.OnceValue(func() *zstd.Encoder {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedBetterCompression),
		zstd.WithEncoderCRC(false), zstd.WithWindowSize(1<<20))
	if err != nil {
		panic(err) // of the options alone
	}
	return e
})

var unsqueeze = sync.OnceValue(func() *zstd.Decoder {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(64<<20))
	if err != nil {
		panic(err) // of the options alone
	}
	return d
})

// packer appends sections, each behind its length.
type packer struct{ out []byte }

func (p *packer) number(n int64) { p.out = binary.AppendVarint(p.out, n) }

func (p *packer) bytes(b []byte) {
	p.number(int64(len(b)))
	if len(b) > 0 {
		packed := squeeze().EncodeAll(b, nil)
		p.number(int64(len(packed)))
		p.out = append(p.out, packed...)
	}
}

// column packs integers by the planes of their bytes, each by itself: what is noise in the
// lowest byte does not hide that the next ones hardly change.
func (p *packer) column(list []int64) {
	planes := 0
	for _, v := range list {
		for planes < 8 && fold(v)>>(8*planes) != 0 {
			planes++
		}
	}
	p.number(int64(len(list)))
	p.number(int64(planes))
	plane := make([]byte, len(list))
	for k := range planes {
		for i, v := range list {
			plane[i] = byte(fold(v) >> (8 * k))
		}
		p.bytes(plane)
	}
}

// differences packs integers by what each differs from the one before.
func (p *packer) differences(list []int64) {
	steps := make([]int64, len(list))
	before := int64(0)
	for i, v := range list {
		steps[i], before = v-before, v
	}
	p.column(steps)
}

// fold makes small numbers of either sign small.
func fold(v int64) uint64 { return uint64(v<<1) ^ uint64(v>>63) }

func unfold(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// unpacker reads what packer wrote. After the first error it gives nothing more.
type unpacker struct {
	in  []byte
	err error
}

func (u *unpacker) fail() {
	u.in = nil
	if u.err == nil {
		u.err = errPacked
	}
}

func (u *unpacker) number() int64 {
	v, n := binary.Varint(u.in)
	if n <= 0 {
		u.fail()
		return 0
	}
	u.in = u.in[n:]
	return v
}

// size is a number that counts what follows, at most the given one.
func (u *unpacker) size(most int) int {
	n := u.number()
	if n < 0 || n > int64(most) {
		u.fail()
		return 0
	}
	return int(n)
}

// unpackedMost bounds a section, so that damaged bytes take no memory.
const unpackedMost = 64 << 20

func (u *unpacker) bytes() []byte {
	n := u.size(unpackedMost)
	if n == 0 {
		return nil
	}
	packed := u.size(unpackedMost)
	if packed > len(u.in) {
		u.fail()
	}
	if u.err != nil {
		return nil
	}
	b, err := unsqueeze().DecodeAll(u.in[:packed], nil)
	if err != nil || len(b) != n {
		u.fail()
		return nil
	}
	u.in = u.in[packed:]
	return b
}

// column gives exactly so many integers, or zeros after an error.
func (u *unpacker) column(want int) []int64 {
	list := make([]int64, want)
	if u.size(want) != want {
		u.fail()
		return list
	}
	folded := make([]uint64, want)
	for k := range u.size(8) {
		for i, b := range u.plane(want) {
			folded[i] |= uint64(b) << (8 * k)
		}
	}
	for i, f := range folded {
		list[i] = unfold(f)
	}
	return list
}

func (u *unpacker) plane(want int) []byte {
	b := u.bytes()
	if len(b) != want {
		u.fail()
		return nil
	}
	return b
}

func (u *unpacker) differences(want int) []int64 {
	list := u.column(want)
	for i := 1; i < len(list); i++ {
		list[i] += list[i-1]
	}
	return list
}
