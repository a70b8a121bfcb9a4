package interp

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/audit"
	"platemark/ops/codec/tiff/tifftest"
	"platemark/ops/colour"
)

const withFiles = `recipe 1 draft
master "m.tif"
mask painted {
    file "masks/p.tif"
}
print p {
    size 1.5 in x 1 in at 192 ppi
    enlarge with mitchell as a
    enlarge with nearest as b
    blend a over b through painted
    convert to profile "p.icc" intent perceptual black-point off
    save tiff "p.tif"
}
`

// filesJob writes a job with a painted mask and a profile of its own.
func filesJob(t *testing.T, mask tifftest.Picture) (folder, file string) {
	t.Helper()
	folder, file = smallJob(t, withFiles)
	p, _ := colour.Space("Display-P3")
	write(t, filepath.Join(folder, "p.icc"), string(p.Bytes()))
	write(t, filepath.Join(folder, "masks", "p.tif"), string(tifftest.File{Pictures: []tifftest.Picture{mask}}.Bytes()))
	return folder, file
}

// half is a mask that is white in the left half of what is seen upright.
func half(w, h int) tifftest.Picture {
	return tifftest.Picture{W: w, H: h, C: 1, Bits: 8, At: func(x, _, _ int) uint16 {
		if x < w/2 {
			return 255
		}
		return 0
	}}
}

// A painted mask of another size than the master, and a profile file, are
// inputs with their digests; white lets the upper picture through.
func TestMaskAndProfileFiles(t *testing.T) {
	folder, file := filesJob(t, half(24, 16))
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	l, err := audit.ReadLog(b.Log)
	if err != nil {
		t.Fatal(err)
	}
	roles := map[string]string{}
	for _, in := range l.Inputs {
		roles[in.Role] = in.Path
	}
	if roles["master"] != "m.tif" || roles["mask"] != "masks/p.tif" || roles["profile"] != "p.icc" {
		t.Errorf("inputs %v", roles)
	}
	// Left and right of the border the print equals the one without a blend.
	alone := func(kernel string) []uint16 {
		text := strings.Replace(withFiles, "    enlarge with mitchell as a\n    enlarge with nearest as b\n    blend a over b through painted\n", "    enlarge with "+kernel+"\n", 1)
		text = strings.Replace(text, "mask painted {\n    file \"masks/p.tif\"\n}\n", "", 1)
		f := filepath.Join(folder, kernel+".recipe")
		write(t, f, strings.ReplaceAll(text, `"p.tif"`, `"`+kernel+`.tif"`))
		_, _, _, px := samples(t, mustBuild(t, f, LoadOptions{}, BuildOptions{})[0].File)
		return px
	}
	a, n := alone("mitchell"), alone("nearest")
	w, h, c, px := samples(t, b.File)
	for y := range h {
		for x := range w {
			want := a
			switch {
			case x > w*5/8:
				want = n
			case x > w*3/8:
				continue // the border, faded by scaling the mask
			}
			i := (y*w + x) * c
			if !equal(px[i:i+c], want[i:i+c]) {
				t.Fatalf("pixel %d, %d is %v, expected %v", x, y, px[i:i+c], want[i:i+c])
			}
		}
	}
	// A profile of its own bytes stands in the file.
	icc := read(t, filepath.Join(folder, "p.icc"))
	if !bytes.Contains(read(t, b.File), icc) {
		t.Error("the print file doesn't carry the profile")
	}
	// The reprint needs all three.
	os.Remove(b.File)
	again, err := Reprint(context.Background(), b.Log, ReprintOptions{})
	if err != nil || again.Sum != b.Sum {
		t.Errorf("%v", err)
	}
	os.Remove(filepath.Join(folder, "p.icc"))
	if _, err := Reprint(context.Background(), b.Log, ReprintOptions{BuildOptions: BuildOptions{Force: true}}); err == nil || !strings.Contains(err.Error(), "profile p.icc") {
		t.Errorf("%v", err)
	}
}

// A mask's own orientation is honoured: it lies over the upright master.
func TestMaskFileStandsUpright(t *testing.T) {
	_, file := filesJob(t, half(24, 16))
	want := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].Sum
	// Stored turned by a quarter: orientation 6 means that the stored top row
	// is the right side (TIFF 6.0, tag 274).
	turned := tifftest.Picture{W: 16, H: 24, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: 274, Type: 3, Values: []uint64{8}}},
		At: func(_, y, _ int) uint16 {
			// Orientation 8: the stored top row is the left side.
			if y < 12 {
				return 255
			}
			return 0
		}}
	_, file = filesJob(t, turned)
	if mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].Sum != want {
		t.Error("the turned mask gives another picture")
	}
}

// What can't be a mask is refused by name.
func TestMaskFilesRefused(t *testing.T) {
	_, file := filesJob(t, tifftest.Picture{W: 24, H: 16, C: 3, Bits: 8, At: func(x, y, c int) uint16 { return 0 }})
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "a mask is grey") {
		t.Errorf("%q", got)
	}
	_, file = filesJob(t, half(24, 20))
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "another shape") {
		t.Errorf("%q", got)
	}
}

