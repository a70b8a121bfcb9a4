package ops

import (
	"math"

	"platemark/ops/exact"
)

// The inner loops. Each has one meaning, stated here in plain Go; on amd64
// with AVX2 the bulk of a row goes through assembly that makes the same
// roundings in the same order, and the rest through the plain form. Products
// are rounded before they meet a sum; sums go from the outside in, so that a
// mirrored row gives the mirrored result bit for bit.

// floatRow converts samples to float32.
func floatRow(dst []float32, src []uint16) {
	n := fastFloatRow(dst, src)
	plainFloatRow(dst[n:], src[n:])
}

func plainFloatRow(dst []float32, src []uint16) {
	dst = dst[:len(src)]
	for i, v := range src {
		dst[i] = float32(v)
	}
}

// roundRow converts to samples by exact.RoundU16.
func roundRow(dst []uint16, src []float32) {
	n := fastRoundRow(dst, src)
	plainRoundRow(dst[n:], src[n:])
}

func plainRoundRow(dst []uint16, src []float32) {
	dst = dst[:len(src)]
	for i, v := range src {
		dst[i] = exact.Round32(v)
	}
}

// sumRows sets dst[i] to the weighted sum of rows[t][from+i], paired from the
// outside in: (w0 r0 + wn rn) + (w1 r1 + wn-1 rn-1) + ..., the middle of an
// odd number last.
func sumRows(dst []float32, rows [][]float32, from int, w []float32) {
	n := fastSumRows(dst, rows, from, w)
	plainSumRows(dst[n:], rows, from+n, w)
}

func plainSumRows(dst []float32, rows [][]float32, from int, w []float32) {
	n := len(w)
	if len(dst) == 0 {
		return
	}
	row := func(t int) []float32 { return rows[t][from : from+len(dst)] }
	switch n {
	case 1:
		w0, a := w[0], row(0)
		for i := range dst {
			dst[i] = w0 * a[i]
		}
	case 2:
		w0, w1, a, b := w[0], w[1], row(0), row(1)
		for i := range dst {
			dst[i] = float32(w0*a[i]) + float32(w1*b[i])
		}
	case 4:
		w0, w1, w2, w3 := w[0], w[1], w[2], w[3]
		a, b, c, d := row(0), row(1), row(2), row(3)
		for i := range dst {
			s := float32(w0*a[i]) + float32(w3*d[i])
			dst[i] = s + (float32(w1*b[i]) + float32(w2*c[i]))
		}
	case 6:
		w0, w1, w2, w3, w4, w5 := w[0], w[1], w[2], w[3], w[4], w[5]
		a, b, c, d, e, f := row(0), row(1), row(2), row(3), row(4), row(5)
		for i := range dst {
			s := float32(w0*a[i]) + float32(w5*f[i])
			s += float32(w1*b[i]) + float32(w4*e[i])
			dst[i] = s + (float32(w2*c[i]) + float32(w3*d[i]))
		}
	default:
		wa, wb, a, b := w[0], w[n-1], row(0), row(n-1)
		for i := range dst {
			dst[i] = float32(wa*a[i]) + float32(wb*b[i])
		}
		for t := 1; t < n/2; t++ {
			mixPair(dst, row(t), row(n-1-t), w[t], w[n-1-t])
		}
		if n%2 == 1 {
			wm, m := w[n/2], row(n/2)
			for i := range dst {
				dst[i] += float32(wm * m[i])
			}
		}
	}
}

// mixPair adds wa*a + wb*b to out.
func mixPair(out, a, b []float32, wa, wb float32) {
	a, b = a[:len(out)], b[:len(out)]
	for i := range out {
		out[i] += float32(wa*a[i]) + float32(wb*b[i])
	}
}

// symRows is sumRows for 2r+1 rows whose weights mirror: w[0] for the two
// outermost, w[r] for the middle one. Two rows are added before they are
// weighted.
func symRows(dst []float32, rows [][]float32, from int, w []float32) {
	n := fastSymRows(dst, rows, from, w)
	plainSymRows(dst[n:], rows, from+n, w)
}

