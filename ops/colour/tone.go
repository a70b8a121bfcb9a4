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
	light []float64  // 65536
	short []float32  // 65536
	thr   []float64  // 65535
	zero  uint16     // code of light 0
	base  uint64     // bits of the first cell's start, shifted
	start float64    // where the first cell starts
	cells []toneCell // guesses, cellBits to an octave, up to light 1
}

// toneCell guesses codes by a straight line: at + slope * (x's low bits).
type toneCell struct{ at, slope float32 }

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
	return t.thr
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
	if !(x >= t.start) {
		return t.encodeLow(x)
	}
	if x >= 1 {
		if x >= t.thr[len(t.thr)-1] {
			return 65535
		}
		x = 1
	}
	b := math.Float64bits(x)
	i := b>>cellShift - t.base
	if i >= uint64(len(t.cells)) { // x is 1
		i = uint64(len(t.cells) - 1)
	}
	c := t.cells[i]
	low := float32(int32(b>>(cellShift-23)) & (1<<23 - 1))
	g := int(c.at + float32(c.slope*low))
	thr := t.thr
	for n := 0; n < 8; n++ {
		switch {
		case g < len(thr) && thr[g] <= x:
			g++
		case g > 0 && thr[g-1] > x:
			g--
		default:
			return uint16(g)
		}
	}
	return t.search(x)
}

// encodeLow handles light below the first cell, and NaN.
func (t *Tone) encodeLow(x float64) uint16 {
	if !(x > 0) {
		return t.zero
	}
	return t.search(x)
}

// search is the plain definition: the number of thresholds at or below x.
func (t *Tone) search(x float64) uint16 {
	return uint16(sort.Search(len(t.thr), func(k int) bool { return t.thr[k] > x }))
}

func (t *Tone) build() {
	t.light = make([]float64, 65536)
	t.short = make([]float32, 65536)
	t.thr = make([]float64, 65535)
	t.curve.tabulate(func(j int, y exact.DD) {
		if j%2 == 1 {
			t.thr[j/2] = y.Hi
			return
		}
		t.light[j/2] = y.Hi
		t.short[j/2] = y.Float32()
	})
	t.zero = t.search(0)
	// The first cell starts at the power of two at or below the first
	// threshold above 0, or maxOctaves below 1.
	t.start = math.Ldexp(1, -maxOctaves)
	if int(t.zero) < len(t.thr) {
		_, e := math.Frexp(t.thr[t.zero])
		t.start = math.Max(t.start, math.Ldexp(1, min(e-1, -1)))
	}
	t.base = math.Float64bits(t.start) >> cellShift
	n := math.Float64bits(1)>>cellShift - t.base
	t.cells = make([]toneCell, n)
	for i := range t.cells {
		lo := math.Float64frombits((t.base + uint64(i)) << cellShift)
		hi := math.Float64frombits((t.base + uint64(i) + 1) << cellShift)
		a, b := t.place(lo), t.place(hi)
		t.cells[i] = toneCell{float32(a), float32((b - a) / (1 << 23))}
	}
}

// place is the code of x with a share of the way to the next threshold, for
// guessing.
func (t *Tone) place(x float64) float64 {
	k := int(t.search(x))
	p := float64(k)
	if k > 0 && k < len(t.thr) {
		p += (x - t.thr[k-1]) / (t.thr[k] - t.thr[k-1])
	}
	return p
}

// ready returns t with its tables built.
func (t *Tone) ready() *Tone {
	t.once.Do(t.build)
	return t
}
