package proof

import (
	"bytes"
	"context"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/lang"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/recipes/marsh"
)

// writeRows writes a master from a function of the row.
func writeRows(t testing.TB, path string, w, h, c int, space string, row func(y int, dst []uint16)) {
	t.Helper()
	p, ok := colour.Space(space)
	if !ok {
		t.Fatalf("no space %s", space)
	}
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: c, Bits: 16, PPI: big.NewRat(300, 1), ICC: p.Bytes()})
	if err != nil {
		t.Fatal(err)
	}
	b := l.Header()
	dst := make([]uint16, w*c)
	for y := range h {
		row(y, dst)
		b = l.AppendRow(b, dst, y)
	}
	interptest.Write(t, path, string(append(b, l.Trailer()...)))
}

// landscape draws the demonstration's scene, small.
func landscape(t testing.TB, path string) {
	t.Helper()
	const w, h = 150, 100
	var all []uint16
	if err := marsh.Draw(context.Background(), w, h, func(_ int, rows []uint16) error { all = append(all, rows...); return nil }, nil); err != nil {
		t.Fatal(err)
	}
	writeRows(t, path, w, h, 3, "opRGB", func(y int, dst []uint16) { copy(dst, all[y*w*3:]) })
}

// still is an invented still life: a lit wall from shadow to highlight, a round
// fruit of strong colour with its own shade, cloth in muted colours, and grain.
func still(t testing.TB, path string, c int) {
	t.Helper()
	const w, h = 140, 100
	writeRows(t, path, w, h, c, map[int]string{1: "grey-2.2", 3: "sRGB"}[c], func(y int, dst []uint16) {
		for x := range w {
			v := [3]float64{0.1 + 0.85*float64(x)/w, 0.1 + 0.83*float64(x)/w, 0.12 + 0.76*float64(x)/w}
			if y > 65 {
				f := 0.25 + 0.2*math.Sin(float64(x)/5)*math.Sin(float64(y)/4)
				v = [3]float64{f * 0.9, f, f * 1.15}
			}
			dx, dy := float64(x-60)/26, float64(y-55)/26
			if d := dx*dx + dy*dy; d < 1 {
				s := 0.15 + 0.8*math.Sqrt(1-d)*(0.6+0.4*dx)
				v = [3]float64{s, 0.42 * s, 0.1 * s}
			}
			if y < 12 {
				f := float64(x) / (w - 1)
				v = [3]float64{f, f, f}
			}
			n := uint32(x*73856093^y*19349663) * 2654435761
			for k := range c {
				dst[x*c+k] = uint16(min(max((v[k]+0.02*(float64(n>>16)/65536-0.5))*65535, 0), 65535))
			}
		}
	})
}

const fitRecipe = `recipe 1 draft

master  "m.tif"

paper baryta {
    profile      "baryta.icc"
}

paper rag {
    profile      "rag.icc"
}

prepare {
    spot pixels over 30%
}

# Sent to a lab.
print p on baryta {
    size within 2 in x 2 in at 100 ppi
    enlarge with mitchell
    sharpen radius 0.8 px amount 80%
    save tiff "p.tif"
}
`

func fitJob(t testing.TB, text string, draw func(path string)) *interp.Job {
	t.Helper()
	folder := t.TempDir()
	draw(filepath.Join(folder, "m.tif"))
	for _, n := range []string{"baryta", "rag"} {
		interptest.Write(t, filepath.Join(folder, n+".icc"), string(paperICC(t, n)))
	}
	interptest.Write(t, filepath.Join(folder, "r.recipe"), text)
	return mustLoad(t, filepath.Join(folder, "r.recipe"))
}

