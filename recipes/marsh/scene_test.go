package marsh

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"runtime"
	"strings"
	"testing"
)

// drawn is a whole picture.
type drawn struct {
	w, h int
	pix  []uint16
}

func (d *drawn) at(x, y, c int) float64 { return float64(d.pix[(y*d.w+x)*3+c]) / 65535 }

func picture(t testing.TB, w, h int, o options) *drawn {
	t.Helper()
	d := &drawn{w: w, h: h}
	err := draw(context.Background(), w, h, func(y0 int, rows []uint16) error {
		if y0*w*3 != len(d.pix) {
			t.Fatalf("a block for row %d came after %d samples", y0, len(d.pix))
		}
		if len(rows) == 0 || len(rows)%(3*w) != 0 {
			t.Fatalf("a block of %d samples isn't whole rows", len(rows))
		}
		d.pix = append(d.pix, rows...)
		return nil
	}, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.pix) != w*h*3 {
		t.Fatalf("%d samples came, want %d", len(d.pix), w*h*3)
	}
	return d
}

func digest(d *drawn) string {
	s := sha256.New()
	var b []byte
	for _, v := range d.pix {
		b = binary.LittleEndian.AppendUint16(b, v)
	}
	s.Write(b)
	return hex.EncodeToString(s.Sum(nil))
}

// The digest is this package's own, taken once: it says that the picture is
// the same on every machine and hasn't changed by accident.
const digest360 = "0be3bb8c56c7ff3ddc89568ae677434d2cd291b5ebc95bcf221d58a0cb6de9ea"

func TestSamePixelsForAnyWorkersAndBlocks(t *testing.T) {
	const w, h = 360, 240
	for _, o := range []options{
		{workers: 1, rows: 240}, {workers: 2}, {workers: 5, rows: 11}, {workers: 3, rows: 400},
	} {
		if got := digest(picture(t, w, h, o)); got != digest360 {
			t.Errorf("%d workers, %d rows: digest %s, want %s", o.workers, o.rows, got, digest360)
		}
	}
	for _, n := range []int{1, 4} {
		old := runtime.GOMAXPROCS(n)
		d := &drawn{w: w, h: h}
		var done []int
		err := Draw(context.Background(), w, h, func(y0 int, rows []uint16) error {
			d.pix = append(d.pix, rows...)
			return nil
		}, func(n, total int) {
			if total != h {
				t.Errorf("progress tells of %d rows, want %d", total, h)
			}
			done = append(done, n)
		})
		runtime.GOMAXPROCS(old)
		if err != nil {
			t.Fatal(err)
		}
		if got := digest(d); got != digest360 {
			t.Errorf("GOMAXPROCS %d: digest %s, want %s", n, got, digest360)
		}
		for i, v := range done {
			if i > 0 && v <= done[i-1] {
				t.Errorf("progress went %v", done)
			}
		}
		if len(done) == 0 || done[len(done)-1] != h {
			t.Errorf("progress ended at %v, want %d", done, h)
		}
	}
}

func TestOddSizesAndShapesDraw(t *testing.T) {
	for _, s := range [][2]int{{16, 16}, {17, 301}, {301, 17}, {97, 64}} {
		picture(t, s[0], s[1], options{})
	}
}

var mediums = map[options]*drawn{}

// medium is a size at which single planted things show. Each is drawn once.
func medium(t *testing.T, o options) *drawn {
	if mediums[o] == nil {
		mediums[o] = picture(t, 1536, 1024, o)
	}
	return mediums[o]
}

func TestRangeIsSpanned(t *testing.T) {
	d := medium(t, options{noHot: true})
	var low, high int
	for i := 0; i < len(d.pix); i += 3 {
		if max(d.pix[i], d.pix[i+1], d.pix[i+2]) < 1200 {
			low++
		}
		if min(d.pix[i], d.pix[i+1], d.pix[i+2]) > 64500 {
			high++
		}
	}
	n := d.w * d.h
	if low < n/1000 || high < n/10000 {
		t.Errorf("%d pixels near black and %d near white of %d; want at least 0.1 %% and 0.01 %%", low, high, n)
	}
	if low > n/4 || high > n/50 {
		t.Errorf("%d pixels near black and %d near white of %d: too much is lost", low, high, n)
	}
}

// The row for red of opRGB (IEC 61966-2-5) to sRGB (IEC 61966-2-1), both of
// which have white D65: from the standards' primaries, worked out by hand.
// Red below 0 or above 1 in sRGB is outside it; so is blue.
func TestColoursLieBeyondSRGB(t *testing.T) {
	d := medium(t, options{noHot: true})
	lin := func(v uint16) float64 { return math.Pow(float64(v)/65535, 563.0/256) }
	var cyan, orange int
	for i := 0; i < len(d.pix); i += 3 {
		r, g, b := lin(d.pix[i]), lin(d.pix[i+1]), lin(d.pix[i+2])
		if 1.39836*r-0.39836*g < -0.01 {
			cyan++
		}
		if s := 1.39836*r - 0.39836*g; s > 0.2 && -0.04293*g+1.04293*b < -0.002 {
			orange++
		}
	}
	n := d.w * d.h
	if cyan < n/500 {
		t.Errorf("%d of %d pixels are greener than sRGB can say, want at least 0.2 %%", cyan, n)
	}
	if orange < 50 {
		t.Errorf("%d of %d pixels are more orange than sRGB can say, want at least 50", orange, n)
	}
}

