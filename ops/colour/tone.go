package colour

import (
	"math"
	"sort"
	"sync"

	"platemark/ops/exact"
)

// Tone is one channel's curve at every 16-bit code. It is immutable, safe for
// many goroutines, and builds its tables on first use (some 20 ms, 1.3 MB).
//
// Decoding takes code c to light curve(c/65535). Encoding is the exact
// inverse with halves rounded up: thresholds t[k] = curve((k+1/2)/65535),
// k = 0..65534, each rounded once to float64, and the code of light x is the
// number of thresholds at or below x. So light below 0 gives 0, light above 1
// gives 65535, and x <= y never gives codes out of order.
type Tone struct {
	curve curve
	once  sync.Once
	light []float64 // 65536
	short []float32 // 65536
	// Code c has the light bound[c] <= x < bound[c+1]: the thresholds between
	// the infinities.
	bound []float64
	first uint64     // where the first cell starts, as bits
	cells []toneCell // guesses, up to light 1
	near  bool       // every guess is less than half a code off
}

// toneCell guesses how far light lies beyond the code base, in 65536ths of a code:
// at + (slope + bend low) low, from the low bits of x. A guess is at most sure off: few
// come so near to a code's threshold that it must be looked up, in far more memory.
type toneCell struct {
	at, slope, bend float32
	base, sure      uint16
}

const (
	cellShift  = 52 - 7 // 128 cells an octave
	maxOctaves = 64
)

func newTone(c curve) *Tone { return &Tone{curve: c} }

// Decode returns the light of each of the 65536 codes, 0..1, rounded once from
// the exact curve to float32. Never falling. Read-only.
func (t *Tone) Decode() []float32 {
	t.once.Do(t.build)
	return t.short
}

// Decode64 is Decode rounded once to float64. Read-only.
func (t *Tone) Decode64() []float64 {
	t.once.Do(t.build)
	return t.light
}

// Thresholds returns the 65535 values that part the codes: light x has code c
// where c of them are at or below x. Read-only.
func (t *Tone) Thresholds() []float64 {
	t.once.Do(t.build)
	return t.bound[1:65536]
}

// Encode returns the code of light x; exact, halves up, clipped to 0..65535.
// NaN counts as 0.
func (t *Tone) Encode(x float32) uint16 { return t.Encode64(float64(x)) }

// Encode64 is Encode for float64.
func (t *Tone) Encode64(x float64) uint16 {
	t.once.Do(t.build)
	return t.encode(x)
}

func (t *Tone) encode(x float64) uint16 {
	if !(x > 0) {
		x = 0
	}
	if x > 1 {
		x = 1
	}
	c, g := t.guess(x)
	if f := g & 65535; f >= int(c.sure) && f+int(c.sure) < 65536 {
		return c.base + uint16(g>>16)
	}
	k := int(c.base) + (g+32768)>>16
	if x < t.bound[k] {
		k--
	}
	if t.near || t.bound[k] <= x && x < t.bound[k+1] {
		return uint16(k)
	}
	return t.search(x)
}

// guess is the cell of light x, 0..1, and what it guesses.
func (t *Tone) guess(x float64) (*toneCell, int) {
	b := max(math.Float64bits(x), t.first)
	c := &t.cells[b>>cellShift-t.first>>cellShift]
	low := float32(int32(b>>(cellShift-23)) & (1<<23 - 1))
	return c, int(int32(c.at + float32((c.slope+float32(c.bend*low))*low)))
}

// EncodeRow sets dst[0], dst[step], ... to the codes of x, as Encode64 does.
func (t *Tone) EncodeRow(dst []uint16, step int, x []float64) {
	t.once.Do(t.build)
	n := t.fastEncodeRow(dst, step, x)
	for i, v := range x[n:] {
		dst[(n+i)*step] = t.encode(v)
	}
}

// DecodeRow sets r, g and b, of one length, to the light of src, interleaved codes, by
// a table of 65536 (Decode64) for each channel.
func DecodeRow(r, g, b []float64, tables *[3][]float64, src []uint16) {
	dr, dg, db := tables[0][:65536], tables[1][:65536], tables[2][:65536]
	for i := fastDecodeRow(r, g, b, tables, src); i < len(r); i++ {
		p := src[3*i : 3*i+3 : 3*i+3]
		r[i], g[i], b[i] = dr[p[0]], dg[p[1]], db[p[2]]
	}
}

