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

// From 8-bit input the entropy coded data is cjpeg's, byte for byte.
func TestSameBytesAsLibjpeg(t *testing.T) {
	for _, s := range shapes {
		for _, kind := range kinds {
			pix := picture(kind, s.w, s.h, s.c)
			for _, q := range []int{1, 10, 24, 50, 75, 90, 95, 99, 100} {
				sampling := "1x1"
				if s.half {
					sampling = "2x2"
				}
				args := []string{"-restart", "1", "-quality", fmt.Sprint(q), "-baseline", "-sample", sampling, "-dct", "int"}
				if s.c == 1 {
					args = append(args, "-grayscale")
				}
				want := tool(t, pnm(pix, s.w, s.h, s.c), "cjpeg", args...)
				got, err := encode(Options{W: s.w, H: s.h, C: s.c, Quality: q, HalfChroma: s.half}, wide(pix))
				if err != nil {
					t.Fatal(err)
				}
				if !bytes.Equal(entropyOf(got), entropyOf(want)) {
					t.Fatalf("%v %s quality %d: entropy coded data differs from cjpeg's (%d bytes, %d)", s, kind, q, len(entropyOf(got)), len(entropyOf(want)))
				}
			}
		}
	}
}

// djpeg reads our files without a word and gives what it gives for cjpeg's.
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
