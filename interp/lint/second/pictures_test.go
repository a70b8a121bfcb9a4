//go:build outside

package second

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

// A raster is w x h px of n channels, 16 bits each.
type raster struct {
	w, h, n int
	codes   []uint16
}

// picture makes a raster of one of a few kinds: noise, slopes with a little noise,
// blocks of strong colours, or a grey ramp with points in it.
func picture(r *rand.Rand, w, h, n int) raster {
	p := raster{w, h, n, make([]uint16, 0, w*h*n)}
	kind, tilt, base := r.IntN(4), 1+r.IntN(500), r.IntN(30000)
	for y := range h {
		for x := range w {
			block := rand.New(rand.NewPCG(uint64(x/9), uint64(y/7+1000*base)))
			point := r.IntN(60) == 0
			for k := range n {
				v := r.IntN(65536)
				switch {
				case kind == 1:
					v = base + tilt*x/2 + 90*y*(k+1) + r.IntN(700)
				case kind == 2:
					v = block.IntN(65536) + r.IntN(300)
				case kind == 3 && !point:
					v = 65535 * (x + y) / (w + h)
				}
				p.codes = append(p.codes, uint16(min(v, 65535)))
			}
		}
	}
	return p
}

func (p raster) at(x, y, k int) uint16 { return p.codes[(y*p.w+x)*p.n+k] }

// png gives a file of 8 or 16 bits: grey, colour, or colour with alpha.
func (p raster) png(t *testing.T, bits int) []byte {
	box := image.Rect(0, 0, p.w, p.h)
	var im image.Image
	put := func(c color.Color, x, y int) {}
	switch {
	case p.n == 1 && bits == 8:
		g := image.NewGray(box)
		im, put = g, func(c color.Color, x, y int) { g.Set(x, y, c) }
	case p.n == 1:
		g := image.NewGray16(box)
		im, put = g, func(c color.Color, x, y int) { g.Set(x, y, c) }
	case bits == 8:
		g := image.NewNRGBA(box)
		im, put = g, func(c color.Color, x, y int) { g.Set(x, y, c) }
	default:
		g := image.NewNRGBA64(box)
		im, put = g, func(c color.Color, x, y int) { g.Set(x, y, c) }
	}
	for y := range p.h {
		for x := range p.w {
			if p.n == 1 {
				put(color.Gray16{Y: p.at(x, y, 0)}, x, y)
				continue
			}
			c := color.NRGBA64{R: p.at(x, y, 0), G: p.at(x, y, 1), B: p.at(x, y, 2), A: 65535}
			if p.n == 4 {
				c.A = p.at(x, y, 3)
			}
			put(c, x, y)
		}
	}
	var out bytes.Buffer
	if err := png.Encode(&out, im); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// tiff gives an uncompressed little-endian file of one strip.
func (p raster) tiff(bits, orientation int, profile []byte) []byte {
	var data []byte
	for _, v := range p.codes {
		if bits == 8 {
			data = append(data, byte(v>>8))
		} else {
			data = binary.LittleEndian.AppendUint16(data, v)
		}
	}
	data = append(data, 0)[:len(data)+len(data)%2]
	depth := bytes.Repeat([]byte{byte(bits), 0}, p.n)
	photometric := 1
	if p.n == 3 {
		photometric = 2
	}
	at := 8 + len(data)
	type entry struct{ tag, kind, count, value int }
	entries := []entry{
		{256, 4, 1, p.w}, {257, 4, 1, p.h}, {258, 3, p.n, bits}, {262, 3, 1, photometric}, {273, 4, 1, 8},
		{274, 3, 1, orientation}, {277, 3, 1, p.n}, {278, 4, 1, p.h}, {279, 4, 1, p.w * p.h * p.n * bits / 8},
	}
	var behind []byte
	if p.n == 3 {
		entries[2].value = at
		behind = append(behind, depth...)
	}
	if profile != nil {
		entries = append(entries, entry{34675, 7, len(profile), at + len(behind)})
		behind = append(behind, profile...)
	}
	behind = append(behind, 0)[:len(behind)+len(behind)%2]
	le := binary.LittleEndian
	out := le.AppendUint32([]byte("II*\x00"), uint32(at+len(behind)))
	out = append(append(out, data...), behind...)
	out = le.AppendUint16(out, uint16(len(entries)))
	for _, e := range entries {
		out = le.AppendUint16(le.AppendUint16(out, uint16(e.tag)), uint16(e.kind))
		out = le.AppendUint32(le.AppendUint32(out, uint32(e.count)), uint32(e.value))
	}
	return append(out, 0, 0, 0, 0)
}

// inputs writes a master and what recipes may read besides into dir, and gives
// what follows the word master and a writer for a recipe of it.
func inputs(t *testing.T, dir string, r *rand.Rand) (string, *writer) {
	t.Helper()
	put := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	profile := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join("../../../testdata/standards/profiles", name+".icc"))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	for _, name := range devices {
		put(name+".icc", profile(name))
	}
	w, h := 40+r.IntN(81), 40+r.IntN(81)
	grey := r.IntN(6) == 0
	n, space := 3, []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3"}[r.IntN(4)]
	if grey {
		n, space = 1, "grey-2.2"
	}
	wr := &writer{Rand: r, w: w, h: h, grey: grey}
	put("mended.png", picture(r, w, h, 3).png(t, 8+8*r.IntN(2)))
	mask := picture(r, w, h, 1).png(t, 16)
	wr.maskSum = sha256.Sum256(mask)
	put("mask.png", mask)
	put("turned.tif", picture(r, 2*h, 2*w, 1).tiff(8, 6, nil))
	bits := 8 + 8*r.IntN(2)
	switch r.IntN(4) {
	case 0:
		put("master.png", picture(r, w, h, n).png(t, bits))
		return `"master.png" space ` + space, wr
	case 1:
		if !grey {
			put("master.png", picture(r, w, h, 4).png(t, bits))
			return `"master.png" space ` + space + " on white", wr
		}
		fallthrough
	case 2:
		orientation := 1 + r.IntN(8)
		p := picture(r, w, h, n)
		if orientation > 4 {
			p.w, p.h = h, w
		}
		put("master.tif", p.tiff(bits, orientation, nil))
		return `"master.tif" space ` + space, wr
	default:
		names := []string{"oprgb_v4", "romm_v4", "srgb_v4", "rgb_lifted", "paper-2", "xyz-4", "scan-2"}
		if grey {
			names = []string{"grey_lifted"}
		}
		put("master.tif", picture(r, w, h, n).tiff(bits, 1, profile(names[r.IntN(len(names))])))
		return `"master.tif"`, wr
	}
}
