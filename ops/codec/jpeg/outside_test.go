//go:build outside

package jpeg

import (
	"bytes"
	"fmt"
	"os/exec"
	"testing"
)

// These tests run cjpeg and djpeg of libjpeg-turbo (Debian package
// libjpeg-turbo-progs) and fail without them.

func tool(t *testing.T, in []byte, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(name, args...)
	var out, complaints bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(in), &out, &complaints
	if err := cmd.Run(); err != nil || complaints.Len() > 0 {
		t.Fatalf("%s %v: %v %s", name, args, err, complaints.String())
	}
	return out.Bytes()
}

func pnm(pix []byte, w, h, c int) []byte {
	magic := "P6"
	if c == 1 {
		magic = "P5"
	}
	return append(fmt.Appendf(nil, "%s\n%d %d\n255\n", magic, w, h), pix...)
}

// sameAsLibjpeg says whether from 8-bit input the entropy coded data is
// cjpeg's, byte for byte.
func sameAsLibjpeg(t *testing.T, kind string, o Options) {
	t.Helper()
	pix := picture(kind, o.W, o.H, o.C)
	sampling := "1x1"
	if o.HalfChroma {
		sampling = "2x2"
	}
	args := []string{"-restart", "1", "-quality", fmt.Sprint(o.Quality), "-baseline", "-sample", sampling, "-dct", "int"}
	if o.C == 1 {
		args = append(args, "-grayscale")
	}
	want := entropyOf(tool(t, pnm(pix, o.W, o.H, o.C), "cjpeg", args...))
	got := entropyOf(mustEncode(t, o, wide(pix)))
	if !bytes.Equal(got, want) {
		t.Errorf("%s %dx%dx%d half %v quality %d: entropy coded data differs from cjpeg's (%d bytes, %d)",
			kind, o.W, o.H, o.C, o.HalfChroma, o.Quality, len(got), len(want))
	}
}

func TestSameBytesAsLibjpeg(t *testing.T) {
	for _, s := range shapes {
		for _, kind := range kinds {
			for _, q := range []int{1, 10, 24, 50, 75, 90, 95, 99, 100} {
				sameAsLibjpeg(t, kind, Options{W: s.w, H: s.h, C: s.c, Quality: q, HalfChroma: s.half})
			}
		}
	}
}

// All of the frozen vectors from 8-bit input, and every quality.
func TestFrozenSameBytesAsLibjpeg(t *testing.T) {
	for _, v := range vectors(t) {
		if v.eight {
			sameAsLibjpeg(t, v.kind, v.o)
		}
	}
	for q := 1; q <= 100; q++ {
		sameAsLibjpeg(t, "edges", Options{W: 90, H: 50, C: 3, Quality: q, HalfChroma: q%2 == 0})
	}
}

// The longest sides, as far as libjpeg goes.
func TestLongSidesSameAsLibjpeg(t *testing.T) {
	for _, half := range []bool{false, true} {
		sameAsLibjpeg(t, "noise", Options{W: safeSide, H: 1, C: 3, Quality: 90, HalfChroma: half})
		sameAsLibjpeg(t, "noise", Options{W: 1, H: safeSide, C: 3, Quality: 90, HalfChroma: half})
	}
}

// djpeg reads our files without a word and gives a picture of the right size.
func TestReadByLibjpeg(t *testing.T) {
	for _, s := range shapes {
		pix := picture("smooth", s.w, s.h, s.c)
		o := Options{W: s.w, H: s.h, C: s.c, Quality: 100, HalfChroma: s.half, PPI: ratOf("300"),
			ICC: bytes.Repeat([]byte{1, 2, 3}, 50000), Title: "Étude", Rights: "all rights reserved"}
		file, err := encode(o, wide(pix))
		if err != nil {
			t.Fatal(err)
		}
		got := tool(t, file, "djpeg", "-dct", "int", "-pnm")
		head := len(pnm(nil, s.w, s.h, s.c))
		if !bytes.Equal(got[:head], pnm(nil, s.w, s.h, s.c)) || len(got) != head+len(pix) {
			t.Fatalf("%v: djpeg gives another size", s)
		}
	}
}
