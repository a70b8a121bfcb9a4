package raster

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"platemark/testdata/photos"
)

// eightPlain is the rule as stated, for one sample.
func eightPlain(v uint16, x, y int) byte {
	z := (uint64(y)*(1<<32) + uint64(x/4) + 1) * 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	z ^= z >> 31
	n := z / [4]uint64{1, 1 << 16, 1 << 32, 1 << 48}[x%4] % 65536
	return byte((uint64(v) + 257*n/65536) / 257)
}

// A part of a row, wherever it begins, is what the rule says of its places, by
// the plain loop and with assembly: random and extreme samples.
func TestEightEqualsPlain(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, c := range []int{1, 3, 4} {
		for x := range 9 {
			for w := range 301 {
				row, want := make([]uint16, w*c), make([]byte, w*c)
				y := int(r.Int32())
				for i := range row {
					row[i] = []uint16{0, 1, 256, 257, 65278, 65534, 65535, uint16(r.Uint32()), uint16(r.Uint32())}[r.IntN(9)]
					want[i] = eightPlain(row[i], x+i/c, y)
				}
				got := make([]byte, w*c+1)
				if Eight(got, row, c, x, y); !slices.Equal(got[:w*c], want) || got[w*c] != 0 {
					t.Fatalf("%d pixels of %d channels from column %d: %v, want %v", w, c, x, got, want)
				}
				if x%4 != 0 {
					continue
				}
				if plainEight(got, row, c, uint64(y)<<32+uint64(x)/4); !slices.Equal(got[:w*c], want) {
					t.Fatalf("%d pixels of %d channels from column %d, plain: %v, want %v", w, c, x, got, want)
				}
			}
		}
	}
}

// Every sample comes to one of its two neighbours among the codes, to the code
// itself where it is one, and in the mean to itself.
func TestEightKeepsCodes(t *testing.T) {
	const n = 4096
	row, out := make([]uint16, n), make([]byte, n)
	for v := 0; v < 65536; v += 17 { // 17 and 257 meet in every remainder
		for i := range row {
			row[i] = uint16(v)
		}
		Eight(out, row, 1, 0, v)
		sum := 0
		for _, o := range out {
			if d := int(o)*257 - v; d <= -257 || d >= 257 || v%257 == 0 && d != 0 {
				t.Fatalf("%d became %d", v, o)
			}
			sum += int(o)
		}
		// Of the mean of n even numbers the deviation is at most 1/2 sqrt(n); six of them.
		if d := float64(sum)/n - float64(v)/257; math.Abs(d) > 3/math.Sqrt(n) {
			t.Errorf("%d became %v in the mean", v, float64(sum)/n)
		}
	}
}

// A sky of 4 L* over 20 inches at 300 pixels an inch, an inch high. A band is a
// run of columns of one colour from top to bottom. Wanted: none wider than 0.05
// inches, and noise below half a code. Rounded to the nearest code, which was
// the way before, the sky has bands of almost 2 inches.
func TestEightSkyHasNoBands(t *testing.T) {
	const w, h = 6000, 300
	row := make([]uint16, 3*w)
	for x := range w {
		l := 70 + 4*float64(x)/w
		// sRGB's code of a grey of L* (CIE 15, IEC 61966-2-1), a little blue.
		code := 1.055*math.Pow(math.Pow((l+16)/116, 3), 1/2.4) - 0.055
		for c, k := range []float64{0.93, 1, 1.05} {
			row[3*x+c] = uint16(code*k*65535 + 0.5)
		}
	}
	measure := func(to8 func(dst []byte, y int)) (widest, noise float64) {
		rows := make([][]byte, h)
		sum := 0.0
		for y := range rows {
			rows[y] = make([]byte, 3*w)
			to8(rows[y], y)
			for i, v := range rows[y] {
				d := float64(v) - float64(row[i])/257
				sum += d * d
			}
		}
		return float64(photos.WidestBand(rows)) / 300, math.Sqrt(sum / (h * 3 * w))
	}
	before, _ := measure(func(dst []byte, y int) {
		for i, v := range row {
			dst[i] = byte((int(v) + 128) / 257)
		}
	})
	now, noise := measure(func(dst []byte, y int) { Eight(dst, row, 3, 0, y) })
	t.Logf("widest band %.2f in to the nearest code, %.3f in now; noise %.2f of a code", before, now, noise)
	if before < 0.5 || now > 0.05 || noise >= 0.5 {
		t.Error("wanted at most 0.05 in, below 0.5 of a code")
	}
}

func BenchmarkEight(b *testing.B) {
	for _, c := range []int{1, 3} {
		b.Run(fmt.Sprint(c), func(b *testing.B) {
			row := make([]uint16, c*6000)
			for i := range row {
				row[i] = uint16(i * 40503)
			}
			dst := make([]byte, len(row))
			y := 0
			for b.Loop() {
				Eight(dst, row, c, 0, y)
				y++
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/6000, "ns/px")
		})
	}
}
