package compare

import (
	"context"
	"image"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp"
	"platemark/interp/engine"
	"platemark/interp/interptest"
	"platemark/ops/raster"
)

func viewOf(t *testing.T, a, b, print string, o ViewOptions) (*Diff, *View, error) {
	t.Helper()
	x, err := Open(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	y, err := Open(context.Background(), b)
	if err != nil {
		t.Fatal(err)
	}
	defer y.Close()
	d, err := Sides(x, y, print)
	if err != nil {
		t.Fatal(err)
	}
	v, err := Pictures(context.Background(), x, y, d, o)
	return d, v, err
}

// The figures of a picture against itself are nought; a change shows where it
// was made and nowhere else, and each change says the share that it touches.
func TestComparePictures(t *testing.T) {
	folder, a := interptest.SmallJob(t, diffBase)
	b := filepath.Join(folder, "b.recipe")
	interptest.Write(t, b, diffBase)
	o := ViewOptions{Width: 75, Section: 60, Sections: 3}
	if _, v, err := viewOf(t, a, b, "large", o); err != nil || v.Whole.Largest != 0 || len(v.Sections) != 0 || !v.Aligned || v.W != 75 || v.H != 50 {
		t.Fatalf("%+v %v", v, err)
	}
	// Without a name, three prints are too many.
	if _, _, err := viewOf(t, a, b, "", o); err == nil || !strings.Contains(err.Error(), "--print") {
		t.Errorf("%v", err)
	}
	// The mask: 40 % of 96 px round 75 % of 64 px, that is from row 28.8 down,
	// the whole width. A fifth of half its height, 3.84 px, fades inside each
	// edge, at half on average: (35.2 - 1.92)/64 of the height, (96 - 3.84)/96
	// of the width.
	interptest.Write(t, b, edit(t, diffBase, "amount 190%", "amount 400%", "at (68%, 20%) radius 1%", "at (68%, 20%) radius 0.5%"))
	d, v, err := viewOf(t, a, b, "large", o)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Changes) != 2 || len(v.Shares) != 2 {
		t.Fatalf("%+v", d.Changes)
	}
	// pi r^2 of a spot of 1 % of 96 px, on 96 x 64 px.
	if want := math.Pi * 0.96 * 0.96 / (96 * 64); math.Abs(v.Shares[0]-want) > 1e-12 {
		t.Errorf("the spot touches %v, expected %v", v.Shares[0], want)
	}
	if math.Abs(v.Shares[1]-0.4992) > 0.002 {
		t.Errorf("the sharpening touches %v of the picture", v.Shares[1])
	}
	if v.Whole.Largest == 0 || len(v.Sections) == 0 || len(v.Regions) != 9 {
		t.Fatalf("%+v", v.Whole)
	}
	if top, low := v.Regions[0], v.Regions[6]; top.Largest != 0 || low.Mean == 0 {
		t.Errorf("top left %+v, bottom left %+v", top, low)
	}
	for _, s := range v.Sections {
		if s.A.W != 60 || s.A.H != 60 || !s.Aligned || s.Mean == 0 || s.AX+60 > 300 || s.AY+60 > 200 {
			t.Errorf("section %d, %d of %d x %d, mean %v", s.AX, s.AY, s.A.W, s.A.H, s.Mean)
		}
	}
	// Another shape can't be laid over.
	interptest.Write(t, b, edit(t, diffBase, "crop to 4:3", "crop to 1:1"))
	if _, v, err := viewOf(t, a, b, "card", o); err != nil || v.Aligned || v.Why == "" || v.Delta != nil {
		t.Errorf("%+v %v", v, err)
	}
}

// The small picture is near the area mean of the whole, and a border keeps its
// place; what is finer than its pixels, here a kernel, still leads to places at
// 100 %, where it shows.
func TestSmallPicturesOfComparison(t *testing.T) {
	const text = "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n size 640 px x 480 px at 100 ppi\n crop to 4:3\n enlarge with mitchell\n border 0.2 in\n save tiff \"p.tif\"\n}\n"
	folder, a := interptest.SmallJob(t, text)
	b := filepath.Join(folder, "b.recipe")
	interptest.Write(t, b, edit(t, text, "mitchell", "lanczos3"))
	ctx := context.Background()
	side, err := Open(ctx, a)
	if err != nil {
		t.Fatal(err)
	}
	defer side.Close()
	p := side.prints[0].plan
	s := interp.NewSession(2, nil)
	defer s.Close()
	full := p.Nodes[p.Out].Pic
	w, h := full.W/6, full.H/6
	v, err := newViewer(ctx, s, side, side.prints[0], w)
	if err != nil {
		t.Fatal(err)
	}
	got, err := v.reduced(ctx, w, h)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := s.Region(ctx, p, p.Out, image.Rect(0, 0, full.W, full.H))
	if err != nil {
		t.Fatal(err)
	}
	g := &engine.Graph{Nodes: []engine.Node{{Pic: full, Store: raster.Of(whole.Samples, full.W, full.H, full.C)}}}
	mean := interp.Picture{Pic: full}
	mean.W, mean.H = w, h
	if mean.Samples, err = engine.Reduce(ctx, g, w, h, engine.Options{Workers: 2}); err != nil {
		t.Fatal(err)
	}
	want, err := v.picture(mean)
	if err != nil {
		t.Fatal(err)
	}
	if f := interp.FiguresOf(interp.LabDistances(got.Lab, want.Lab)); f.Mean > 2 {
		t.Errorf("off by %.2f in the mean", f.Mean)
	}
	for i := range 3 * w * 2 { // two rows of the border's three
		if got.RGB[i] != want.RGB[i] {
			t.Fatalf("the border's sample %d is %d, expected %d", i, got.RGB[i], want.RGB[i])
		}
	}
	_, view, err := viewOf(t, a, b, "p", ViewOptions{Width: 90, Section: 100})
	if err != nil {
		t.Fatal(err)
	}
	if len(view.Sections) == 0 || view.Sections[0].Largest < 0.5 {
		t.Errorf("%d places", len(view.Sections))
	}
}
