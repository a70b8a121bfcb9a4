package ops

import (
	"crypto/sha256"
	"fmt"
	"image"
	"math"
	"slices"
	"strings"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Letters beside those of golang.org/x/image (its opentype face, which draws
// quadratic curves by signed areas): every pixel of every letter near.
func TestLettersBesideALibrary(t *testing.T) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range []int{9, 33, 70} {
		face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: float64(size), DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			t.Fatal(err)
		}
		sum, n := 0.0, 0
		for _, r := range "ABCgjQ@%&éÅß8 ·×" {
			x, y := 40, 80
			got := letters(string(r), x, y, size)
			dr, mask, at, advance, _ := face.Glyph(fixed.P(x, y), r)
			worst := 0.0
			for py := min(got.top, dr.Min.Y); py < max(got.top+got.h, dr.Max.Y); py++ {
				for px := min(got.left, dr.Min.X); px < max(got.left+got.w, dr.Max.X); px++ {
					a, b := 0.0, 0.0
					if px >= got.left && px < got.left+got.w && py >= got.top && py < got.top+got.h {
						a = float64(got.share[(py-got.top)*got.w+px-got.left]) / 65535
					}
					if p := image.Pt(px, py); p.In(dr) {
						_, _, _, v := mask.At(at.X+px-dr.Min.X, at.Y+py-dr.Min.Y).RGBA()
						b = float64(v) / 65535
					}
					worst = max(worst, math.Abs(a-b))
					sum, n = sum+math.Abs(a-b), n+1
				}
			}
			// The library rounds points to 1/64 px, letters to 1/256, and it parts
			// curves into few lines: up to a seventh of a pixel on large round letters.
			if worst > 0.16 {
				t.Errorf("%q at %d px: a pixel is %.3f off", r, size, worst)
			}
			if units, _ := LetterWidth(string(r)); math.Abs(float64(units*size)/emUnits-float64(advance)/64) > 0.5/64+0.01 {
				t.Errorf("%q at %d px: %d units wide, the library has %v px", r, size, units, advance)
			}
		}
		if mean := sum / float64(n); mean > 0.01 {
			t.Errorf("at %d px pixels are %.4f off on average", size, mean)
		}
	}
	if got := fmt.Sprintf("%x", sha256.Sum256(goregular.TTF)); got != letterFont {
		t.Errorf("the font is another: %s", got)
	}
	if _, lacking := LetterWidth("Salt 塩"); string(lacking) != "塩" {
		t.Errorf("lacking %q", lacking)
	}
}

// letterFont is the SHA-256 of the font that captions are drawn with.
const letterFont = "197d9f3703b4c00af609178876a8d73e396f64fe438b2c871778566632374be3"

// Each pixel by itself, from 16 x 256 points: the same shares.
func TestLettersByPoints(t *testing.T) {
	for _, text := range []string{"a8%", "Äß@"} {
		got := letters(text, 3, 40, 11)
		buf, buf2 := new(strings.Builder), new(sfnt.Buffer)
		var lines []letterLine
		pen := 0
		for _, r := range text {
			g, _ := goRegular().GlyphIndex(buf2, r)
			lines = append(lines, letterOutline(buf2, g, pen, 3, 40, 11)...)
			pen += advance(buf2, g)
		}
		for py := range got.h {
			for px := range got.w {
				inside := int64(0)
				for j := range int64(16) {
					y := 256*int64(got.top+py) + 16*j + 8
					for i := range int64(256) {
						x, wound := 256*int64(got.left+px)+i, 0
						for _, l := range lines {
							if min(l.a.y, l.b.y) > y || y >= max(l.a.y, l.b.y) {
								continue
							}
							if at := l.a.x + int64(math.Floor(float64((l.b.x-l.a.x)*(y-l.a.y))/float64(l.b.y-l.a.y))); at <= x {
								if l.a.y < l.b.y {
									wound++
								} else {
									wound--
								}
							}
						}
						if wound != 0 {
							inside++
						}
					}
				}
				if want := uint16((65535*inside + 2048) / 4096); got.share[py*got.w+px] != want {
					fmt.Fprintf(buf, " %d,%d: %d, want %d", px, py, got.share[py*got.w+px], want)
				}
			}
		}
		if buf.Len() > 0 {
			t.Errorf("%s:%.200s", text, buf)
		}
	}
}

func sheetArgs(w, h string, parts ...string) Args {
	a := Args{{"width", w}, {"height", h}}
	for i, p := range parts {
		a = append(a, Arg{fmt.Sprintf("part-%d", i+1), p})
	}
	return a
}

