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
	near  bool       // every guess is its code or the one below
}

// toneCell guesses codes by a straight line, half a code low: at + slope * (x's
// low bits), from 0 up and below 65535.
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
	g := t.guess(x)
	// One more where the next code's light isn't above x, without a branch: from 0
	// up, numbers have the order of their bits.
	g += 1 - int((math.Float64bits(x)-math.Float64bits(t.bound[g+1]))>>63)
	if t.near || t.bound[g] <= x && x < t.bound[g+1] {
		return uint16(g)
	}
	return t.search(x)
}

// guess is near the code of light x, 0..1: where curves bend as powers do, it is
// the code or the one below.
func (t *Tone) guess(x float64) int {
	b := max(math.Float64bits(x), t.first)
	c := &t.cells[b>>cellShift-t.first>>cellShift]
	low := float32(int32(b>>(cellShift-23)) & (1<<23 - 1))
	return int(c.at + float32(c.slope*low))
}

// EncodeRow sets dst[0], dst[step], ... to the codes of x, as Encode64 does.
func (t *Tone) EncodeRow(dst []uint16, step int, x []float64) {
	t.once.Do(t.build)
	n := t.fastEncodeRow(dst, step, x)
	for i, v := range x[n:] {
		dst[(n+i)*step] = t.encode(v)
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
		a, b := t.place(from(i)), t.place(from(i+1))
		t.cells[i] = toneCell{float32(max(0, a-0.5)), float32((b - a) / (1 << 23))}
	}
	t.cells[last].at = float32(t.search(1))
	// Guesses rise within a cell: its ends and those of each code tell of all.
	t.near = true
	look := func(x float64) {
		for _, x := range [2]float64{math.Nextafter(x, 0), x} {
			g := t.guess(x)
			t.near = t.near && (x > 1 || t.bound[g] <= x && x < t.bound[min(g+2, 65536)])
		}
	}
	for i := range t.cells {
		look(from(uint64(i)))
	}
	for _, x := range t.bound[1:65536] {
		look(x)
	}
}

// place is the code of x with a share of the way to the next threshold, for
// guessing.
func (t *Tone) place(x float64) float64 {
	k := int(t.search(x))
	p := float64(k)
	if k > 0 && k < 65535 {
		p += (x - t.bound[k]) / (t.bound[k+1] - t.bound[k])
	}
	return p
}

// ready returns t with its tables built.
func (t *Tone) ready() *Tone {
	t.once.Do(t.build)
	return t
}
