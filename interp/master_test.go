package interp

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/audit"
	"platemark/ops/codec/tiff/tifftest"
	"platemark/ops/colour"
)

const plain = `recipe 1 draft
master "m.tif"
print p {
    size 96 px x 64 px at 96 ppi
    save tiff "p.tif"
}
`

// alphaMaster is a red picture, half transparent in its left half.
func alphaMaster(kind uint64, left uint16) tifftest.Picture {
	p, _ := colour.Space("opRGB")
	return tifftest.Picture{W: 96, H: 64, C: 4, Bits: 16,
		At: func(x, _, c int) uint16 {
			a := uint16(65535)
			if x < 48 {
				a = left
			}
			switch c {
			case 0:
				return a // associated: multiplied by alpha already
			case 3:
				return a
			}
			return 0
		},
		Set: []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{kind}}, tifftest.Bytes(34675, 7, p.Bytes())}}
}

// A master with alpha is laid on white where the recipe says so, refused where
// it doesn't and anything shines through, read where it is opaque.
func TestMasterOnWhite(t *testing.T) {
	folder, file := smallJob(t, plain)
	put := func(p tifftest.Picture) {
		write(t, filepath.Join(folder, "m.tif"), string(tifftest.File{Pictures: []tifftest.Picture{p}}.Bytes()))
	}
	put(alphaMaster(1, 32768))
	j := mustLoad(t, file, LoadOptions{})
	if _, err := Build(context.Background(), j, BuildOptions{}); err == nil || !strings.Contains(err.Error(), "on white") {
		t.Errorf("without a word on alpha: %v", err)
	}
	plainMark := j.Plans[0].Mark
	write(t, file, strings.Replace(plain, `"m.tif"`, `"m.tif" on white`, 1))
	j = mustLoad(t, file, LoadOptions{})
	if j.Plans[0].Mark == plainMark {
		t.Error("`on white` doesn't change the mark")
	}
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	_, _, _, px := samples(t, b.File)
	// Red at half: 65535 red; green and blue are the white that shines
	// through, 65535 - 32768 (hand calculation).
	for i, want := range []uint16{65535, 32767, 32767} {
		if px[i] != want {
			t.Errorf("channel %d is %d, expected %d", i, px[i], want)
		}
	}
	if again, err := Reprint(context.Background(), b.Log, ReprintOptions{BuildOptions: BuildOptions{Out: t.TempDir()}}); err != nil || again.Sum != b.Sum {
		t.Errorf("reprint: %v", err)
	}
	// Opaque everywhere: nothing to say.
	put(alphaMaster(2, 65535))
	write(t, file, plain)
	mustBuild(t, file, LoadOptions{}, BuildOptions{Out: t.TempDir()})
}

// writeFloatMaster writes 96 x 64 px of 32-bit floats in opRGB, grey but for the
// first column, whose red lies beyond white.
func writeFloatMaster(t *testing.T, path string) {
	t.Helper()
	p, _ := colour.Space("opRGB")
	pic := tifftest.Picture{W: 96, H: 64, C: 3, Bits: 32, Float: true,
		Raw: func(x, y, c int) uint64 {
			v := float32(0.5)
			if x == 0 && c == 0 {
				v = 1.25
			}
			return uint64(math.Float32bits(v))
		},
		Set: []tifftest.Tag{tifftest.Bytes(34675, 7, p.Bytes())}}
	write(t, path, string(tifftest.File{Pictures: []tifftest.Picture{pic}}.Bytes()))
}

// Samples beyond white are clipped, and the build says how many.
func TestClippedSamplesAreSaid(t *testing.T) {
	folder, file := smallJob(t, plain)
	writeFloatMaster(t, filepath.Join(folder, "m.tif"))
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	// 64 of 96 · 64 · 3 samples (hand calculation).
	if len(b.Warnings) != 1 || !strings.Contains(b.Warnings[0], "64") || !strings.Contains(b.Warnings[0], "clipped") {
		t.Errorf("%q", b.Warnings)
	}
	if _, _, _, px := samples(t, b.File); px[0] != 65535 || px[1] != 32768 {
		t.Errorf("%v", px[:3])
	}
}

