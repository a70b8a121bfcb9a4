package png

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"platemark/ops/codec"
	"platemark/ops/codec/exif"
)

// spent runs f and says what it allocated in all, and how long it took.
func spent(f func()) (uint64, time.Duration) {
	var a, b runtime.MemStats
	runtime.ReadMemStats(&a)
	began := time.Now()
	f()
	took := time.Since(began)
	runtime.ReadMemStats(&b)
	return b.TotalAlloc - a.TotalAlloc, took
}

// refused checks that reading b ends with an *Error, within a second and under
// 64 MiB.
func refused(t *testing.T, name string, b []byte, words ...string) {
	t.Helper()
	var err error
	memory, took := spent(func() { _, _, err = decodeAll(b, true) })
	var e *codec.Error
	if !errors.As(err, &e) {
		t.Errorf("%s: %v", name, err)
		return
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%s: %q doesn't say %q", name, err, w)
		}
	}
	if memory > 64<<20 || took > time.Second {
		t.Errorf("%s: took %d MiB and %v", name, memory>>20, took)
	}
}

// Headers that claim great pictures with 16 bytes of data are refused with
// their numbers before memory is set aside.
func TestClaimsOfSize(t *testing.T) {
	sixteen := make([]byte, 16)
	for _, side := range []int{65535, 300000, codec.MaxSide, codec.MaxSide + 1, 1<<31 - 1} {
		for _, k := range kinds {
			for _, lace := range []bool{false, true} {
				p := picture{w: side, h: side, depth: k[1], colour: k[0], interlaced: lace}
				if k[0] == 3 {
					p.before = mkChunk("PLTE", testPalette(1))
				}
				refused(t, fmt.Sprint(side, k, lace), p.with(sixteen), fmt.Sprintf("%d x %d pixels", side, side))
			}
		}
	}
	// A real bomb: 1032 times its size, cut off where the picture should end.
	bomb := deflate(make([]byte, 20<<20))
	p := picture{w: 50, h: 50, depth: 16, colour: 6}
	refused(t, "rows behind the last", p.with(bomb), "go on behind its last row")
	p = picture{w: 65535, h: 65535, depth: 16, colour: 6}
	refused(t, "a bomb with a large claim", p.with(bomb), "65535 x 65535")
	p = kind(2, 8, 4, 4)
	icc := append([]byte{0, 0, 1, 0}, make([]byte, 20<<20)...)
	p.before = iccp("bomb", icc)
	refused(t, "a bomb as profile", p.bytes(), "its data go on")
	icc[0] = 0x40
	p.before = iccp("bomb", icc)
	refused(t, "a profile that claims a gigabyte", p.bytes(), "claims 1073742080 bytes")
}

// Loops in the Exif block, as in TIFF files.
func TestExifLoops(t *testing.T) {
	dir := func(entries string, n byte, next byte) string {
		return "\x00" + string(n) + entries + "\x00\x00\x00" + string(next)
	}
	pointer := func(tag string, to byte) string { return tag + "\x00\x04\x00\x00\x00\x01\x00\x00\x00" + string(to) }
	for name, block := range map[string]string{
		"itself":       dir("", 0, 8),
		"a to b to a":  dir("", 0, 14) + dir("", 0, 8),
		"its parent":   dir(pointer("\x87\x69", 8), 1, 0),
		"sub to sub":   dir(pointer("\x87\x69", 26), 1, 0) + dir(pointer("\xa0\x05", 26), 1, 0),
		"preview loop": dir("", 0, 14) + dir("", 0, 14),
	} {
		b := []byte("MM\x00*\x00\x00\x00\x08" + block)
		if _, err := exif.Read(b); err == nil || !strings.Contains(err.Error(), "circle") {
			t.Errorf("%s: %v", name, err)
		}
		p := kind(0, 8, 3, 3)
		p.before = mkChunk("eXIf", b)
		refused(t, name, p.bytes(), "eXIf", "circle")
	}
}

func small4() [][]byte {
	var out [][]byte
	for _, k := range kinds {
		p := kind(k[0], k[1], 5, 4)
		p.interlaced = k[1]%3 == 1
		p.split = 20
		p.before = append(p.before, mkChunk("pHYs", []byte{0, 0, 46, 35, 0, 0, 46, 35, 1})...)
		p.before = append(p.before, iccp("p", append([]byte{0, 0, 0, 200}, make([]byte, 196)...))...)
		p.after = cat(mkChunk("eXIf", exifBlock(6, true)), mkChunk("tEXt", []byte("a\x00b")))
		out = append(out, p.bytes())
	}
	return out
}

