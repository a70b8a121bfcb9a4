package ops

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Each fast loop against its plain form, bit for bit: all lengths up to 300 and
// some that are longer, odd starting places, random and extreme values. Without assembly the
// two are the same code and the test is trivially true.

type rowMaker struct{ *rand.Rand }

func (r rowMaker) samples(n int) []uint16 {
	off := r.IntN(5)
	v := make([]uint16, n+off)[off:]
	for i := range v {
		switch r.IntN(5) {
		case 0:
			v[i] = 0
		case 1:
			v[i] = 65535
		default:
			v[i] = uint16(r.IntN(65536))
		}
	}
	return v
}

func (r rowMaker) floats(n int, extreme bool) []float32 {
	off := r.IntN(5)
	v := make([]float32, n+off)[off:]
	odd := []float64{0, 65535, 65535.5, 65534.5, 65535.496, 0.5, 0.49999997, -0.5, 1e20, -1e20, math.Inf(1), math.Inf(-1),
		math.NaN(), math.MaxFloat32, 1e-40, 32767.5, 65536, -65536, 4294967296, 1 << 31, -math.MaxFloat32}
	for i := range v {
		switch r.IntN(4) {
		case 0:
			v[i] = float32(r.IntN(65536)) + 0.5
		case 1:
			if extreme {
				v[i] = float32(odd[r.IntN(len(odd))])
				continue
			}
			fallthrough
		default:
			v[i] = float32(r.Float64()*80000 - 7000)
		}
	}
	return v
}

func (r rowMaker) weights(n int) []float32 {
	w := make([]float32, n)
	for i := range w {
		w[i] = float32(r.Float64()*1.4 - 0.3)
	}
	return w
}

func equalBits[T uint16 | float32](t *testing.T, what string, n int, got, want []T) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d places, want %d", what, len(got), len(want))
	}
	for i := range got {
		a, b := float64(got[i]), float64(want[i])
		if math.Float64bits(a) != math.Float64bits(b) && !(a != a && b != b) {
			t.Fatalf("%s of %d: place %d is %v, want %v", what, n, i, got[i], want[i])
		}
	}
}

func lengths(f func(n int)) {
	for n := range 301 {
		f(n)
	}
	for _, n := range []int{1023, 1024, 3072, 3079} {
		f(n)
	}
}

func TestFastRowsEqualPlain(t *testing.T) {
	r := rowMaker{rand.New(rand.NewPCG(11, 12))}
	lengths(func(n int) {
		src, top := r.samples(n), r.samples(n)
		f, g := make([]float32, n), make([]float32, n)
		floatRow(f, src)
		plainFloatRow(g, src)
		equalBits(t, "floatRow", n, f, g)

		u, v := make([]uint16, n), make([]uint16, n)
		x := r.floats(n, true)
		roundRow(u, x)
		plainRoundRow(v, x)
		equalBits(t, "roundRow", n, u, v)
		mixRow(u, src, top, x)
		plainMixRow(v, src, top, x)
		equalBits(t, "mixRow", n, u, v)
		share := r.weights(n)
		mixRow(u, src, top, share)
		plainMixRow(v, src, top, share)
		equalBits(t, "mixRow", n, u, v)

		copy(f, x)
		for i := range f {
			if i%3 > 0 {
				f[i] = []float32{nearlyAll, math.Nextafter32(nearlyAll, 0)}[i%3-1]
			}
		}
		copy(g, f)
		holdRow(f)
		plainHoldRow(g)
		equalBits(t, "holdRow", n, f, g)
		mulRow(f, x, share)
		plainMulRow(g, x, share)
		equalBits(t, "mulRow", n, f, g)
		addMulRow(f, x, share)
		plainAddMulRow(g, x, share)
		equalBits(t, "addMulRow", n, f, g)

		part := make([]float32, n)
		for i := range part {
			part[i] = max(r.Float32()*9000, math.SmallestNonzeroFloat32)
		}
		whole := r.floats(n, false)
		shareRow(f, part, whole)
		plainShareRow(g, part, whole)
		equalBits(t, "shareRow", n, f, g)

		y := r.floats(n, false)
		blur := r.floats(n, false)
		if n > 3 {
			copy(blur[:2], y)
		}
		lowRow(f, y, blur)
		plainLowRow(g, y, blur)
		equalBits(t, "lowRow", n, f, g)
		highRow(f, y, blur)
		plainHighRow(g, y, blur)
		equalBits(t, "highRow", n, f, g)
		for _, extreme := range []bool{false, true} {
			around := [5][]float32{r.floats(n, extreme), r.floats(n, extreme), r.floats(n, extreme), r.floats(n, extreme), r.floats(n, extreme)}
			dampRow(f, y, around, 1e12)
			plainDampRow(g, y, &around, 1e12)
			equalBits(t, "dampRow", n, f, g)
		}

		rgb := r.samples(3 * n)
		mostRow(f, rgb)
		plainMostRow(g, rgb)
		equalBits(t, "mostRow", n, f, g)
		most, luma := slices.Clone(f), make([]float32, n)
		for i := range luma {
			luma[i] = most[i] * share[i]
		}
		for _, l := range [][2]float32{{1.9, 3276.75}, {10, 32767.5}, {0, 0}, {2, 1}} {
			for i := range f {
				f[i] = blur[i] - y[i]
				if i%5 == 0 {
					f[i] = 0
				}
				g[i] = f[i]
			}
			kneeRow(f, luma, most, l[0], l[1])
			plainKneeRow(g, luma, most, l[0], l[1])
			for i := range g { // whether a nothing is +0 or -0 is left open
				f[i], g[i] = f[i]+0, g[i]+0
			}
			equalBits(t, "kneeRow", n, f, g)
		}
		scaleRow(u, src, share)
		plainScaleRow(v, src, share)
		equalBits(t, "scaleRow", n, u, v)

		w := [3]float32{0.2126, 0.7152, 0.0722}
		lumaRow(f, rgb, &w)
		plainLumaRow(g, rgb, &w)
		equalBits(t, "lumaRow", n, f, g)
		ff, gg := make([]float32, 3*n), make([]float32, 3*n)
		tripleRow(ff, x)
		plainTripleRow(gg, x)
		equalBits(t, "tripleRow", n, ff, gg)
	})
}

