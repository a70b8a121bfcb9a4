package png

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	stdpng "image/png"
	"math/big"
	"slices"
	"strings"
	"testing"

	"platemark/ops/codec"
	"platemark/ops/colour"
)

// kinds are all colour types and depths (11.2.1, table 11.1).
var kinds = [][2]int{{0, 1}, {0, 2}, {0, 4}, {0, 8}, {0, 16}, {2, 8}, {2, 16}, {3, 1}, {3, 2}, {3, 4}, {3, 8}, {4, 8}, {4, 16}, {6, 8}, {6, 16}}

func testPalette(depth int) []byte {
	var p []byte
	for i := range 1 << depth {
		p = append(p, byte(i*37), byte(255-i*11), byte(i*i))
	}
	return p
}

func kind(colour, depth, w, h int) picture {
	p := picture{w: w, h: h, depth: depth, colour: colour, at: mix(depth)}
	if colour == 3 {
		p.before = mkChunk("PLTE", testPalette(depth))
	}
	return p
}

// want is what p's samples are in 16 bits, by the rules as they are stated:
// v·65535/(2ⁿ-1) rounded, alpha in exact fractions on white.
func want(p picture, trns []byte) []uint16 {
	var out []uint16
	scale := func(v uint16, n int) *big.Rat { return big.NewRat(int64(v)*65535, int64(1)<<n-1) }
	round := func(r *big.Rat) uint16 {
		n := new(big.Int).Lsh(r.Num(), 1)
		n.Add(n, r.Denom())
		return uint16(n.Div(n, new(big.Int).Lsh(r.Denom(), 1)).Int64())
	}
	onPaper := func(v, a *big.Rat) uint16 {
		top := big.NewRat(65535, 1)
		a = new(big.Rat).Quo(a, top)
		v = new(big.Rat).Mul(v, a)
		rest := new(big.Rat).Sub(big.NewRat(1, 1), a)
		return round(v.Add(v, rest.Mul(rest, top)))
	}
	full := big.NewRat(65535, 1)
	pal := testPalette(p.depth)
	for y := range p.h {
		for x := range p.w {
			switch p.colour {
			case 0, 2:
				n := 1 + p.colour
				clear := trns != nil
				for c := range n {
					clear = clear && be.Uint16(trns[2*c:]) == p.at(x, y, c)
				}
				for c := range n {
					v := round(scale(p.at(x, y, c), p.depth))
					if clear {
						v = 65535
					}
					out = append(out, v)
				}
			case 3:
				k := int(p.at(x, y, 0))
				a := full
				if k < len(trns) {
					a = scale(uint16(trns[k]), 8)
				}
				for c := range 3 {
					out = append(out, onPaper(scale(uint16(pal[3*k+c]), 8), a))
				}
			default:
				n := p.channels() - 1
				for c := range n {
					out = append(out, onPaper(scale(p.at(x, y, c), p.depth), scale(p.at(x, y, n), p.depth)))
				}
			}
		}
	}
	return out
}

func same(t *testing.T, name string, got, want []uint16) {
	t.Helper()
	if !slices.Equal(got, want) {
		i := 0
		for i < min(len(got), len(want)) && got[i] == want[i] {
			i++
		}
		t.Fatalf("%s: %d samples, want %d; first difference at %d", name, len(got), len(want), i)
	}
}

// Every kind, interlaced or not, every size up to 9 x 9 and one that takes
// several blocks, is read as written; image/png of Go's library agrees on
// what it reads.
func TestEveryKind(t *testing.T) {
	for _, k := range kinds {
		for _, lace := range []bool{false, true} {
			sizes := [][2]int{{33, 41}}
			for n := range 81 {
				sizes = append(sizes, [2]int{n%9 + 1, n/9 + 1})
			}
			for _, s := range sizes {
				p := kind(k[0], k[1], s[0], s[1])
				p.interlaced = lace
				p.split = s[0] * 3
				name := fmt.Sprintf("colour type %d, %d bits, %v, %v", k[0], k[1], s, lace)
				b := p.bytes()
				_, got, err := decodeAll(b, true)
				if err != nil {
					t.Fatal(name, err)
				}
				same(t, name, got, want(p, nil))
				if img, err := stdpng.Decode(bytes.NewReader(b)); err != nil {
					t.Fatal(name, err)
				} else if k[0] < 4 {
					same(t, name+" by image/png", got, fromImage(img, k[0] == 0))
				}
			}
		}
	}
	p := kind(2, 16, 700, 600)
	_, got, err := decodeAll(p.bytes(), false)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "several blocks", got, want(p, nil))
}