// Small files cut at every byte are errors, and so is every changed byte: the
// checksums cover them all.
func TestCutAndChanged(t *testing.T) {
	for n, b := range small4() {
		if _, _, err := decodeAll(b, true); err != nil {
			t.Fatal(n, err)
		}
		for i := range b {
			var e *codec.Error
			if _, _, err := decodeAll(b[:i], true); !errors.As(err, &e) {
				t.Fatalf("file %d cut at %d: %v", n, i, err)
			}
		}
		for i := range b {
			c := bytes.Clone(b)
			c[i] ^= 0x40
			var e *codec.Error
			if _, _, err := decodeAll(c, true); !errors.As(err, &e) {
				t.Fatalf("file %d changed at %d: %v", n, i, err)
			}
		}
	}
}

// What stands at odds with the standard is refused by name.
func TestRefused(t *testing.T) {
	plain := kind(2, 8, 4, 4)
	ihdr := func(at int, v byte) []byte {
		h := plain.header()
		h[at] = v
		return cat([]byte(signature), mkChunk("IHDR", h), mkChunk("IDAT", deflate(plain.raw())), mkChunk("IEND", nil))
	}
	with := func(before, after []byte) []byte {
		p := plain
		p.before, p.after = before, after
		return p.bytes()
	}
	raw := plain.raw()
	long := bytes.Clone(raw)
	filter := bytes.Clone(raw)
	filter[13] = 5
	far := kind(3, 2, 4, 4)
	far.before = mkChunk("PLTE", testPalette(1))
	dict := deflate(raw)
	dict[1] |= 0x20
	for name, b := range map[string][]byte{
		"empty":             nil,
		"another signature": []byte("GIF89a, but longer"),
		"line ends changed": bytes.Replace(plain.bytes(), []byte("\r\n"), []byte("\n"), 1),
		"no width":          ihdr(3, 0),
		"3 bits":            ihdr(8, 3),
		"colour type 5":     ihdr(9, 5),
		"compression 1":     ihdr(10, 1),
		"filter 1":          ihdr(11, 1),
		"interlace 2":       ihdr(12, 2),
		"no IHDR":           cat([]byte(signature), mkChunk("IDAT", deflate(raw)), mkChunk("IEND", nil)),
		"two IHDR":          with(mkChunk("IHDR", plain.header()), nil),
		"no IDAT":           cat([]byte(signature), mkChunk("IHDR", plain.header()), mkChunk("IEND", nil)),
		"IDAT in two parts": with(nil, cat(mkChunk("tEXt", []byte("a\x00b")), mkChunk("IDAT", nil))),
		"a critical chunk":  with(mkChunk("ABCD", nil), nil),
		"no palette":        kindWithout(3, 2).bytes(),
		"index beyond":      far.bytes(),
		"palette on grey":   func() []byte { p := kind(0, 8, 3, 3); p.before = mkChunk("PLTE", testPalette(1)); return p.bytes() }(),
		"tRNS with alpha":   func() []byte { p := kind(6, 8, 3, 3); p.before = mkChunk("tRNS", []byte{0, 0}); return p.bytes() }(),
		"tRNS too short":    with(mkChunk("tRNS", []byte{0, 0}), nil),
		"an unknown filter": plain.with(deflate(filter)),
		"a row too few":     plain.with(deflate(raw[:len(raw)-13])),
		"a byte too many":   plain.with(deflate(append(long, 0))),
		"a dictionary":      plain.with(dict),
		"not zlib":          plain.with([]byte("no zlib data at all, but long enough")),
		"Adler":             plain.with(func() []byte { d := deflate(raw); d[len(d)-1] ^= 1; return d }()),
		"profile of 3":      with(iccp("x", []byte{0, 0, 0}), nil),
		"profile, method 1": with(mkChunk("iCCP", []byte("x\x00\x01abc")), nil),
		"profile, no name":  with(mkChunk("iCCP", []byte("\x00\x00abc")), nil),
		"sRGB of 2":         with(mkChunk("sRGB", []byte{0, 0}), nil),
		"gAMA of 3":         with(mkChunk("gAMA", []byte{0, 0, 1}), nil),
		"cHRM of 31":        with(mkChunk("cHRM", make([]byte, 31)), nil),
		"cICP of 3":         with(mkChunk("cICP", make([]byte, 3)), nil),
		"pHYs of 8":         with(mkChunk("pHYs", make([]byte, 8)), nil),
		"eXIf of 3":         with(mkChunk("eXIf", []byte("MM\x00")), nil),
		"eXIf too long":     with(mkChunk("eXIf", make([]byte, maxExif+1)), nil),
	} {
		refused(t, name, b)
	}
	// Bytes behind the end do no harm.
	f, got, err := decodeAll(append(plain.bytes(), "and more"...), false)
	if err != nil || len(f.Info().Warnings) != 1 {
		t.Error(err, f.Info().Warnings)
	}
	same(t, "bytes behind the end", got, want(plain, nil))
}