// search is the plain definition for x from 0 up: the number of thresholds at or
// below x.
func (t *Tone) search(x float64) uint16 {
	thr := t.bound[1:65536]
	return uint16(sort.Search(len(thr), func(k int) bool { return thr[k] > x }))
}

func (t *Tone) build() {
	t.light = make([]float64, 65536)
	t.short = make([]float32, 65536)
	t.bound = make([]float64, 65537)
	t.bound[0], t.bound[65536] = math.Inf(-1), math.Inf(1)
	t.curve.tabulate(func(j int, y exact.DD) {
		if j%2 == 1 {
			t.bound[j/2+1] = y.Hi
			return
		}
		t.light[j/2] = y.Hi
		t.short[j/2] = y.Float32()
	})
	// The first cell starts at the power of two at or below the first
	// threshold above 0, or maxOctaves below 1.
	start := math.Ldexp(1, -maxOctaves)
	if low := t.bound[int(t.search(0))+1]; low <= 1 {
		_, e := math.Frexp(low)
		start = math.Max(start, math.Ldexp(1, min(e-1, -1)))
	}
	t.first = math.Float64bits(start)
	from := func(i uint64) float64 { return math.Float64frombits(t.first + i<<cellShift) }
	last := (math.Float64bits(1) - t.first) >> cellShift
	t.cells = make([]toneCell, last+1) // that of light 1 itself too
	for i := range last {
		t.cells[i] = newToneCell(t.place(from(i)), t.place((from(i)+from(i+1))*0.5), t.place(from(i+1)))
	}
	t.cells[last] = toneCell{at: 32768, base: t.search(1)}
	// Guesses rise within a cell: its ends and those of each code tell of all.
	least := func(x float64, k int) { // the code of x is k or above
		if x <= 1 {
			c, g := t.guess(x)
			c.off(int64(k-int(c.base))<<16 - int64(g))
		}
	}
	most := func(x float64, k int) { // below k, of the light before x
		if x > 0 && x <= 1 {
			c, g := t.guess(math.Nextafter(x, 0))
			c.off(int64(g) + 1 - int64(k-int(c.base))<<16)
		}
	}
	for i := range last {
		least(from(i), int(t.search(from(i))))
		most(from(i+1), int(t.search(math.Nextafter(from(i+1), 0)))+1)
	}
	for k, x := range t.bound[1:65536] {
		least(x, k+1)
		most(x, k+1)
	}
	t.near = true
	for i := range t.cells {
		c := &t.cells[i]
		// Rounding may let a guess fall by two roundings of float32.
		c.off(int64(c.sure) + 4 + int64(float32((c.slope+float32(c.bend*(1<<23)))*(1<<23)))>>19)
		t.near = t.near && c.sure < 32768
	}
}

// newToneCell is a parabola through a, m and b, the places of codes at a cell's start,
// middle and end, or where one falls somewhere, a line.
func newToneCell(a, m, b float64) toneCell {
	const codes, low = 0x1p16, 0x1p23
	c := toneCell{base: uint16(a)}
	c.at = float32((a - float64(c.base)) * codes)
	bend := float64(2 * ((a - m) - (m - b)))
	slope := (b - a) - bend
	if slope < 0 || slope+(bend+bend) < 0 {
		slope, bend = b-a, 0
	}
	if b-a < 1<<14 { // beyond, guesses would leave int32
		c.slope, c.bend = float32(slope*(codes/low)), float32(bend*(codes/low/low))
	}
	return c
}

// off has a cell know that a guess is so much off.
func (c *toneCell) off(by int64) { c.sure = uint16(max(int64(c.sure), min(by, 65535))) }

// place is the code of x with a share of the way to the next threshold, for
// guessing.
func (t *Tone) place(x float64) float64 {
	k := int(t.search(x))
	lo := max(0, t.bound[k])
	width := t.bound[k+1] - lo
	if k == 65535 {
		width = lo - t.bound[k-1]
	}
	if width > 0 {
		return float64(k) + min(0.999, (x-lo)/width)
	}
	return float64(k)
}

// ready returns t with its tables built.
func (t *Tone) ready() *Tone {
	t.once.Do(t.build)
	return t
}