func TestFastSumsEqualPlain(t *testing.T) {
	r := rowMaker{rand.New(rand.NewPCG(13, 14))}
	lengths(func(n int) {
		f, g := make([]float32, n), make([]float32, n)
		from := r.IntN(9)
		for taps := 1; taps <= 17; taps++ {
			var rows [][]float32
			for range taps {
				rows = append(rows, r.floats(from+n+r.IntN(3), taps%4 == 0))
			}
			w := r.weights(taps)
			sumRows(f, rows, from, w)
			plainSumRows(g, rows, from, w)
			equalBits(t, "sumRows", n, f, g)
			// The mirrored rows with mirrored weights give the same bits.
			for a, b := 0, taps-1; a < b; a, b = a+1, b-1 {
				rows[a], rows[b], w[a], w[b] = rows[b], rows[a], w[b], w[a]
			}
			sumRows(g, rows, from, w)
			equalBits(t, "sumRows mirrored", n, f, g)
			if taps%2 == 1 && taps > 1 {
				w := r.weights(taps/2 + 1)
				symRows(f, rows, from, w)
				plainSymRows(g, rows, from, w)
				equalBits(t, "symRows", n, f, g)
			}
		}
	})
}

func TestFastAcrossEqualsPlain(t *testing.T) {
	r := rowMaker{rand.New(rand.NewPCG(15, 16))}
	for _, k := range kernels {
		for _, size := range [][2]int{{1, 1}, {1, 9}, {2, 7}, {6, 18}, {50, 150}, {50, 71}, {33, 100}, {90, 31}, {400, 7}, {64, 64}} {
			x := k.axis(size[0], size[1])
			src := r.floats(3*size[0]+pad, true)
			dst, want := make([]float32, 3*size[1]+pad), make([]float32, 3*size[1]+pad)
			across(dst, src, x, 3)
			plainAcross3(want, src, x)
			equalBits(t, "across", size[1], dst[:3*size[1]], want[:3*size[1]])
		}
	}
}

func TestAloneRowFindsTheFirst(t *testing.T) {
	r := rowMaker{rand.New(rand.NewPCG(15, 16))}
	lengths(func(n int) {
		row := make([]uint16, n+6)
		for i := range row {
			row[i] = uint16(30000 + r.IntN(1000))
		}
		for range r.IntN(3) {
			copy(row[r.IntN(n+6):], r.samples(1))
		}
		for _, over := range []int32{0, 900, 5000, 65534, 65535} {
			want := 0
			for want < n && !(min(int32(row[want+3])-int32(row[want]), int32(row[want+3])-int32(row[want+6])) > over ||
				min(int32(row[want])-int32(row[want+3]), int32(row[want+6])-int32(row[want+3])) > over) {
				want++
			}
			if got := aloneRow(row[3:n+3], row, row[6:], over); got != want {
				t.Fatalf("row of %d, over %d: %d, want %d", n, over, got, want)
			}
		}
	})
}