func kindWithout(colour, depth int) picture {
	return picture{w: 3, h: 3, depth: depth, colour: colour, at: mix(depth)}
}

// Files of empty chunks end in an error within the time.
func TestManyChunks(t *testing.T) {
	p := kind(0, 8, 3, 3)
	text, data := mkChunk("tEXt", nil), mkChunk("IDAT", nil)
	p.before = bytes.Repeat(text, maxOthers-10)
	if _, _, err := decodeAll(p.bytes(), false); err != nil {
		t.Error(err)
	}
	p.before = bytes.Repeat(text, maxOthers+1)
	refused(t, "many texts", p.bytes(), "more than 65536 chunks")
	p.before = bytes.Repeat(data, maxChunks)
	refused(t, "many IDAT", p.bytes(), "more than 1048575 chunks")
}

type failing struct {
	io.ReaderAt
	from int64
}

var errDisk = errors.New("the disk fails")

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > f.from {
		return 0, errDisk
	}
	return f.ReaderAt.ReadAt(p, off)
}

// A failing disk isn't called a damaged file.
func TestFailingReader(t *testing.T) {
	b := small4()[3]
	f, err := open(b)
	if err != nil {
		t.Fatal(err)
	}
	for i := range int64(len(b)) {
		if _, err := Open(failing{bytes.NewReader(b), i}, int64(len(b))); !errors.Is(err, errDisk) {
			t.Fatalf("at %d: %v", i, err)
		}
	}
	f.src.R = failing{f.src.R, int64(f.idat) + 30}
	f = f.OnWhite()
	if err := f.Decode(context.Background(), 1, func(int, []uint16) error { return nil }); !errors.Is(err, errDisk) {
		t.Error(err)
	}
}

// Whatever the bytes: no panic, an *Error or all rows, and memory that goes
// with the size of the picture.
func FuzzPNG(f *testing.F) {
	for _, b := range small4() {
		f.Add(b)
	}
	for _, claim := range []int{65535, 300000} {
		f.Add(picture{w: claim, h: claim, depth: 16, colour: 2}.with(make([]byte, 16)))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, got, err := decodeAll(b, true)
		if err != nil {
			var e *codec.Error
			if !errors.As(err, &e) {
				t.Fatal(err)
			}
			return
		}
		in := file.Info()
		if len(got) != in.W*in.H*in.Channels {
			t.Fatalf("%d samples for %d x %d x %d", len(got), in.W, in.H, in.Channels)
		}
		_, again, err := decodeAll(b, true)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "again", again, got)
	})
}

// FuzzPNGData changes what the checksums would hide: the chunks' contents.
func FuzzPNGData(f *testing.F) {
	for _, k := range kinds {
		p := kind(k[0], k[1], 5, 4)
		f.Add(byte(k[0]), byte(k[1]), k[1] == 8, p.raw(), []byte("tRNS"), []byte{0, 1})
	}
	f.Add(byte(2), byte(8), false, kind(2, 8, 5, 4).raw(), []byte("eXIf"), exifBlock(3, false))
	f.Add(byte(2), byte(8), true, kind(2, 8, 5, 4).raw(), []byte("iCCP"), iccp("x", make([]byte, 200))[8:])
	f.Add(byte(2), byte(8), true, kind(2, 8, 5, 4).raw(), []byte("cICP"), []byte{1, 13, 0, 1})
	f.Fuzz(func(t *testing.T, colour, depth byte, lace bool, raw, name, data []byte) {
		if len(name) != 4 {
			return
		}
		p := picture{w: 5, h: 4, depth: int(depth), colour: int(colour), interlaced: lace}
		if colour == 3 {
			p.before = mkChunk("PLTE", testPalette(1))
		}
		p.before = append(p.before, mkChunk(string(name), data)...)
		_, got, err := decodeAll(p.with(deflate(raw)), true)
		var e *codec.Error
		if err != nil && !errors.As(err, &e) {
			t.Fatal(err)
		}
		if err == nil && len(got) != 20 && len(got) != 60 {
			t.Fatal(len(got))
		}
	})
}
