package tiff

import (
	"bytes"
	"context"
	"math"
	"testing"

	"platemark/ops/codec/tiff/tifftest"
)

// benchDecode decodes a 3000 x 1000 picture that looks like a photograph to
// LZW: smooth, with noise in the low bits. Bytes are those of the decoded samples.
func benchDecode(b *testing.B, p tifftest.Picture, be bool, workers int) {
	p.W, p.H = 3000, 1000
	p.At = func(x, y, c int) uint16 {
		n := uint32(x*3+c)*2654435761 + uint32(y)*40503
		n ^= n >> 15
		v := uint16(x*11+y*5+c*3000) + uint16(n*2246822519>>26)
		if p.Bits == 8 {
			v >>= 8
		}
		return v
	}
	if p.Bits == 32 {
		at := p.At
		p.Raw = func(x, y, c int) uint64 {
			if p.Float {
				return uint64(math.Float32bits(float32(at(x, y, c)) / 65535))
			}
			return uint64(at(x, y, c)) * 65537
		}
	}
	file := tifftest.File{BigEndian: be, Pictures: []tifftest.Picture{p}}.Bytes()
	f, err := Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(p.W * p.H * f.info.Channels * 2))
	b.ReportAllocs()
	for b.Loop() {
		if err := f.Decode(context.Background(), workers, func(int, []uint16) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	for _, c := range []struct {
		name string
		p    tifftest.Picture
		be   bool
	}{
		{"16 bit strips", tifftest.Picture{C: 3, Bits: 16, RowsPerStrip: 16}, false},
		{"16 bit strips MM", tifftest.Picture{C: 3, Bits: 16, RowsPerStrip: 16}, true},
		{"16 bit tiles", tifftest.Picture{C: 3, Bits: 16, TileW: 256, TileH: 256}, false},
		{"8 bit strips", tifftest.Picture{C: 3, Bits: 8, RowsPerStrip: 16}, false},
		{"16 bit LZW predictor", tifftest.Picture{C: 3, Bits: 16, RowsPerStrip: 16, LZW: true, Predictor: 2}, false},
		{"16 bit LZW predictor one strip", tifftest.Picture{C: 3, Bits: 16, LZW: true, Predictor: 2}, false},
		{"16 bit Deflate predictor", tifftest.Picture{C: 3, Bits: 16, RowsPerStrip: 16, Packing: 8, Predictor: 2}, false},
		{"16 bit PackBits", tifftest.Picture{C: 3, Bits: 16, RowsPerStrip: 16, Packing: 32773}, false},
		{"16 bit planes", tifftest.Picture{C: 3, Bits: 16, RowsPerStrip: 16, Planar: true}, false},
		{"16 bit alpha", tifftest.Picture{C: 4, Bits: 16, RowsPerStrip: 16, Set: []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{2}}}}, false},
		{"32 bit", tifftest.Picture{C: 3, Bits: 32, RowsPerStrip: 16}, false},
		{"32 bit float", tifftest.Picture{C: 3, Bits: 32, Float: true, RowsPerStrip: 16}, false},
		{"32 bit float Deflate predictor", tifftest.Picture{C: 3, Bits: 32, Float: true, RowsPerStrip: 16, Packing: 8, Predictor: 3}, false},
		{"8 bit LZW predictor", tifftest.Picture{C: 3, Bits: 8, RowsPerStrip: 16, LZW: true, Predictor: 2}, false},
	} {
		b.Run(c.name, func(b *testing.B) { benchDecode(b, c.p, c.be, 1) })
	}
}

func BenchmarkAppendRow(b *testing.B) {
	for _, bits := range []int{8, 16} {
		b.Run(map[int]string{8: "8 bit", 16: "16 bit"}[bits], func(b *testing.B) {
			o := Options{W: 18000, H: 1, C: 3, Bits: bits}
			l, err := NewLayout(o)
			if err != nil {
				b.Fatal(err)
			}
			row := samplesFor(o)
			var dst []byte
			b.SetBytes(int64(2 * len(row)))
			for b.Loop() {
				dst = l.AppendRow(dst[:0], row, 0)
			}
		})
	}
}
