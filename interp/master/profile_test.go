package master

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// What describe says of profiles: a press for looking only, a space of curves,
// and one of which two texts overlap, which opens as an input too.
func TestDescribeProfiles(t *testing.T) {
	srgb, _ := colour.Space("sRGB")
	icc := srgb.Bytes()
	icc[bytes.Index(icc[132:], []byte("desc"))+132+8+3] = 0x60 // its size reaches into cprt
	overlap := filepath.Join(t.TempDir(), "overlap.icc")
	if err := os.WriteFile(overlap, icc, 0o600); err != nil {
		t.Fatal(err)
	}
	const folder = "../../testdata/standards/profiles/"
	for path, want := range map[string]Description{
		folder + "FOGRA39L_coated.icc": {Colour: "CMYK", White: "L* 95.0, a* 0.0, b* -2.0", Intents: "tables for perceptual, relative, saturation",
			Gamut: "0.41 million cubic units of CIELAB (sRGB has 0.83)", Use: "look only: a proof shows what this press makes of a print; pictures are made in RGB or grey"},
		folder + "oprgb_v4.icc": {Colour: "RGB", White: "L* 100.0, a* 0.0, b* 0.0", Black: "L* 0.0, a* 0.0, b* 0.0",
			Intents: "relative and absolute; without tables the others are as relative", Gamut: "1.21 million cubic units of CIELAB (sRGB has 0.83)"},
		overlap: {Colour: "RGB", Warnings: []string{`two of the profile's texts overlap (tags "desc" and "cprt")`}},
	} {
		d, err := Describe(context.Background(), path, 1)
		if err != nil || d.Refused != "" {
			t.Fatalf("%s: %v %s", path, err, d.Refused)
		}
		for _, f := range [][2]string{{d.Colour, want.Colour}, {d.White, want.White}, {d.Black, want.Black}, {d.Intents, want.Intents}, {d.Gamut, want.Gamut}} {
			if f[0] != f[1] && f[1] != "" {
				t.Errorf("%s: %q, expected %q", path, f[0], f[1])
			}
		}
		if d.Use != want.Use || !strings.HasPrefix(strings.Join(d.Warnings, ";"), strings.Join(want.Warnings, ";")) || len(d.Warnings) != len(want.Warnings) {
			t.Errorf("%s: use %q, warnings %q", path, d.Use, d.Warnings)
		}
	}
	in, err := Open(context.Background(), RoleProfile, overlap, overlap, false)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	if w := in.Warnings(); len(w) != 1 || !strings.Contains(w[0], "overlap") {
		t.Errorf("%q", w)
	}
}