func plainSymRows(dst []float32, rows [][]float32, from int, w []float32) {
	r := len(w) - 1
	if len(dst) == 0 {
		return
	}
	row := func(t int) []float32 { return rows[t][from : from+len(dst)] }
	w0, a, b := w[0], row(0), row(2*r)
	for i := range dst {
		dst[i] = w0 * (a[i] + b[i])
	}
	t := 1
	for ; t+1 < r; t += 2 {
		w0, w1 := w[t], w[t+1]
		a, b, c, d := row(t), row(2*r-t), row(t+1), row(2*r-t-1)
		for i := range dst {
			s := dst[i] + float32(w0*(a[i]+b[i]))
			dst[i] = s + float32(w1*(c[i]+d[i]))
		}
	}
	for ; t < r; t++ {
		w0, a, b := w[t], row(t), row(2*r-t)
		for i := range dst {
			dst[i] += float32(w0 * (a[i] + b[i]))
		}
	}
	wm, m := w[r], row(r)
	for i := range dst {
		dst[i] += float32(wm * m[i])
	}
}

// pad is how many floats the assembly of across may touch behind a row; its
// rows are made that much longer.
const pad = 4

// across resamples one row of 1 or 3 channels along x; the sums go as in
// sumRows. dst and src have pad more floats than their pixels need.
func across(dst, src []float32, x *axis, channels int) {
	if channels == 1 {
		plainAcross1(dst, src, x)
		return
	}
	if !fastAcross3(dst, src, x) {
		plainAcross3(dst, src, x)
	}
}

func plainAcross1(dst, src []float32, x *axis) {
	dst = dst[:len(x.start)]
	for i := range dst {
		t := x.taps(i)
		v := src[x.start[i]:][:len(t)]
		switch n := len(t); n {
		case 1:
			dst[i] = t[0] * v[0]
		case 2:
			w, v := (*[2]float32)(t), (*[2]float32)(v)
			dst[i] = float32(w[0]*v[0]) + float32(w[1]*v[1])
		case 4:
			w, v := (*[4]float32)(t), (*[4]float32)(v)
			s := float32(w[0]*v[0]) + float32(w[3]*v[3])
			dst[i] = s + (float32(w[1]*v[1]) + float32(w[2]*v[2]))
		case 6:
			w, v := (*[6]float32)(t), (*[6]float32)(v)
			s := float32(w[0]*v[0]) + float32(w[5]*v[5])
			s += float32(w[1]*v[1]) + float32(w[4]*v[4])
			dst[i] = s + (float32(w[2]*v[2]) + float32(w[3]*v[3]))
		default:
			s := float32(t[0]*v[0]) + float32(t[n-1]*v[n-1])
			for a, b := 1, n-2; a < b; a, b = a+1, b-1 {
				s += float32(t[a]*v[a]) + float32(t[b]*v[b])
			}
			if n%2 == 1 {
				s += float32(t[n/2] * v[n/2])
			}
			dst[i] = s
		}
	}
}

func plainAcross3(dst, src []float32, x *axis) {
	for i := range x.start {
		t := x.taps(i)
		v := src[3*x.start[i]:][:3*len(t)]
		d := (*[3]float32)(dst[3*i:])
		switch n := len(t); n {
		case 1:
			d[0], d[1], d[2] = t[0]*v[0], t[0]*v[1], t[0]*v[2]
		case 4:
			v := (*[12]float32)(v)
			w0, w1, w2, w3 := t[0], t[1], t[2], t[3]
			d[0] = float32(w0*v[0]) + float32(w3*v[9]) + (float32(w1*v[3]) + float32(w2*v[6]))
			d[1] = float32(w0*v[1]) + float32(w3*v[10]) + (float32(w1*v[4]) + float32(w2*v[7]))
			d[2] = float32(w0*v[2]) + float32(w3*v[11]) + (float32(w1*v[5]) + float32(w2*v[8]))
		case 6:
			v := (*[18]float32)(v)
			w0, w1, w4, w5 := t[0], t[1], t[4], t[5]
			r := float32(w0*v[0]) + float32(w5*v[15]) + (float32(w1*v[3]) + float32(w4*v[12]))
			g := float32(w0*v[1]) + float32(w5*v[16]) + (float32(w1*v[4]) + float32(w4*v[13]))
			b := float32(w0*v[2]) + float32(w5*v[17]) + (float32(w1*v[5]) + float32(w4*v[14]))
			w2, w3 := t[2], t[3]
			d[0] = r + (float32(w2*v[6]) + float32(w3*v[9]))
			d[1] = g + (float32(w2*v[7]) + float32(w3*v[10]))
			d[2] = b + (float32(w2*v[8]) + float32(w3*v[11]))
		default:
			for c := range 3 {
				s := float32(t[0]*v[c]) + float32(t[n-1]*v[3*n-3+c])
				for a, b := 1, n-2; a < b; a, b = a+1, b-1 {
					s += float32(t[a]*v[3*a+c]) + float32(t[b]*v[3*b+c])
				}
				if n%2 == 1 {
					s += float32(t[n/2] * v[3*(n/2)+c])
				}
				d[c] = s
			}
		}
	}
}

