package colour

import (
	"math"
	"math/rand"
	"sort"
	"testing"

	"platemark/ops/exact"
)

// testCurves is a set with every form, joints and odd shapes.
func testCurves() map[string]curve {
	words := func(v ...int) curve {
		var b []byte
		for _, x := range v {
			b = append(b, byte(x>>8), byte(x))
		}
		return curve{table: string(b)}
	}
	s := make([]int, 1024)
	for i := range s {
		x := float64(i) / 1023
		s[i] = int(float64(x*x*(3-2*x))*65535 + 0.5)
	}
	return map[string]curve{
		"identity":     gammaCurve(one),
		"gamma 2.2":    gammaCurve(one * 563 / 256),
		"gamma 0.45":   gammaCurve(29491),
		"gamma 20":     gammaCurve(20 * one),
		"gamma 100":    gammaCurve(100 * one),
		"type 1":       {g: 2 * one, a: 70000, b: -4464, clip: true},
		"type 2":       {g: 2 * one, a: 60000, b: -3000, e: 1200, f: 1200, clip: true},
		"type 3":       {g: 157286, a: 62119, b: 3417, c: 5072, d: 2651},
		"type 4":       {g: 157286, a: 62119, b: 3417, c: 5072, d: 2651, e: 300, f: 300},
		"type 4 below": {g: 120000, a: one, c: 4096, d: 2048, e: -2000, f: -2000},
		"overshoot":    {g: 2 * one, a: 80000, c: 0, d: 0},
		"two points":   words(0, 65535),
		"flat ends":    words(0, 0, 0, 100, 40000, 65535, 65535),
		"dented":       words(0, 9000, 8999, 20000, 65535),
		"steps":        words(0, 0, 30000, 30000, 30000, 65535),
		"s curve":      words(s...),
	}
}

// The quick power changes no rounded value.
func TestCurveQuickEqualsPlain(t *testing.T) {
	for n, c := range testCurves() {
		if err := c.check(); err != nil {
			t.Errorf("%s: %v", n, err)
		}
		for j := 0; j <= steps; j += 3 {
			q, p := c.eval(j), c.evalPlain(j)
			if q.Hi != p.Hi || q.Float32() != p.Float32() {
				t.Fatalf("%s at %d: %v, plain %v", n, j, q, p)
			}
		}
	}
}

func TestQuickPowerKeepsItsBound(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	worst, doubtful := 0.0, 0
	for range 20000 {
		d := float64(steps) * one
		n := math.Floor(math.Exp2(rng.Float64()*35)) + 1
		g := float64(1+rng.Intn(maxQuick*one)) / one
		y, ok := quickPow(n, d, g)
		if !ok {
			continue
		}
		z := exact.Pow(exact.Frac(int64(n), int64(d)), exact.Float(g))
		worst = max(worst, math.Abs(y.Sub(z).Hi/z.Hi))
		if !certain(y, y.Hi*powerError) {
			doubtful++
		}
	}
	if worst > powerError/8 {
		t.Errorf("worst relative error 2^%.1f", math.Log2(worst))
	}
	if doubtful > 200 {
		t.Errorf("%d of 20000 left in doubt", doubtful)
	}
}

// plainEncode is the definition.
func plainEncode(t *Tone, x float64) uint16 {
	return uint16(sort.Search(65535, func(k int) bool { return t.Thresholds()[k] > x }))
}

func TestEncodeEqualsDefinition(t *testing.T) {
	rng := rand.New(rand.NewSource(2))
	for n, c := range testCurves() {
		tone := newTone(c)
		thr, light := tone.Thresholds(), tone.Decode64()
		var tried []float64
		try := func(x float64) {
			tried = append(tried, x)
			want := plainEncode(tone, math.Max(x, 0))
			if got := tone.Encode64(x); got != want {
				t.Fatalf("%s: light %v gives %d, expected %d", n, x, got, want)
			}
			f := float32(x)
			if got, want := tone.Encode(f), plainEncode(tone, math.Max(float64(f), 0)); got != want {
				t.Fatalf("%s: light %v gives %d, expected %d", n, f, got, want)
			}
		}
		for k, x := range thr {
			if k > 0 && x < thr[k-1] {
				t.Fatalf("%s: thresholds fall at %d", n, k)
			}
			if k%3 == 0 {
				try(x)
				try(math.Nextafter(x, -1))
				try(math.Nextafter(x, 2))
			}
		}
		for c := 1; c < 65536; c++ {
			if light[c] < light[c-1] || tone.Decode()[c] < tone.Decode()[c-1] {
				t.Fatalf("%s: light falls at %d", n, c)
			}
		}
		for range 20000 {
			try(rng.Float64())
			try(math.Exp2(-rng.Float64() * 80))
		}
		for _, x := range []float64{-1, -1e-300, math.Copysign(0, -1), 0, 5e-324, 1e-300, 1, 1.5, 1e300, math.Inf(1), math.Inf(-1)} {
			try(x)
		}
		if got := tone.Encode64(math.NaN()); got != plainEncode(tone, 0) {
			t.Errorf("%s: NaN gives %d", n, got)
		}
		// Rows of every length, and of all that was tried.
		tried = append(tried, math.NaN())
		for m := range 301 {
			sameCodes(t, n, tone, tried[len(tried)-m:])
		}
		sameCodes(t, n, tone, tried)
	}
	for _, n := range SpaceNames() {
		if !space(t, n).Tone(0).ready().near {
			t.Errorf("guesses aren't near in %s", n)
		}
	}
}

// sameCodes compares a row's codes with those of single values, and what lies
// between them with what was there.
func sameCodes(t *testing.T, name string, tone *Tone, x []float64) {
	t.Helper()
	dst := make([]uint16, 3*len(x))
	tone.EncodeRow(dst, 3, x)
	for i, v := range x {
		if d := dst[3*i:]; d[0] != tone.Encode64(v) || d[1] != 0 || d[2] != 0 {
			t.Fatalf("%s: light %v in a row gives %v, alone %d", name, v, d[:3], tone.Encode64(v))
		}
	}
}

// Codes survive the way to light and back, in both widths.
func TestCodesComeBack(t *testing.T) {
	for _, n := range SpaceNames() {
		tone := space(t, n).Tone(0)
		for c := range 65536 {
			if a, b := tone.Encode64(tone.Decode64()[c]), tone.Encode(tone.Decode()[c]); int(a) != c || int(b) != c {
				t.Fatalf("%s: code %d comes back as %d and %d", n, c, a, b)
			}
		}
	}
}

func BenchmarkBuildTables(b *testing.B) {
	for b.Loop() {
		newTone(curve{g: 157286, a: 62119, b: 3417, c: 5072, d: 2651}).ready()
	}
}

func BenchmarkEncode(b *testing.B) {
	p, _ := Space("sRGB")
	src, dst := make([]float32, 3*6000), make([]uint16, 3*6000)
	rng := rand.New(rand.NewSource(3))
	for i := range src {
		src[i] = rng.Float32()
	}
	b.SetBytes(int64(2 * len(dst)))
	for b.Loop() {
		for i, x := range src {
			dst[i] = p.Tone(0).Encode(x)
		}
	}
}
