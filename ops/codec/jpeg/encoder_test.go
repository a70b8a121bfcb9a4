package jpeg

import (
	"bytes"
	"testing"
)

// The fast encoder equals the plain one, for 8-bit and full 16-bit input.
func TestFastEqualsPlain(t *testing.T) {
	for _, s := range shapes {
		for _, kind := range kinds {
			eight := picture(kind, s.w, s.h, s.c)
			low := picture("noise", s.w, s.h, s.c)
			sixteen := make([]uint16, len(eight))
			for i := range eight {
				sixteen[i] = uint16(eight[i])<<8 | uint16(low[i])
			}
			for _, pix := range [][]uint16{wide(eight), sixteen} {
				for _, q := range []int{1, 37, 90, 100} {
					o := Options{W: s.w, H: s.h, C: s.c, Quality: q, HalfChroma: s.half}
					file, err := encode(o, pix)
					if err != nil {
						t.Fatal(err)
					}
					if !bytes.Equal(entropyOf(file), plainEntropy(o, pix)) {
						t.Fatalf("%v %s quality %d differs from the plain encoder", s, kind, q)
					}
				}
			}
		}
	}
}

func benchmark(b *testing.B, c, quality int, half bool, kind string) {
	const w, h = 2000, 160
	o := Options{W: w, H: h, C: c, Quality: quality, HalfChroma: half}
	e, err := New(o)
	if err != nil {
		b.Fatal(err)
	}
	pix := wide(picture(kind, w, h, c))
	worker := e.Worker()
	var dst []byte
	for b.Loop() {
		dst = dst[:0]
		for i := range e.Rows() {
			dst = worker.Encode(dst, i, rowsOf(o, pix, i*e.RowHeight(), e.RowHeight()))
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(w*h), "ns/px")
	b.ReportMetric(float64(len(dst))*8/(w*h), "bits/px")
}

// BenchmarkEncode reports the time per pixel on one core.
func BenchmarkEncode(b *testing.B) {
	for _, k := range []string{"smooth", "noise"} {
		b.Run(k+"/q100", func(b *testing.B) { benchmark(b, 3, 100, false, k) })
		b.Run(k+"/q90", func(b *testing.B) { benchmark(b, 3, 90, false, k) })
		b.Run(k+"/q90half", func(b *testing.B) { benchmark(b, 3, 90, true, k) })
		b.Run(k+"/q100grey", func(b *testing.B) { benchmark(b, 1, 100, false, k) })
	}
}