const withTone = `recipe 1 draft
master "m.tif"
paper baryta {
    profile "b.icc"
}
paper rag {
    profile "r.icc"
}
mask low {
    rectangle at (50%, 80%) size 100% x 20% soft 40%
}
prepare {
    tone for baryta {
        exposure +0.15 stops
        warmth   -2 mired
        contrast 4%
        curve    (0, 0), (25, 23), (100, 100)
        chroma   +3%
    }
    tone for rag through low {
        exposure +0.35 stops
        local contrast 10% radius 1%
        muted chroma 10%
    }
}
print one on baryta {
    size 1.5 in x 1 in at 96 ppi
    enlarge with mitchell
    border 0.1 in colour grey 95
    save tiff "one.tif"
}
print two on rag {
    size 1.5 in x 1 in at 96 ppi
    enlarge with mitchell
    wrap 0.1 in continued reflected
    save tiff "two.tif"
}
print three {
    size 1.5 in x 1 in at 96 ppi
    enlarge with mitchell
    mix red 40% green 40% blue 20%
    tint hue 70 deg chroma 6%
    save tiff "three.tif"
}
`

// A tone for a paper acts in the prints on it alone; border and wrap lie
// outside the size.
func TestTonesForPapers(t *testing.T) {
	folder, file := smallJob(t, withTone)
	for i, b := range mustBuild(t, file, LoadOptions{}, BuildOptions{}) {
		l, err := audit.ReadLog(b.Log)
		if err != nil {
			t.Fatal(err)
		}
		ops := ""
		for _, s := range l.Steps {
			ops += s.Operation + " "
			if s.Operation == "tone" && i == 0 && (s.Args["exposure"] != "3/20" || s.Args["warmth"] != "-2" || s.Args["contrast"] != "1/25" || s.Args["curve"] != "0 0 25 23 100 100" || s.Args["chroma"] != "3/100") {
				t.Errorf("%v", s.Args)
			}
		}
		want := []string{"tone enlarge border ", "mask tone enlarge wrap ", "enlarge mix tint "}[i]
		if ops != want {
			t.Errorf("print %s: %s, expected %s", b.Print, ops, want)
		}
		// 144 x 96 px, and 0.1 in at 96 ppi is 9.6, rounded to 10 px a side.
		if size := [][2]int{{164, 116}, {164, 116}, {144, 96}}[i]; b.W != size[0] || b.H != size[1] {
			t.Errorf("print %s is %d x %d", b.Print, b.W, b.H)
		}
	}
	// L* 95 in opRGB: Y = ((95 + 16) / 116)³ = 0.87619, its 1/2.19921875th
	// power times 65535 is 61711 (hand calculation).
	_, _, _, px := samples(t, filepath.Join(folder, "one.tif"))
	for _, v := range px[:3] {
		if v < 61709 || v > 61713 {
			t.Errorf("the border is %v", px[:3])
		}
	}
}

// Only border, wrap and save may follow the colours of a printer, and prepare
// can't work in them.
func TestPrinterColoursComeLast(t *testing.T) {
	folder, file := smallJob(t, "")
	write(t, filepath.Join(folder, "b.icc"), string(read(t, "../testdata/standards/profiles/rgbprint_v2.icc")))
	recipe := func(prepare, print string) {
		write(t, file, `recipe 1 draft
master "m.tif"
paper baryta {
    profile "b.icc"
}
prepare {
`+prepare+`}
print p on baryta {
    size 1.5 in x 1 in at 96 ppi
    enlarge with mitchell
`+print+`    save tiff "p.tif"
}
`)
	}
	recipe("", "    convert to baryta\n    border 5 px\n")
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "error") {
		t.Errorf("%q", got)
	}
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	if !strings.Contains(string(read(t, b.File)), string(read(t, filepath.Join(folder, "b.icc")))) {
		t.Error("the print doesn't carry the paper's profile")
	}
	recipe("    convert to baryta\n", "")
	if got := problemsOf(t, file, LoadOptions{Force: true}); !strings.Contains(got, "prepare can't work in the colours of a printer") {
		t.Errorf("%q", got)
	}
	recipe("", "    convert to baryta\n    border 5 px colour grey 50\n")
	if got := problemsOf(t, file, LoadOptions{Force: true}); !strings.Contains(got, "a grey can't be mixed") {
		t.Errorf("%q", got)
	}
}
