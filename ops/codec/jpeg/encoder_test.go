package jpeg

import (
	"bytes"
	"testing"
)

// The fast encoder equals the plain one, for 8-bit and full 16-bit input.
func TestFastEqualsPlain(t *testing.T) {
	for _, s := range shapes {
		for _, kind := range kinds {
			eight := picture(kind, s.w, s.h, s.c)
			low := picture("noise", s.w, s.h, s.c)
			sixteen := make([]uint16, len(eight))
			for i := range eight {
				sixteen[i] = uint16(eight[i])<<8 | uint16(low[i])
			}
			for _, pix := range [][]uint16{wide(eight), sixteen} {
				for _, q := range []int{1, 37, 90, 100} {
					o := Options{W: s.w, H: s.h, C: s.c, Quality: q, HalfChroma: s.half}
					file, err := encode(o, pix)
					if err != nil {
						t.Fatal(err)
					}
					if !bytes.Equal(entropyOf(file), plainEntropy(o, pix)) {
						t.Fatalf("%v %s quality %d differs from the plain encoder", s, kind, q)
					}
				}
			}
		}
	}
}