func TestGrainIsFineAndEven(t *testing.T) {
	a, b := medium(t, options{noHot: true}), medium(t, options{noHot: true, noGrain: true})
	var n, sum, squares, next float64
	for y := 20; y < 320; y++ { // sky
		for x := 1050; x < 1500; x++ {
			e := a.at(x, y, 1) - b.at(x, y, 1)
			sum += e
			squares += e * e
			next += e * (a.at(x+2, y, 1) - b.at(x+2, y, 1))
			n++
		}
	}
	sd := math.Sqrt(squares / n)
	if sd < 0.004 || sd > 0.02 {
		t.Errorf("grain's spread in the sky is %.4f of full scale, want 0.004 to 0.02", sd)
	}
	if math.Abs(sum/n) > 0.0005 {
		t.Errorf("grain moves the sky by %.5f, want none", sum/n)
	}
	if r := next / squares; math.Abs(r) > 0.25 {
		t.Errorf("grain two pixels apart goes together by %.2f: too coarse", r)
	}
}

func TestSpecksLieWhereSaid(t *testing.T) {
	with, without := medium(t, options{noGrain: true, noHot: true}), medium(t, options{noGrain: true, noHot: true, noSpecks: true})
	list := Specks()
	if len(list) < 5 {
		t.Fatalf("%d specks, want a handful", len(list))
	}
	owner := func(x, y int) int {
		for i, s := range list {
			dx, dy := float64(x)+0.5-s.X*1536, float64(y)+0.5-s.Y*1024
			if math.Hypot(dx, dy) <= s.R*1536 {
				return i
			}
		}
		return -1
	}
	most := make([]float64, len(list))
	for y := 0; y < 1024; y++ {
		for x := 0; x < 1536; x++ {
			e := with.at(x, y, 1) - without.at(x, y, 1)
			if e == 0 {
				continue
			}
			i := owner(x, y)
			if i < 0 {
				t.Fatalf("pixel (%d, %d) differs, outside every speck", x, y)
			}
			if math.Abs(e) > math.Abs(most[i]) {
				most[i] = e
			}
		}
	}
	var light, dark int
	for i, e := range most {
		switch s := list[i]; {
		case s.light && e > 0.03:
			light++
		case !s.light && e < -0.03:
			dark++
		default:
			t.Errorf("speck %d changes its place by %.3f, light %v", i, e, s.light)
		}
		// Round about it the sky is clean, so that filling in works.
		s := list[i]
		r := s.R*1536*2 + 3
		lo, hi := 1.0, 0.0
		for y := int(s.Y*1024 - r); y <= int(s.Y*1024+r); y++ {
			for x := int(s.X*1536 - r); x <= int(s.X*1536+r); x++ {
				lo, hi = min(lo, without.at(x, y, 1)), max(hi, without.at(x, y, 1))
			}
		}
		if hi-lo > 0.07 {
			t.Errorf("speck %d at (%g, %g) isn't in clean sky: the ground varies by %.3f", i, s.X, s.Y, hi-lo)
		}
	}
	if light == 0 || dark == 0 {
		t.Errorf("%d light and %d dark specks, want both", light, dark)
	}
}

func TestHotPixelsStandAlone(t *testing.T) {
	with, without := medium(t, options{}), medium(t, options{noHot: true})
	hot := map[[2]int]bool{}
	for _, h := range HotPixels() {
		hot[[2]int{int(h.X * 1536), int(h.Y * 1024)}] = true
	}
	if len(hot) != hotCount {
		t.Fatalf("%d hot pixels, want %d", len(hot), hotCount)
	}
	for y := 0; y < 1024; y++ {
		for x := 0; x < 1536; x++ {
			same := true
			for c := range 3 {
				same = same && with.at(x, y, c) == without.at(x, y, c)
			}
			if same == hot[[2]int{x, y}] {
				t.Fatalf("pixel (%d, %d): hot %v, unchanged %v", x, y, hot[[2]int{x, y}], same)
			}
		}
	}
	clear := 0
	for p := range hot {
		for c := range 3 {
			near := 0.0
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					if dx != 0 || dy != 0 {
						near = max(near, with.at(p[0]+dx, p[1]+dy, c))
					}
				}
			}
			if with.at(p[0], p[1], c)-near > 0.12 {
				clear++
				break
			}
		}
	}
	if clear < hotCount*9/10 {
		t.Errorf("%d of %d hot pixels stand 12 %% over all their neighbours, want nine in ten", clear, hotCount)
	}
}

