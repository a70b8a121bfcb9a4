//go:build outside

package inspect

import (
	"context"
	"os"
	"runtime"
	"testing"

	"platemark/interp/engine"
	"platemark/ops/raster"
	"platemark/testdata/photos"
)

// What BenchmarkFinds shows of whole photographs, held to bounds on parts of six of
// them. Wanted: of hot and dead pixels 98 % at no more than 2 false finds per 10 MP,
// of dust above 5 % contrast 85 % at 5, of hairs 70 %, of fringed edges 80 %; mended,
// a mean CIEDE2000 of 2.5 on smooth ground and 5 on texture.
func TestFindsOnPhotographs(t *testing.T) {
	all := newTally()
	for _, name := range []string{"hills", "sunset", "wood", "lamps", "storm", "dandelions"} {
		pix, w, h := photos.Open(t, name, 1)
		newShot(pix, w, h).part(1500, 1100).try(t, 12, 150, 30, 8, 8, all)
	}
	t.Log(all)
	share := func(k Kind) float64 { return float64(all.found[k]) / float64(all.planted[k]) }
	for _, c := range []struct {
		what        string
		got, least  float64
		wrong, most float64
	}{
		{"hot", share(Hot), 0.98, float64(all.wrong[Hot] + all.wrong[Dead]), 2},
		{"dust", share(Dust), 0.83, float64(all.wrong[Dust]), 8},
		{"hairs", share(Hair), 0.7, float64(all.wrong[Hair]), 10},
		{"fringes", share(Fringe), 0.8, float64(all.wrong[Fringe]), 2},
	} {
		if wrong := 1e7 * c.wrong / all.pixels; c.got < c.least || wrong > c.most {
			t.Errorf("%s: %.3f found, at least %v; %.1f false per 10 MP, at most %v", c.what, c.got, c.least, wrong, c.most)
		}
	}
	if s, r := mean(all.smooth), mean(all.rough); s > 2.5 || r > 5 {
		t.Errorf("mended: %.2f on smooth ground, %.2f on texture", s, r)
	}
}

// A picture of 18000 x 12000 px, a photograph side by side, read from a file on two
// processors: 60 s and 300 MB are allowed.
func BenchmarkLook(b *testing.B) {
	pix, w, h := photos.Open(b, "hills", 1)
	pic := newShot(pix, w, h).pic()
	pic.W, pic.H = 18000, 12000
	f, err := os.CreateTemp(b.TempDir(), "")
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	st := raster.NewFile(f, pic.W, pic.H, 3)
	row, scratch := make([]uint16, 0, pic.Stride()), []byte{}
	for y := range pic.H {
		row = row[:0]
		for len(row) < pic.Stride() {
			row = append(row, pix[3*(y%h*w):][:min(3*w, pic.Stride()-len(row))]...)
		}
		if err := st.WriteRow(y, row, &scratch); err != nil {
			b.Fatal(err)
		}
	}
	pix, row = nil, nil
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for b.Loop() {
		g := &engine.Graph{Nodes: []engine.Node{{Pic: pic, Store: st}}}
		if _, err := Look(context.Background(), g, engine.Options{Workers: 2}); err != nil {
			b.Fatal(err)
		}
	}
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(after.Sys)/1e6, "MB")
	b.ReportMetric(float64(before.Sys)/1e6, "MB-before")
}