// On two pictures and two papers the block brings the proof closer in all four,
// says what it costs and leaves greys grey; what is written is canonical text that
// passes every check, and gives the figures that were promised.
func TestFit(t *testing.T) {
	ctx := context.Background()
	for name, draw := range map[string]func(string){
		"landscape":  func(p string) { landscape(t, p) },
		"still life": func(p string) { still(t, p, 3) },
	} {
		j := fitJob(t, fitRecipe, draw)
		list, text, err := Fit(ctx, j, "p", Options{Papers: []string{"baryta", "rag"}})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range list {
			b, a := f.Before, f.After
			t.Logf("%s on %s: mean %.2f, then %.2f; greys %.2f; steps %v %v, then %v %v; %d tried: %s", name, f.Paper, b.Mean, a.Mean, a.Grey, b.Highlights, b.Shadows, a.Highlights, a.Shadows, f.Tried, strings.Join(f.Block, " "))
			if f.Block == nil || a.Mean >= b.Mean || len(f.Costs) == 0 && (a.Highlights.Lost > b.Highlights.Lost || a.Shadows.Lost > b.Shadows.Lost || a.Share > b.Share+0.001) || a.Grey > 1 {
				t.Errorf("%s on %s: before %+v, after %+v", name, f.Paper, b, a)
			}
		}
		if got, ds := lang.Format("r.recipe", text); lang.HasErrors(ds) || !bytes.Equal(got, text) {
			t.Errorf("%s: %v; the canonical form is another:\n%s\n%s", name, ds, got, text)
		}
		// All but the blocks is as it was.
		left := string(text)
		for _, f := range list {
			block := "\n" + strings.Join(f.Block, "\n") + "\n"
			if strings.Count(left, block) != 1 {
				t.Errorf("%s: %d blocks for %s", name, strings.Count(left, block), f.Paper)
			}
			left = strings.Replace(left, block, "", 1)
		}
		if left != fitRecipe {
			t.Errorf("%s: other text changed:\n%s", name, left)
		}
		if err := WriteFit(j, text); err != nil {
			t.Fatal(err)
		}
		again := mustLoad(t, j.File)
		p, err := Make(ctx, again, "p", Options{Papers: []string{"baryta", "rag"}})
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range list {
			if math.Abs(p.Papers[i].Mean-f.After.Mean) > 1e-6 {
				t.Errorf("%s on %s: promised a mean of %.4f, the recipe gives %.4f", name, f.Paper, f.After.Mean, p.Papers[i].Mean)
			}
		}
		// The same again: the recipe's own blocks are written over with themselves.
		if name == "still life" {
			_, twice, err := Fit(ctx, again, "p", Options{Papers: []string{"baryta"}, Workers: 1})
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(twice, text) {
				t.Errorf("fitted again:\n%s\nbefore:\n%s", twice, text)
			}
		}
		// A recipe that changed meanwhile isn't written over.
		if err := WriteFit(j, text); err == nil || !strings.Contains(err.Error(), "changed meanwhile") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The figures that a fit tells before and after are those of the proofs of the
// recipe as it was and with the block.
func TestFitTellsWhatTheProofTells(t *testing.T) {
	ctx := context.Background()
	j := fitJob(t, strings.Replace(fitRecipe, "100 ppi", "510 ppi", 1), func(p string) { still(t, p, 3) })
	before, err := Make(ctx, j, "p", Options{})
	if err != nil {
		t.Fatal(err)
	}
	list, text, err := Fit(ctx, j, "p", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := WriteFit(j, text); err != nil || list[0].Block == nil {
		t.Fatal(list, err)
	}
	after, err := Make(ctx, mustLoad(t, j.File), "p", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := list[0].Before, before.Papers[0].Figures; got != want {
		t.Errorf("before: the fit tells %+v, the proof %+v", got, want)
	}
	if got, want := list[0].After, after.Papers[0].Figures; got != want {
		t.Errorf("after: the fit tells %+v, the proof %+v", got, want)
	}
}

// A grey print is fitted by exposure and contrast alone, beside a curve that
// the photographer wrote, and a mask.
func TestFitGrey(t *testing.T) {
	text := strings.Replace(fitRecipe, "    spot pixels over 30%\n", `    tone for rag {
        curve          (0, 0), (50, 52), (100, 100)
    }
    tone for rag through low {
        exposure       +0.1 stops
    }
`, 1)
	text = strings.Replace(text, "prepare", "mask low {\n    gradient from (50%, 100%) to (50%, 50%)\n}\n\nprepare", 1)
	j := fitJob(t, text, func(p string) { still(t, p, 1) })
	list, out, err := Fit(context.Background(), j, "p", Options{Papers: []string{"rag"}})
	if err != nil {
		t.Fatal(err)
	}
	f := list[0]
	if f.Block == nil || f.After.Mean >= f.Before.Mean || len(f.Kept) != 1 || f.Kept[0] != "curve" {
		t.Fatalf("%+v", f)
	}
	rec, ds := lang.Parse("r.recipe", out)
	own := ownTone(rec, "rag")
	if lang.HasErrors(ds) || own == nil || own.Curve == nil || own.Chroma != nil || own.Warmth != nil || own.Exposure == nil && own.Contrast == nil {
		t.Errorf("%v\n%s", ds, out)
	}
}

// A paper that shows everything needs no block, and none is written.
func TestFitNothing(t *testing.T) {
	p, _ := colour.Space("sRGB")
	j := fitJob(t, fitRecipe, func(path string) {
		still(t, path, 3)
		interptest.Write(t, filepath.Join(filepath.Dir(path), "baryta.icc"), "")
	})
	interptest.Write(t, filepath.Join(j.Folder, "baryta.icc"), string(p.Bytes()))
	before := interptest.Read(t, j.File)
	list, text, err := Fit(context.Background(), j, "p", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if list[0].Block != nil || !bytes.Equal(text, before) {
		t.Errorf("%+v\n%s", list[0], text)
	}
	if err := WriteFit(j, text); err != nil || !bytes.Equal(interptest.Read(t, j.File), before) {
		t.Error(err)
	}
	os.Remove(j.File)
}