// fromImage takes an opaque picture of Go's library apart.
func fromImage(img image.Image, grey bool) []uint16 {
	var out []uint16
	r := img.Bounds()
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			r, g, b, _ := img.At(x, y).RGBA()
			if out = append(out, uint16(r)); !grey {
				out = append(out, uint16(g), uint16(b))
			}
		}
	}
	return out
}

// The files that Go's encoder writes.
func TestGoWrites(t *testing.T) {
	rect := image.Rect(0, 0, 61, 47)
	fill := func(pix []uint8) {
		for i := range pix {
			pix[i] = byte(i*i>>3 ^ i*7)
		}
	}
	g8, g16 := image.NewGray(rect), image.NewGray16(rect)
	fill(g8.Pix)
	fill(g16.Pix)
	c16 := image.NewNRGBA64(rect)
	fill(c16.Pix)
	for i := 6; i < len(c16.Pix); i += 8 {
		c16.Pix[i], c16.Pix[i+1] = 255, 255
	}
	for _, img := range []image.Image{g8, g16, c16} {
		for _, level := range []stdpng.CompressionLevel{stdpng.DefaultCompression, stdpng.NoCompression, stdpng.BestSpeed} {
			var b bytes.Buffer
			e := stdpng.Encoder{CompressionLevel: level}
			if err := e.Encode(&b, img); err != nil {
				t.Fatal(err)
			}
			f, got, err := decodeAll(b.Bytes(), false)
			if err != nil {
				t.Fatal(err)
			}
			same(t, fmt.Sprintf("%T", img), got, fromImage(img, f.info.Channels == 1))
		}
	}
}

// What is transparent is refused unless it is to be laid on white, then it is
// laid on white as stated.
func TestTransparency(t *testing.T) {
	key := func(v ...uint16) (b []byte) {
		for _, x := range v {
			b = be.AppendUint16(b, x)
		}
		return b
	}
	cases := []struct {
		colour, depth int
		trns          []byte
	}{
		{0, 1, key(1)}, {0, 2, key(2)}, {0, 4, key(7)}, {0, 8, key(0xa5)}, {0, 16, key(mix(16)(5, 5, 0))},
		{2, 8, key(mix(8)(4, 4, 0), mix(8)(4, 4, 1), mix(8)(4, 4, 2))},
		{2, 16, key(mix(16)(4, 4, 0), mix(16)(4, 4, 1), mix(16)(4, 4, 2))},
		{3, 4, []byte{255, 0, 128, 1}}, {3, 1, []byte{7, 200}}, {3, 8, bytes.Repeat([]byte{3, 250}, 128)},
		{4, 8, nil}, {4, 16, nil}, {6, 8, nil}, {6, 16, nil},
	}
	for _, c := range cases {
		p := kind(c.colour, c.depth, 33, 21)
		if c.trns != nil {
			p.before = append(p.before, mkChunk("tRNS", c.trns)...)
		}
		f, err := open(p.bytes())
		if err != nil {
			t.Fatal(err)
		}
		if f.Info().Alpha == "" {
			t.Errorf("%v: not told that it is transparent", c)
		}
		_, _, err = decodeAll(p.bytes(), false)
		var e *codec.Error
		if !errors.As(err, &e) || e.Property != "alpha" {
			t.Errorf("%v: %v", c, err)
		}
		_, got, err := decodeAll(p.bytes(), true)
		if err != nil {
			t.Fatal(err)
		}
		same(t, fmt.Sprint(c.colour, c.depth), got, want(p, c.trns))
	}
	// What could be transparent but nowhere is, is read as it is.
	for _, c := range [][2]int{{4, 8}, {4, 16}, {6, 8}, {6, 16}, {2, 8}, {3, 4}} {
		p := kind(c[0], c[1], 33, 21)
		noise, n := p.at, p.channels()
		switch c[0] {
		case 4, 6:
			p.at = func(x, y, ch int) uint16 {
				if ch == n-1 {
					return 1<<c[1] - 1
				}
				return noise(x, y, ch)
			}
		case 3: // only the last colour is transparent
			p.before = append(p.before, mkChunk("tRNS", append(bytes.Repeat([]byte{255}, 15), 0))...)
			p.at = func(x, y, ch int) uint16 { return noise(x, y, ch) % 15 }
		case 2:
			p.before = mkChunk("tRNS", []byte{0, 1, 0, 0, 0, 0})
			p.at = func(x, y, ch int) uint16 { return noise(x, y, ch)/2 + 2 }
		}
		_, got, err := decodeAll(p.bytes(), false)
		if err != nil {
			t.Fatal(c, err)
		}
		same(t, fmt.Sprint("opaque ", c), got, want(p, nil))
	}
	// A palette of opaque colours isn't transparent.
	p := kind(3, 2, 9, 9)
	p.before = append(p.before, mkChunk("tRNS", []byte{255, 255})...)
	if f, err := open(p.bytes()); err != nil || f.Info().Alpha != "" {
		t.Error(err)
	}
}