func TestUnevenRowsAreCaught(t *testing.T) {
	// A row that is too short must stop in Go, not run on in assembly.
	for name, f := range map[string]func(){
		"sumRows": func() {
			sumRows(make([]float32, 32), [][]float32{make([]float32, 40), make([]float32, 39)}, 8, []float32{1, 1})
		},
		"symRows": func() {
			symRows(make([]float32, 32), [][]float32{make([]float32, 32), make([]float32, 31), make([]float32, 32)}, 0, []float32{1, 1})
		},
		"mixRow":   func() { mixRow(make([]uint16, 32), make([]uint16, 31), make([]uint16, 32), make([]float32, 32)) },
		"scaleRow": func() { scaleRow(make([]uint16, 32), make([]uint16, 32), make([]float32, 31)) },
		"dampRow": func() {
			f := make([]float32, 32)
			dampRow(f, f, [5][]float32{f, f, f, f, f[:31:31]}, 1)
		},
		"kneeRow":   func() { kneeRow(make([]float32, 32), make([]float32, 32), make([]float32, 31), 1, 1) },
		"aloneRow":  func() { aloneRow(make([]uint16, 32), make([]uint16, 32), make([]uint16, 31), 0) },
		"mostRow":   func() { mostRow(make([]float32, 32), make([]uint16, 95)) },
		"mulRow":    func() { mulRow(make([]float32, 32), make([]float32, 32), make([]float32, 31)) },
		"floatRow":  func() { floatRow(make([]float32, 31), make([]uint16, 32)) },
		"tripleRow": func() { tripleRow(make([]float32, 95), make([]float32, 32)) },
		"roundRow":  func() { roundRow(make([]uint16, 31), make([]float32, 32)) },
		"lumaRow":   func() { lumaRow(make([]float32, 32), make([]uint16, 95), &[3]float32{}) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s went through", name)
				}
			}()
			f()
		}()
	}
}

func BenchmarkRows(b *testing.B) {
	r := rowMaker{rand.New(rand.NewPCG(17, 18))}
	const n = 3072
	var rows [][]float32
	for range 15 {
		rows = append(rows, r.floats(n, false))
	}
	dst, u, v, w := make([]float32, 3*n), r.samples(3*n), r.samples(n), r.samples(n)
	share, e := make([]float32, n), make([]float32, n)
	for i := range share {
		share[i], e[i] = r.Float32()/3, r.Float32()*400-200
		rows[0][i] = max(0, min(65535, rows[0][i])) // as in pictures, little is clipped
	}
	for _, c := range []struct {
		name string
		f    func()
	}{
		{"sum 4", func() { sumRows(dst[:n], rows, 0, rows[0][:4]) }},
		{"sum 6", func() { sumRows(dst[:n], rows, 0, rows[0][:6]) }},
		{"sym 15", func() { symRows(dst[:n], rows, 0, rows[0][:8]) }},
		{"float", func() { floatRow(dst, v) }},
		{"round", func() { roundRow(v, rows[0]) }},
		{"luma", func() { lumaRow(dst[:n], u, &[3]float32{0.2, 0.7, 0.1}) }},
		{"triple", func() { tripleRow(dst, rows[0]) }},
		{"mix", func() { mixRow(v, w, u[:n], share) }},
		{"damp", func() { dampRow(dst[:n], rows[1], [5][]float32(rows[2:7]), 1e6) }},
		{"most", func() { mostRow(dst[:n], u) }},
		{"knee", func() { copy(dst, e); kneeRow(dst[:n], rows[1], rows[2], 1.9, 3277) }},
		{"scale", func() { scaleRow(v, u[:n], share) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(n)
			for b.Loop() {
				c.f()
			}
		})
	}
	b.Run("across3 x3", func(b *testing.B) {
		k := kernelNamed("lanczos3")
		x := k.axis(n/9, n/3)
		out, src := make([]float32, n+pad), make([]float32, n/3+pad)
		b.SetBytes(n)
		for b.Loop() {
			across(out, src, x, 3)
		}
	})
}