// lumaRow weights interleaved RGB samples: (r R + g G) + b B.
func lumaRow(dst []float32, src []uint16, w *[3]float32) {
	n := fastLumaRow(dst, src, w)
	plainLumaRow(dst[n:], src[3*n:], w)
}

func plainLumaRow(dst []float32, src []uint16, w *[3]float32) {
	r, g, b := w[0], w[1], w[2]
	src = src[:3*len(dst)]
	for i := range dst {
		s := src[3*i : 3*i+3 : 3*i+3]
		dst[i] = float32(r*float32(s[0])) + float32(g*float32(s[1])) + float32(b*float32(s[2]))
	}
}

// tripleRow writes each value three times.
func tripleRow(dst, src []float32) {
	n := fastTripleRow(dst, src)
	plainTripleRow(dst[3*n:], src[n:])
}

func plainTripleRow(dst, src []float32) {
	dst = dst[:3*len(src)]
	for i, v := range src {
		d := dst[3*i : 3*i+3 : 3*i+3]
		d[0], d[1], d[2] = v, v, v
	}
}

// mixRow sets dst to over + p (top - over), rounded.
func mixRow(dst, over, top []uint16, p []float32) {
	n := fastMixRow(dst, over, top, p)
	plainMixRow(dst[n:], over[n:], top[n:], p[n:])
}

func plainMixRow(dst, over, top []uint16, p []float32) {
	over, top, p = over[:len(dst)], top[:len(dst)], p[:len(dst)]
	for i := range dst {
		o := float32(over[i])
		dst[i] = exact.Round32(o + float32(p[i]*(float32(top[i])-o)))
	}
}

// mostRow sets dst to the largest channel of each RGB pixel.
func mostRow(dst []float32, src []uint16) {
	n := fastMostRow(dst, src)
	plainMostRow(dst[n:], src[3*n:])
}

func plainMostRow(dst []float32, src []uint16) {
	src = src[:3*len(dst)]
	for i := range dst {
		dst[i] = float32(max(src[3*i], src[3*i+1], src[3*i+2]))
	}
}

// dampRow sets e to the difference of y and its blur, damped where it and the
// differences across and down of the blur are below the noise. around is the blur,
// then what lies left, right, above and below of it.
func dampRow(e, y []float32, around [5][]float32, noise4 float32) {
	n := fastDampRow(e, y, &around, noise4)
	for i := range around {
		around[i] = around[i][n:]
	}
	plainDampRow(e[n:], y[n:], &around, noise4)
}

func plainDampRow(e, y []float32, around *[5][]float32, noise4 float32) {
	n := len(e)
	y = y[:n]
	blur, left, right, up, down := around[0][:n], around[1][:n], around[2][:n], around[3][:n], around[4][:n]
	for i := range e {
		d := y[i] - blur[i]
		gx, gy := right[i]-left[i], down[i]-up[i]
		s := float32(d*d) + float32((float32(gx*gx)+float32(gy*gy))*0.5)
		s = float32(s * s)
		e[i] = d * (s / (s + noise4))
	}
}

// quietRow sets e to the difference of y and its blur, brought towards 0 by quiet.
func quietRow(e, y, blur []float32, quiet float32) {
	y, blur = y[:len(e)], blur[:len(e)]
	for i := range e {
		d := y[i] - blur[i]
		e[i] = d - max(-quiet, min(quiet, d))
	}
}