// What is offered where the shapes differ can be done: a crop stands behind
// size, and a size whose sides were swapped is named where its shape is nearly
// the picture's.
func TestShapesThatDifferAreMended(t *testing.T) {
	folder, file := smallJob(t, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size 2 in x 3 in at 40 ppi\n    enlarge with cubic\n    save tiff \"p.tif\"\n}\n")
	writeMaster(t, filepath.Join(folder, "m.tif"), 100, 64, 3, "opRGB")
	got := problemsOf(t, file, LoadOptions{})
	for _, want := range []string{
		"the picture is 100 x 64 px (25:16), the print 2 in x 3 in: another shape",
		"`crop to 2:3` behind it would cut 57 px of its width",
		"`size 3 in x 2 in at 40 ppi` nearly fits: width stands first; `crop to 3:2` would then cut 4.0 %",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q lacks %q", got, want)
		}
	}
	text := string(read(t, file))
	for _, mend := range [][2]string{{"at 40 ppi\n", "at 40 ppi\n    crop to 2:3\n"}, {"2 in x 3 in at 40 ppi\n", "3 in x 2 in at 40 ppi\n    crop to 3:2\n"}} {
		write(t, file, strings.Replace(text, mend[0], mend[1], 1))
		mustLoad(t, file, LoadOptions{})
	}
}

// The file's orientation is applied once, and
// the print says it stands upright; all eight give one print.
func TestOrientationIsAppliedOnce(t *testing.T) {
	p, _ := colour.Space("opRGB")
	var want string
	for o := 1; o <= 8; o++ {
		folder, file := smallJob(t, tiny)
		pic := stored(96, 64, o)
		pic.Set = append(pic.Set, tifftest.Tag{Tag: 274, Type: 3, Values: []uint64{uint64(o)}}, tifftest.Bytes(34675, 7, p.Bytes()))
		write(t, filepath.Join(folder, "m.tif"), string(tifftest.File{Pictures: []tifftest.Picture{pic}}.Bytes()))
		b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
		got := string(read(t, b.File))
		if want == "" {
			want = got
		}
		if got != want {
			t.Errorf("orientation %d gives another print", o)
		}
	}
}

// stored is the picture of noise() as a file with orientation o holds it, by
// the sentence of TIFF 6.0 for each value: where the stored first row and
// first column lie when the picture is seen upright.
func stored(w, h, o int) tifftest.Picture {
	sw, sh := w, h
	if o >= 5 {
		sw, sh = h, w
	}
	return tifftest.Picture{W: sw, H: sh, C: 3, Bits: 16, At: func(col, row, c int) uint16 {
		var x, y int
		switch o {
		case 1: // row 0 top, column 0 left
			x, y = col, row
		case 2: // top, right
			x, y = w-1-col, row
		case 3: // bottom, right
			x, y = w-1-col, h-1-row
		case 4: // bottom, left
			x, y = col, h-1-row
		case 5: // left, top
			x, y = row, col
		case 6: // right, top
			x, y = w-1-row, col
		case 7: // right, bottom
			x, y = w-1-row, h-1-col
		case 8: // left, bottom
			x, y = row, h-1-col
		}
		return noise(x, y, c)
	}}
}

// Turns in prepare come after the file's own orientation, and undo each other.
func TestTurnsCompose(t *testing.T) {
	_, plain := smallJob(t, tiny)
	want := string(read(t, mustBuild(t, plain, LoadOptions{}, BuildOptions{})[0].File))
	for _, turns := range []string{"turn left\n turn right", "turn over\n turn over", "mirror\n mirror", "turn left\n turn left\n turn over", "mirror\n turn left\n mirror\n turn left"} {
		_, file := smallJob(t, strings.Replace(tiny, "print small", "prepare {\n "+turns+"\n}\nprint small", 1))
		if got := string(read(t, mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].File)); got != want {
			t.Errorf("%q: another print", turns)
		}
	}
}

// A grey master stays grey, and can be put into an RGB space.
func TestGreyMaster(t *testing.T) {
	folder, file := smallJob(t, tiny)
	writeMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 1, "grey-2.2")
	_, _, c, _ := samples(t, mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].File)
	if c != 1 {
		t.Errorf("%d channels", c)
	}
	write(t, file, strings.Replace(tiny, "    save", "    convert to sRGB\n    save", 1))
	_, _, c, px := samples(t, mustBuild(t, file, LoadOptions{}, BuildOptions{Force: true})[0].File)
	if c != 3 {
		t.Fatalf("%d channels", c)
	}
	for i := 0; i < len(px); i += 3 {
		if px[i] != px[i+1] || px[i] != px[i+2] {
			t.Fatalf("a grey became %v", px[i:i+3])
		}
	}
}

// 16 bits stay 16 bits through every step.
func TestDepthIsKept(t *testing.T) {
	_, file := smallJob(t, everyStep)
	for _, b := range mustBuild(t, file, LoadOptions{Prints: []string{"exact"}}, BuildOptions{}) {
		_, _, _, px := samples(t, b.File)
		levels := map[uint16]bool{}
		for _, v := range px {
			levels[v] = true
		}
		if len(levels) < 2000 {
			t.Errorf("only %d levels", len(levels))
		}
	}
}

// 300.5 ppi can't stand in a JPEG's first header; what it was
// rounded to is said in the plan and in the log.
func TestRoundedDensityIsSaid(t *testing.T) {
	text := strings.NewReplacer("96 ppi", "300.5 ppi", "1.5 in x 1 in", "3 in x 2 in", `tiff "small.tif"`, `jpeg "small.jpg"`).Replace(tiny)
	_, file := smallJob(t, text)
	j := mustLoad(t, file, LoadOptions{})
	said := ""
	for _, d := range j.Diags {
		said += d.Summary
	}
	if !strings.Contains(said, "301 ppi") {
		t.Errorf("%q", said)
	}
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	if l, err := audit.ReadLog(b.Log); err != nil || l.File.Args["density"] != "301" || l.File.Args["ppi"] != "601/2" {
		t.Errorf("%v %v", err, l.File.Args)
	}
}