// In the full size, red and blue are larger than green by 1 to 2 px at the
// left and right edges, and fit at the centre.
func TestFringesGrowFromTheCentre(t *testing.T) {
	where := func(i, n int, c int) float64 {
		k, w := weights(i, n, fringeShare[c])
		var at, all float64
		for j, v := range w {
			at += float64(v) * (float64(k) + float64(j))
			all += float64(v)
		}
		if math.Abs(all-1) > 1e-6 {
			t.Errorf("the weights sum to %g", all)
		}
		return float64(i) - at
	}
	for _, c := range []int{0, 2} {
		if e := where(6143, 6144, c); e < 1 || e > 2 {
			t.Errorf("channel %d at the right edge reads %.2f px inwards, want 1 to 2", c, e)
		}
		if e := where(0, 6144, c); e > -1 || e < -2 {
			t.Errorf("channel %d at the left edge reads %.2f px, want -1 to -2", c, e)
		}
		if e := where(3072, 6144, c); math.Abs(e) > 0.01 {
			t.Errorf("channel %d at the centre is moved by %.3f px", c, e)
		}
	}
	if e := where(6143, 6144, 1); e != 0 {
		t.Errorf("green is moved by %g px", e)
	}
	if reach < int(fringeShare[0]*maxSide/2)+3 {
		t.Errorf("a band reaches %d rows, too few for the largest picture's fringes", reach)
	}
}

func TestEverySizeShowsTheSameScene(t *testing.T) {
	// Means of 24 x 16 fields, of pictures of several sizes.
	fields := func(d *drawn) [24 * 16 * 3]float64 {
		w, h := d.w, d.h
		var f, n [24 * 16 * 3]float64
		for y := 0; y < h; y++ {
			for x := 0; x < w; x++ {
				for c := range 3 {
					k := (y*16/h*24+x*24/w)*3 + c
					f[k] += d.at(x, y, c)
					n[k]++
				}
			}
		}
		for i := range f {
			f[i] /= n[i]
		}
		return f
	}
	a := fields(medium(t, options{noHot: true}))
	for _, s := range [][2]int{{480, 320}, {487, 324}, {400, 400}} {
		b := fields(picture(t, s[0], s[1], options{noHot: true}))
		var worst, sum float64
		for i := range a {
			e := math.Abs(a[i] - b[i])
			worst, sum = max(worst, e), sum+e
		}
		if mean := sum / float64(len(a)); mean > 0.01 || worst > 0.09 {
			t.Errorf("%d x %d px differs from 1536 x 1024 px by %.4f on average, %.3f at most", s[0], s[1], mean, worst)
		}
	}
}

func TestWrongCallsAreRefused(t *testing.T) {
	emit := func(int, []uint16) error { return nil }
	for _, s := range [][2]int{{0, 100}, {100, -1}, {15, 100}, {100, 12001}} {
		err := Draw(context.Background(), s[0], s[1], emit, nil)
		if err == nil || !strings.Contains(err.Error(), "16 to 12000 px") {
			t.Errorf("%v: %v", s, err)
		}
	}
	if err := Draw(context.Background(), 100, 100, nil, nil); err == nil {
		t.Error("no emit was accepted")
	}
}

func TestDrawEndsWithEmitOrContext(t *testing.T) {
	full := errors.New("the disk is full")
	calls := 0
	err := Draw(context.Background(), 240, 1600, func(int, []uint16) error { calls++; return full }, nil)
	if !errors.Is(err, full) || calls != 1 {
		t.Errorf("%v after %d blocks", err, calls)
	}
	ctx, stop := context.WithCancel(context.Background())
	rows := 0
	err = Draw(ctx, 240, 1600, func(y0 int, r []uint16) error { rows += len(r) / 720; stop(); return nil }, nil)
	if !errors.Is(err, context.Canceled) || rows == 1600 {
		t.Errorf("%v after %d rows", err, rows)
	}
	if err := Draw(ctx, 240, 160, func(int, []uint16) error { return nil }, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a context that has ended: %v", err)
	}
}

// The standard library's functions are the measure here.
func TestSeriesAreGood(t *testing.T) {
	for i := 1; i <= 1000; i++ {
		x := float64(i) / 1000
		for _, p := range []float64{gamma, 1 / gamma, 2 / gamma} {
			if e := math.Abs(power(x, p) - math.Pow(x, p)); e > 1e-12 {
				t.Fatalf("%g to the %g is off by %g", x, p, e)
			}
		}
		a := float32(x*20 - 10)
		s, c := sincos(a)
		if math.Abs(float64(s)-math.Sin(float64(a))) > 1e-6 || math.Abs(float64(c)-math.Cos(float64(a))) > 1e-6 {
			t.Fatalf("sine and cosine of %g are %g and %g", a, s, c)
		}
	}
	e := newEncoder()
	for i := 0; i <= 4000; i++ {
		x := float32(i) / 4000
		if d := math.Abs(float64(e.of(x)) - math.Pow(float64(x), 1/gamma)); d > 2e-4 {
			t.Fatalf("%g is encoded with an error of %g", x, d)
		}
	}
}

func BenchmarkDraw(b *testing.B) {
	for b.Loop() {
		err := Draw(context.Background(), 1536, 1024, func(int, []uint16) error { return nil }, nil)
		if err != nil {
			b.Fatal(err)
		}
	}
}