func iccp(name string, icc []byte) []byte {
	return mkChunk("iCCP", cat([]byte(name), []byte{0, 0}, deflate(icc)))
}

// The order of what counts is the standard's: cICP, iCCP, sRGB, gAMA and cHRM.
func TestMeaning(t *testing.T) {
	op, _ := colour.Space("opRGB")
	profile := op.Bytes()
	gama := mkChunk("gAMA", be.AppendUint32(nil, 45455))
	chrm := mkChunk("cHRM", bytes.Join([][]byte{be.AppendUint32(nil, 31270), be.AppendUint32(nil, 32900), be.AppendUint32(nil, 64000), be.AppendUint32(nil, 33000),
		be.AppendUint32(nil, 30000), be.AppendUint32(nil, 60000), be.AppendUint32(nil, 15000), be.AppendUint32(nil, 6000)}, nil))
	srgb := mkChunk("sRGB", []byte{0})
	cases := []struct {
		name   string
		colour int
		before []byte
		icc    bool
		space  string
		says   string
		warns  int
	}{
		{"nothing", 2, nil, false, "", "", 0},
		{"iCCP", 2, iccp("Op", profile), true, "", `embedded profile "Op"`, 0},
		{"sRGB", 2, srgb, false, "sRGB", "sRGB (chunk sRGB)", 0},
		{"sRGB with its fallbacks", 2, cat(srgb, gama, chrm), false, "sRGB", "sRGB (chunk sRGB)", 0},
		{"sRGB on grey", 0, srgb, false, "", "names no colour space", 0},
		{"iCCP before sRGB", 2, cat(srgb, iccp("Op", profile)), true, "", "embedded", 0},
		{"gAMA", 2, gama, false, "", "gamma 0.45455 (gAMA); that names no colour space", 0},
		{"gAMA and cHRM", 2, cat(gama, chrm), false, "", "white (0.3127, 0.329), red (0.64, 0.33)", 0},
		{"cICP sRGB", 2, mkChunk("cICP", []byte{1, 13, 0, 1}), false, "sRGB", "cICP 1/13/0/1", 0},
		{"cICP Display P3", 6, mkChunk("cICP", []byte{12, 13, 0, 1}), false, "Display-P3", "cICP", 0},
		{"cICP before iCCP", 2, cat(mkChunk("cICP", []byte{12, 13, 0, 1}), iccp("Op", profile)), false, "Display-P3", "cICP", 0},
		{"unknown cICP", 2, cat(mkChunk("cICP", []byte{9, 1, 0, 1}), srgb), false, "", "9/1/0/1 (cICP), which name no space that is known here", 0},
		// PQ is 16 in ITU-T H.273, table 3.
		{"cICP of PQ", 2, cat(mkChunk("cICP", []byte{9, 16, 0, 1}), srgb), false, "", "9/16/0/1 (cICP), which name no space that is known here; its tones are stored by the curve PQ, as in none of a recipe's spaces", 0},
		{"unknown cICP with iCCP", 2, cat(mkChunk("cICP", []byte{9, 16, 0, 1}), iccp("Op", profile)), true, "", "embedded", 1},
	}
	for _, c := range cases {
		p := kind(c.colour, 16, 5, 4)
		p.before = c.before
		f, err := open(p.bytes())
		if err != nil {
			t.Fatal(c.name, err)
		}
		in := f.Info()
		if (in.ICC != nil) != c.icc || c.icc && !bytes.Equal(in.ICC, profile) {
			t.Errorf("%s: profile of %d bytes", c.name, len(in.ICC))
		}
		if in.Space != c.space || !strings.Contains(in.Says, c.says) || len(in.Warnings) != c.warns {
			t.Errorf("%s: space %q, says %q, warnings %q", c.name, in.Space, in.Says, in.Warnings)
		}
		if in.Space != "" {
			if _, ok := colour.Space(in.Space); !ok {
				t.Errorf("%s: there is no space %s", c.name, in.Space)
			}
		}
	}
	for name, before := range map[string][]byte{
		"matrix":      mkChunk("cICP", []byte{1, 13, 1, 1}),
		"video range": mkChunk("cICP", []byte{1, 13, 0, 0}),
		"twice":       cat(srgb, srgb),
	} {
		p := kind(2, 16, 5, 4)
		p.before = before
		if _, err := open(p.bytes()); err == nil {
			t.Error(name, "accepted")
		}
	}
	p := kind(2, 16, 5, 4)
	p.after = iccp("Op", profile)
	if _, err := open(p.bytes()); err == nil || !strings.Contains(err.Error(), "behind the picture") {
		t.Error("a profile behind the picture:", err)
	}
}