// Parts lie where they are said to, those behind above those before; all else is
// white.
func TestSheetByHand(t *testing.T) {
	a, b := newImage(2, 2, 3).fill(func(x, y, c int) uint16 { return uint16(1000 + 100*y + 10*x + c) }), newImage(3, 1, 3).fill(func(x, _, c int) uint16 { return uint16(7 + x) })
	out := apply(t, sheetV1, sheetArgs("6", "5", "picture 1 1", "fill 2 2 2 3 1 2 3", "picture 3 4"), a, b)
	at := func(x, y int) []uint16 { return out.data[(y*6+x)*3:][:3] }
	for _, c := range []struct {
		x, y int
		want []uint16
	}{
		{0, 0, []uint16{65535, 65535, 65535}}, {1, 1, []uint16{1000, 1001, 1002}}, {1, 2, []uint16{1100, 1101, 1102}},
		{2, 2, []uint16{1, 2, 3}}, {3, 3, []uint16{1, 2, 3}}, {3, 4, []uint16{7, 7, 7}}, {5, 4, []uint16{9, 9, 9}}, {2, 4, []uint16{1, 2, 3}}, {4, 2, []uint16{65535, 65535, 65535}},
	} {
		if !slices.Equal(at(c.x, c.y), c.want) {
			t.Errorf("%d, %d is %v, want %v", c.x, c.y, at(c.x, c.y), c.want)
		}
	}
	args := sheetArgs("90", "60", "picture 4 5", "text 8 40 20 Salt·8", "fill 60 3 20 50 9 9 9", "picture 30 44")
	p, q := newImage(50, 30, 3).noise(1), newImage(17, 9, 3).noise(2)
	anyOrder(t, sheetV1, args, p, q)

	// A part of it is cut out of the whole.
	whole, s := apply(t, sheetV1, args, p, q), bind(t, sheetV1, args, p, q).(Partial)
	for _, r := range []image.Rectangle{image.Rect(0, 0, 90, 60), image.Rect(7, 3, 33, 50), image.Rect(31, 40, 70, 60), image.Rect(85, 0, 90, 9)} {
		part, left := s.Part(r)
		var in []Rows
		for i, c := range []*canvas{p, q} {
			n := s.Needs(i, r)
			cut := newImage(max(n.Dx(), 1), c.H, 3)
			for y := n.Min.Y; y < n.Max.Y; y++ {
				copy(cut.data[y*cut.W*3:][:n.Dx()*3], c.data[(y*c.W+n.Min.X)*3:])
			}
			in = append(in, &rowsOf{t: t, pic: cut.Pic, data: cut.data, lo: 0, hi: c.H})
		}
		dst := make([]uint16, part.Pic().Stride())
		for y := r.Min.Y; y < r.Max.Y; y++ {
			part.Worker().Row(dst, y, in)
			if got, want := dst[(r.Min.X-left)*3:][:3*r.Dx()], whole.data[(y*90+r.Min.X)*3:][:3*r.Dx()]; !slices.Equal(got, want) {
				t.Fatalf("row %d of %v differs", y, r)
			}
		}
	}
}

func TestSheetRefuses(t *testing.T) {
	p, grey := newImage(4, 4, 3).Pic, newImage(4, 4, 1).Pic
	for _, c := range []struct {
		want  string
		in    []Pic
		parts []string
	}{
		{"leaves the sheet", []Pic{p}, []string{"picture 7 0"}},
		{"leaves the sheet", []Pic{p}, []string{"picture 0 0", "text 0 2 4 a"}},
		{"take 0 pictures, got 1", []Pic{p}, []string{"fill 0 0 1 1 1 1 1"}},
		{"there are 1 pictures", []Pic{p}, []string{"picture 0 0", "picture 0 0"}},
		{"several colour spaces", []Pic{p, grey}, []string{"picture 0 0", "picture 0 0"}},
		{`"" isn't a whole number`, []Pic{p}, []string{"picture 1"}},
		{`"01" isn't a whole number`, []Pic{p}, []string{"picture 01 1"}},
		{`"-1" isn't a whole number`, []Pic{p}, []string{"picture -1 1"}},
		{"is too much", []Pic{p}, []string{"picture 1 1 1"}},
		{"isn't a code", []Pic{p}, []string{"fill 0 0 1 1 65536 1 1"}},
		{"is none of", []Pic{p}, []string{"oval 1 1"}},
		{"at least one picture", nil, []string{"fill 0 0 1 1 1 1 1"}},
	} {
		_, err := sheetV1.New(sheetArgs("10", "10", c.parts...), c.in, Env{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.parts, err, c.want)
		}
	}
}

// A line of letters that is wider than a sheet is refused by systems of 32 bits too.
func TestSheetRefusesWideLetters(t *testing.T) {
	p := newImage(4, 4, 3).Pic
	if _, err := sheetV1.New(sheetArgs("300000", "3000", "picture 0 0", "text 250000 2000 2000 "+strings.Repeat("@", 1000)), []Pic{p}, Env{}); err == nil {
		t.Error("2 million px of letters lie on a sheet of 300000")
	}
}
