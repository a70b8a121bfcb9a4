package jpeg

import "testing"

// printPicture is like an enlarged photograph: a third of the size of slopes,
// grain common to all channels and a little of each one's own, enlarged by 3
// with straight lines between, in 16 bits.
func printPicture(w, h int) []uint16 {
	sw, sh := w/3+2, h/3+2
	common, own := picture("noise", sw, sh, 1), picture("noise", sw, sh, 3)
	small := func(x, y, c int) int {
		i := y*sw + x
		return 8000 + x*40 + y*60*c + int(common[i])*6 + int(own[3*i+c])*2
	}
	out := make([]uint16, 0, w*h*3)
	for y := range h {
		for x := range w {
			for c := range 3 {
				u, v := x%3, y%3
				up := small(x/3, y/3, c)*(3-u) + small(x/3+1, y/3, c)*u
				low := small(x/3, y/3+1, c)*(3-u) + small(x/3+1, y/3+1, c)*u
				out = append(out, uint16((up*(3-v)+low*v)/9))
			}
		}
	}
	return out
}

// BenchmarkEncode reports the time per pixel on one core, for something like a
// print and for noise.
func BenchmarkEncode(b *testing.B) {
	const w, h = 2000, 160
	rgb, noise := printPicture(w, h), wide(picture("noise", w, h, 3))
	for _, k := range []struct {
		name string
		o    Options
		pix  []uint16
	}{
		{"print/q100", Options{C: 3, Quality: 100}, rgb},
		{"print/q90", Options{C: 3, Quality: 90}, rgb},
		{"print/q90half", Options{C: 3, Quality: 90, HalfChroma: true}, rgb},
		{"noise/q100", Options{C: 3, Quality: 100}, noise},
		{"noise/q100grey", Options{C: 1, Quality: 100}, noise},
	} {
		b.Run(k.name, func(b *testing.B) {
			k.o.W, k.o.H = w, h
			e, err := New(k.o)
			if err != nil {
				b.Fatal(err)
			}
			worker := e.Worker()
			var rows [][][]uint16
			for i := range e.Rows() {
				rows = append(rows, rowsOf(k.o, k.pix, i*e.RowHeight(), e.RowHeight()))
			}
			dst := make([]byte, 0, 8*len(k.pix))
			b.ReportAllocs()
			for b.Loop() {
				dst = dst[:0]
				for i, r := range rows {
					dst = worker.Encode(dst, i, r)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(w*h), "ns/px")
			b.ReportMetric(float64(len(dst))*8/(w*h), "bits/px")
		})
	}
}