// kneeRow sets e, a difference of luminance y, to the share of y that sharpening
// adds: amount times e, from half on (or half of the room to black, or to where the
// largest channel, most, is at its bound) nearer and nearer to twice as much.
func kneeRow(e, y, most []float32, amount, half float32) {
	n := fastKneeRow(e, y, most, amount, half)
	plainKneeRow(e[n:], y[n:], most[n:], amount, half)
}

// plainKneeRow branches only where one way is the usual one; the sign of e is any.
func plainKneeRow(e, y, most []float32, amount, half float32) {
	y, most = y[:len(e)], most[:len(e)]
	for i := range e {
		x := math.Float32bits(float32(amount * e[i]))
		below, sign := uint32(int32(x)>>31), x&(1<<31)
		light, m := y[i], most[i]
		room := float32(light * (65535 - m))
		if m < 1 {
			m = 1
		}
		room = math.Float32frombits(math.Float32bits(room/m)&^below | math.Float32bits(light)&below)
		h := float32(room * 0.5)
		if h > half {
			h = half
		}
		if h < 1.0/1024 {
			h = 1.0 / 1024
		}
		a := math.Float32frombits(x &^ sign)
		if u := a - h; u > 0 {
			a = h + float32(u*h)/(u+h)
		}
		if light < 1 {
			light = 1
		}
		e[i] = math.Float32frombits(math.Float32bits(a/light) | sign)
	}
}

// scaleRow adds to each of src its share s of itself, rounded.
func scaleRow(dst, src []uint16, s []float32) {
	n := fastScaleRow(dst, src, s)
	plainScaleRow(dst[n:], src[n:], s[n:])
}

func plainScaleRow(dst, src []uint16, s []float32) {
	dst, s = dst[:len(src)], s[:len(src)]
	for i, v := range src {
		f := float32(v)
		dst[i] = exact.Round32(f + float32(f*s[i]))
	}
}

// nearlyAll is the share from which a weight is all of it: many rounded weights
// add up to a little less or more than 1.
const nearlyAll = 1 - 1.0/(1<<20)

// holdRow makes weights of nearlyAll and more 1, so that a full part of a mask is
// full, whatever else its rows hold.
func holdRow(w []float32) {
	n := fastHoldRow(w)
	plainHoldRow(w[n:])
}

func plainHoldRow(w []float32) {
	for i, v := range w {
		if v >= nearlyAll {
			w[i] = 1
		}
	}
}

// mulRow sets dst to a times b, place by place; dst may be either of them.
func mulRow(dst, a, b []float32) {
	n := fastMulRow(dst, a, b)
	plainMulRow(dst[n:], a[n:], b[n:])
}

func plainMulRow(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for i := range dst {
		dst[i] = a[i] * b[i]
	}
}

// addMulRow adds to dst a times b, place by place.
func addMulRow(dst, a, b []float32) {
	n := fastAddMulRow(dst, a, b)
	plainAddMulRow(dst[n:], a[n:], b[n:])
}

func plainAddMulRow(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for i := range dst {
		dst[i] += float32(a[i] * b[i])
	}
}

// shareRow sets dst to the share that part, above 0, has of what is at least as much.
func shareRow(dst, part, of []float32) {
	n := fastShareRow(dst, part, of)
	plainShareRow(dst[n:], part[n:], of[n:])
}

func plainShareRow(dst, part, of []float32) {
	part, of = part[:len(dst)], of[:len(dst)]
	for i, p := range part {
		dst[i] = p / max(p, of[i])
	}
}

// pixelBlock is how many pixels go through a chain of inner loops at a time,
// so that what passes between them stays in the nearest cache.
const pixelBlock = 1024

// lowRow sets dst to the less of a and b, place by place; dst may be either of them.
// All are numbers.
func lowRow(dst, a, b []float32) {
	n := fastLowRow(dst, a, b)
	plainLowRow(dst[n:], a[n:], b[n:])
}

func plainLowRow(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for i := range dst {
		dst[i] = min(a[i], b[i])
	}
}

// highRow sets dst to the greater.
func highRow(dst, a, b []float32) {
	n := fastHighRow(dst, a, b)
	plainHighRow(dst[n:], a[n:], b[n:])
}

func plainHighRow(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for i := range dst {
		dst[i] = max(a[i], b[i])
	}
}