// The stored whole numbers a metre are given exactly and shown as meant, and
// don't drift.
func TestPixelsPerMetre(t *testing.T) {
	for _, c := range []struct {
		ppi, perMetre int64
	}{{300, 11811}, {240, 9449}, {254, 10000}, {72, 2835}, {96, 3780}, {360, 14173}, {1, 39}} { // the first three as the row says, the others common practice
		meant := big.NewRat(c.ppi, 1)
		at := meant
		for range 10 {
			n := perMetre(at)
			if n.Int64() != c.perMetre {
				t.Fatalf("%d ppi is written as %v a metre, want %d", c.ppi, n, c.perMetre)
			}
			p := kind(0, 8, 3, 3)
			p.before = mkChunk("pHYs", append(be.AppendUint32(be.AppendUint32(nil, uint32(n.Int64())), uint32(n.Int64())), 1))
			f, err := open(p.bytes())
			if err != nil {
				t.Fatal(err)
			}
			in := f.Info()
			if in.XPPI.Cmp(big.NewRat(c.perMetre*254, 10000)) != 0 || in.YPPI.Cmp(in.XPPI) != 0 {
				t.Fatalf("read as %v", in.XPPI)
			}
			if at = Shown(in.XPPI); at.Cmp(meant) != 0 {
				t.Fatalf("%d a metre is shown as %v", c.perMetre, at)
			}
		}
	}
	odd := big.NewRat(11812*254, 10000) // 300.0248: nobody's whole number
	if Shown(odd).Cmp(odd) != 0 {
		t.Errorf("%v is shown as %v", odd, Shown(odd))
	}
	for _, b := range [][]byte{{0, 0, 46, 35, 0, 0, 46, 35, 0}, {0, 0, 0, 0, 0, 0, 46, 35, 1}} {
		p := kind(0, 8, 3, 3)
		p.before = mkChunk("pHYs", b)
		f, err := open(p.bytes())
		if err != nil || f.Info().XPPI != nil || len(f.Info().Warnings) != 1 {
			t.Errorf("%v: %v", b, err)
		}
	}
}

// exifBlock is a block with an orientation, in either byte order.
func exifBlock(orientation byte, big bool) []byte {
	if big {
		return []byte("MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00" + string(orientation) + "\x00\x00\x00\x00\x00\x00")
	}
	return []byte("II*\x00\x08\x00\x00\x00\x01\x00\x12\x01\x03\x00\x01\x00\x00\x00" + string(orientation) + "\x00\x00\x00\x00\x00\x00\x00")
}

// The orientation is told and not applied: one step applies it, later.
func TestOrientation(t *testing.T) {
	plainPicture := kind(2, 8, 4, 2)
	_, plain, err := decodeAll(plainPicture.bytes(), false)
	if err != nil {
		t.Fatal(err)
	}
	for o := byte(1); o <= 8; o++ {
		for _, big := range []bool{false, true} {
			for _, behind := range []bool{false, true} {
				p := plainPicture
				if c := mkChunk("eXIf", exifBlock(o, big)); behind {
					p.after = c
				} else {
					p.before = c
				}
				f, got, err := decodeAll(p.bytes(), false)
				if err != nil {
					t.Fatal(err)
				}
				if f.Info().Orientation != int(o) {
					t.Errorf("orientation %d read as %d", o, f.Info().Orientation)
				}
				same(t, "as stored", got, plain)
			}
		}
	}
}

// An error of emit, or a cancelled context, ends the decoding with it.
func TestDecodeEnds(t *testing.T) {
	for _, lace := range []bool{false, true} {
		p := kind(2, 16, 900, 700)
		p.interlaced = lace
		f, err := open(p.bytes())
		if err != nil {
			t.Fatal(err)
		}
		stop := errors.New("stop")
		if err := f.Decode(context.Background(), 1, func(int, []uint16) error { return stop }); err != stop {
			t.Error(err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if err := f.Decode(ctx, 1, func(int, []uint16) error { return nil }); err != context.Canceled {
			t.Error(err)
		}
	}
}
