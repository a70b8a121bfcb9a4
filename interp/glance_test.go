package interp

import (
	"context"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

const glanceRecipe = `recipe 1 draft
master "m.tif"
prepare {
    turn left
}
print p {
    size 20 in x 30 in at 150 ppi
    enlarge with mitchell
    save tiff "p.tif"
}
print q {
    size within 8 in x 8 in at 300 ppi
    crop to 1:1
    enlarge with mitchell
    save tiff "q.tif"
}
`

// A glance says the same sizes, resolutions and problems as a full reading.
func TestGlanceIsLoadWithoutDigests(t *testing.T) {
	dir := t.TempDir()
	writeMaster(t, filepath.Join(dir, "m.tif"), 300, 200, 3, "opRGB")
	file := filepath.Join(dir, "r.recipe")
	for _, text := range []string{glanceRecipe, everyStep,
		strings.Replace(glanceRecipe, "20 in x 30 in", "20 in x 20 in", 1),
		strings.Replace(glanceRecipe, `"m.tif"`, `"none.tif"`, 1),
		strings.Replace(glanceRecipe, "mitchell", "mitchel", 1),
	} {
		write(t, file, text)
		full, err := Load(context.Background(), file, LoadOptions{NoOutputs: true})
		if err != nil {
			t.Fatal(err)
		}
		seen, err := Glance(context.Background(), file, []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		if len(full.Diags) != len(seen.Diags) || len(full.Plans) != len(seen.Plans) {
			t.Fatalf("%d and %d problems, %d and %d plans", len(full.Diags), len(seen.Diags), len(full.Plans), len(seen.Plans))
		}
		for i := range full.Diags {
			if a, b := full.Diags[i], seen.Diags[i]; a.Code != b.Code || a.Span != b.Span || a.Summary != b.Summary {
				t.Errorf("%+v and %+v", a, b)
			}
		}
		for i := range full.Plans {
			a, b := full.Plans[i], seen.Plans[i]
			aw, ah := a.Pixels()
			bw, bh := b.Pixels()
			if aw != bw || ah != bh || a.Face.Effective.Cmp(b.Face.Effective) != 0 {
				t.Errorf("%s: %d x %d at %v, %d x %d at %v", a.Name, aw, ah, a.Face.Effective, bw, bh, b.Face.Effective)
			}
		}
		full.Close()
		seen.Close()
	}
}

// A master of a gigabyte is planned from its head, in the time of a small one.
func TestGlanceReadsHeadsOnly(t *testing.T) {
	p, _ := colour.Space("opRGB")
	w, h := 18000, 10000 // 1.08 GB of samples, of which none is written
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: p.Bytes()})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "m.tif"))
	if err != nil {
		t.Fatal(err)
	}
	head, tail := l.Header(), l.Trailer()
	at := int64(len(head)) + 6*int64(w)*int64(h)
	for _, x := range []struct {
		b  []byte
		at int64
	}{{head, 0}, {tail, at}} {
		if _, err := f.WriteAt(x.b, x.at); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Truncate(at + int64(len(tail))); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(glanceRecipe, "    turn left\n", "", 1)
	text = strings.Replace(text, "20 in x 30 in", "36 in x 20 in", 1)
	best := time.Hour
	for range 20 {
		began := time.Now()
		j, err := Glance(context.Background(), filepath.Join(dir, "r.recipe"), []byte(text), "p")
		if err != nil {
			t.Fatal(err)
		}
		best = min(best, time.Since(began))
		if len(j.Plans) != 1 || j.Plans[0].Face.Effective.Cmp(big.NewRat(500, 1)) != 0 { // 18000 px / 36 in
			t.Fatalf("%v", j.Diags)
		}
		j.Close()
		if best < 100*time.Millisecond {
			return
		}
	}
	t.Errorf("a glance took %v", best)
}

// Planning by heads says what full planning says, draws what masks cover and looks at
// spots, and hashes no more than what is pinned, which it refuses where it changed.
func TestHeadsHashWhatIsPinned(t *testing.T) {
	dir := t.TempDir()
	writeMaster(t, filepath.Join(dir, "m.tif"), 300, 200, 3, "opRGB")
	file := filepath.Join(dir, "r.recipe")
	text := strings.Replace(glanceRecipe, "prepare {\n    turn left", "mask lit {\n    range lightness 20 to 60\n}\nprepare {\n    turn left\n    spot at (30%, 30%) radius 1%", 1)
	text = strings.Replace(text, "save", "sharpen radius 1 px amount 90% through lit\n    save", 1)
	write(t, file, text)
	// The mask reads the picture after its turn, reduced to 167 x 250 px or so.
	full := mustLoad(t, file, LoadOptions{NoOutputs: true, Masks: true, Spots: true})
	heads := mustLoad(t, file, LoadOptions{NoOutputs: true, Masks: true, Spots: true, Heads: true})
	a, b := full.Plans[0], heads.Plans[0]
	if full.Failed() || heads.Failed() || len(full.Masks[a]) != 1 || full.Masks[a][0].Frame != heads.Masks[b][0].Frame || full.Spots[a][0] != heads.Spots[b][0] {
		t.Errorf("%v, %v: %v, %v; %v, %v", full.Diags, heads.Diags, full.Masks[a], heads.Masks[b], full.Spots[a], heads.Spots[b])
	}
	if a.Mark == b.Mark {
		t.Error("the master was hashed")
	}
	if _, err := Build(context.Background(), heads, BuildOptions{}); err == nil {
		t.Error("built from a plan by heads")
	}
	for pin, wrong := range map[string]bool{a.Inputs[0].Sum.String(): false, strings.Repeat("0", 64): true} {
		write(t, file, "recipe 1 draft\ninputs {\n    \"m.tif\" sha256 \""+pin+"\"\n}"+strings.TrimPrefix(text, "recipe 1 draft"))
		j, err := Load(context.Background(), file, LoadOptions{NoOutputs: true, Heads: true})
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		if j.Failed() != wrong || !wrong && j.Plans[0].Mark != a.Mark {
			t.Errorf("pinned to %s: %v", pin, j.Diags)
		}
	}
}

// A named pipe is refused, not waited for.
func TestGlanceRefusesWhatIsNoFile(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "m.tif"), 0o777); err != nil {
		t.Fatal(err)
	}
	j, err := Glance(context.Background(), filepath.Join(dir, "r.recipe"), []byte(glanceRecipe))
	if err != nil {
		t.Fatal(err)
	}
	if !j.Failed() || !strings.Contains(j.Diags[0].Summary, "not an ordinary file") {
		t.Errorf("%+v", j.Diags)
	}
}
