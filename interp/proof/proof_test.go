package proof

import (
	"context"
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/colour"
	"platemark/recipes/paper"
)

// paperICC makes an invented paper's profile once.
var paperICC = func() func(t testing.TB, name string) []byte {
	var mu sync.Mutex
	made := map[string][]byte{}
	return func(t testing.TB, name string) []byte {
		mu.Lock()
		defer mu.Unlock()
		if made[name] == nil {
			b, ok := paper.Profile(name)
			if !ok {
				t.Fatalf("no paper %s", name)
			}
			made[name] = b
		}
		return made[name]
	}
}()

// mustLoad plans a recipe and fails on errors.
func mustLoad(t testing.TB, file string) *interp.Job {
	t.Helper()
	j, err := interp.Load(context.Background(), file, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(j.Close)
	if lang.HasErrors(j.Diags) {
		t.Fatal(j.Diags)
	}
	return j
}

// onPapers adds two papers to a recipe and their profiles to its folder.
func onPapers(t testing.TB, folder, recipe string) string {
	t.Helper()
	for _, n := range []string{"baryta", "rag"} {
		interptest.Write(t, filepath.Join(folder, n+".icc"), string(paperICC(t, n)))
	}
	return strings.Replace(recipe, "mask reeds", "paper baryta {\n    profile     \"baryta.icc\"\n}\n\npaper rag {\n    profile     \"rag.icc\"\n    intent      perceptual\n}\n\nmask reeds", 1)
}

// papersJob is EveryStep with papers, tones for them, and two prints on them.
func papersJob(t testing.TB) *interp.Job {
	t.Helper()
	folder, file := interptest.SmallJob(t, "")
	text := onPapers(t, folder, interptest.EveryStep)
	text = strings.Replace(text, "    spot at (68%", "    spot at (8%, 90%) radius 1%\n    tone for rag {\n        exposure       +0.5 stops\n    }\n    tone for baryta through land {\n        chroma         -20%\n    }\n    spot at (68%", 1)
	text += `
print framed on baryta {
    size 3 in x 2 in at 100 ppi
    enlarge with mitchell
    convert to baryta intent perceptual
    border 0.1 in
    save tiff "framed.tif" bits 16
}
`
	interptest.Write(t, file, text)
	return mustLoad(t, file)
}

// Where nothing is reduced, the reduced plan is the plan: same samples, for
// every statement; and a section is a part of the whole.
func TestSmallPlanIsThePlan(t *testing.T) {
	j := papersJob(t)
	ctx := context.Background()
	for _, pr := range j.Recipe.Prints {
		k, err := newProofer(j, pr, []*lang.Paper{j.Recipe.Paper("rag"), j.Recipe.Paper("baryta")}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := k.reduce(ctx); err != nil {
			t.Fatal(err)
		}
		small := k.start.Pic.W < 96
		for i, p := range k.plans {
			got, err := k.picture(ctx, p)
			if err != nil {
				t.Fatal(err)
			}
			pic := p.Nodes[p.out].Pic
			want, err := k.part(ctx, p, 0, 0, pic.W, pic.H)
			if err != nil {
				t.Fatal(err)
			}
			if !small && (got.W != want.W || !slices.Equal(got.Samples, want.Samples)) {
				t.Errorf("print %s, plan %d: the reduced plan at full size has other samples", pr.Name.Value, i)
			}
			part, err := k.part(ctx, p, 5, 7, 11, 9)
			if err != nil {
				t.Fatal(err)
			}
			for y := range 9 {
				a := ((y+7)*pic.W + 5) * pic.C
				if !slices.Equal(part.Samples[y*11*pic.C:(y+1)*11*pic.C], want.Samples[a:a+11*pic.C]) {
					t.Fatalf("print %s: row %d of a section differs from the whole", pr.Name.Value, y)
				}
			}
		}
		k.s.Close()
	}
}

// A reduced proof shows what the whole shows: the mean of the print's pixels
// under each of its own, but for sharpening. The bounds are what this picture of
// grain and edges gives, with room.
func TestReducedProofIsNear(t *testing.T) {
	j := papersJob(t)
	ctx := context.Background()
	for name, most := range map[string]float64{"exact": 0.8, "framed": 0.8, "card": 2.5, "large": 3} {
		pr := j.Recipe.Print(name)
		k, err := newProofer(j, pr, []*lang.Paper{j.Recipe.Paper("baryta")}, Options{Long: 48})
		if err != nil {
			t.Fatal(err)
		}
		defer k.s.Close()
		if err := k.reduce(ctx); err != nil {
			t.Fatal(err)
		}
		if k.start.Pic.W > 60 {
			t.Errorf("print %s: reduced to %d px only", name, k.start.Pic.W)
		}
		p := k.plans[1]
		got, err := k.picture(ctx, p)
		if err != nil {
			t.Fatal(err)
		}
		pic := p.Nodes[p.out].Pic
		full, err := k.part(ctx, p, 0, 0, pic.W, pic.H)
		if err != nil {
			t.Fatal(err)
		}
		// The plain mean of each cell, by fractions of pixels.
		sum, weight := make([]float64, got.W*got.H*pic.C), make([]float64, got.W*got.H)
		const parts = 12
		for y := range pic.H * parts {
			for x := range pic.W * parts {
				if (x+y)%7 != 0 { // a seventh of the points is plenty
					continue
				}
				to := (y*got.H/(pic.H*parts))*got.W + x*got.W/(pic.W*parts)
				weight[to]++
				for c := range pic.C {
					sum[to*pic.C+c] += float64(full.Samples[((y/parts)*pic.W+x/parts)*pic.C+c])
				}
			}
		}
		mean := interp.Picture{Pic: got.Pic, Samples: make([]uint16, len(sum))}
		for i, s := range sum {
			mean.Samples[i] = uint16(s/weight[i/pic.C] + 0.5)
		}
		if f := interp.FiguresOf(interp.LabDistances(k.lab(got), k.lab(mean))); f.Mean > most {
			t.Errorf("print %s: the reduced proof is off by %.2f in the mean, allowed %.2f", name, f.Mean, most)
		}
	}
}

// A proof says what its parts say when asked one by one, pixel after pixel; the
// tone blocks for a paper act on that paper only.
func TestProofSaysWhatIsThere(t *testing.T) {
	j := papersJob(t)
	ctx := context.Background()
	p, err := Make(ctx, j, "framed", Options{Papers: []string{"baryta", "rag"}})
	if err != nil {
		t.Fatal(err)
	}
	if p.Meant.W != 300 || p.Meant.H != 200 || p.Scale != 1 || len(p.Papers) != 2 {
		t.Fatalf("%d x %d px, scale %g, %d papers", p.Meant.W, p.Meant.H, p.Scale, len(p.Papers))
	}
	baryta, rag := p.Papers[0], p.Papers[1]
	if baryta.Intent != "perceptual" || rag.Intent != "perceptual" || !baryta.Own || rag.Own {
		t.Errorf("baryta by %s, rag by %s", baryta.Intent, rag.Intent)
	}
	// Harbour Baryta's and Quarry Rag's own numbers, by the ink model's tables.
	if w := baryta.White; math.Abs(w.L-96) > 0.1 || math.Abs(w.B+1) > 0.1 || math.Abs(rag.White.L-96.5) > 0.1 || math.Abs(baryta.Black.L-8) > 1.5 || math.Abs(rag.Black.L-24) > 1.5 {
		t.Errorf("white %v %v, black %v %v", baryta.White, rag.White, baryta.Black, rag.Black)
	}
	// The same, made plainly.
	pr := j.Recipe.Print("framed")
	meant, err := bind(j, pr, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	shown, err := bind(j, pr, j.Recipe.Paper("baryta"), 0)
	if err != nil {
		t.Fatal(err)
	}
	tones := func(q *proofPlan) (n int) {
		for _, x := range q.Nodes {
			if x.Op == "tone" {
				n++
			}
		}
		return n
	}
	if tones(meant) != 0 || tones(shown) != 1 || shown.edge != 10 {
		t.Errorf("%d tone steps as meant, %d on baryta, edge %d", tones(meant), tones(shown), shown.edge)
	}
	b := interp.NewSession(0, nil)
	defer b.Close()
	src, err := b.Region(ctx, meant.Print, meant.out, image.Rect(0, 0, 300, 200))
	if err != nil {
		t.Fatal(err)
	}
	toned, err := b.Region(ctx, shown.Print, shown.out, image.Rect(0, 0, 300, 200))
	if err != nil {
		t.Fatal(err)
	}
	proof, err := colour.NewProof(shown.Nodes[shown.out].Pic.Profile, shown.profile, colour.Perceptual, true)
	if err != nil {
		t.Fatal(err)
	}
	var delta []float64
	sum, outside := 0.0, 0
	for i := range 300 * 200 {
		var a, z [1]colour.Lab
		var out [1]colour.Verdict
		printed := make([]uint16, proof.Inks())
		proof.Meant(a[:], src.Samples[3*i:3*i+3])
		proof.Print(printed, toned.Samples[3*i:3*i+3])
		proof.Relative(z[:], printed)
		proof.Outside(out[:], toned.Samples[3*i:3*i+3])
		d := colour.DeltaE2000(a[0], z[0])
		delta = append(delta, d)
		sum += d
		if out[0] != colour.Within {
			outside++
		}
		if out[0] != baryta.Outside[i] {
			t.Fatalf("pixel %d: outside %v", i, out[0])
		}
	}
	slices.Sort(delta)
	near := func(a, b float64) bool { return math.Abs(a-b) < 1e-4 }
	if !near(baryta.Mean, sum/60000) || !near(baryta.Largest, delta[59999]) || !near(baryta.P95, delta[56999]) || !near(baryta.Share, float64(outside)/60000) {
		t.Errorf("figures %+v, plainly mean %g, 95 %% %g, largest %g, outside %d", baryta.Figures, sum/60000, delta[56999], delta[59999], outside)
	}
	if math.Abs(baryta.TooDark+baryta.TooColourful-baryta.Share) > 1e-12 || baryta.TooDark == 0 || baryta.TooColourful == 0 {
		t.Errorf("%g can't be printed, %g too dark, %g too colourful", baryta.Share, baryta.TooDark, baryta.TooColourful)
	}
	if own := j.Plans[slices.IndexFunc(j.Plans, func(p *plan.Print) bool { return p.Name == "framed" })]; p.Mark != own.MarkShort() || p.Round != "2" {
		t.Errorf("mark %s, round %q", p.Mark, p.Round)
	}
	if got := strings.Join(rag.Tone, "\n"); got != "tone for rag {\n    exposure       +0.5 stops\n}" {
		t.Errorf("the block for rag:\n%s", got)
	}
	if got := strings.Join(baryta.Tone, "\n"); got != "tone for baryta through land {\n    chroma         -20%\n}" {
		t.Errorf("the block for baryta:\n%s", got)
	}
	for i, pl := range baryta.Places {
		if pl.X < 10 || pl.X > 22 || pl.Y != 10 || pl.Shown.W != 288 || pl.Shown.H != 200 || i > 0 && pl.Mean > baryta.Places[i-1].Mean {
			t.Errorf("place %d at %d, %d, %d px wide, mean %g", i, pl.X, pl.Y, pl.Shown.W, pl.Mean)
		}
	}
	// A section's pixels are the whole's; its place counts the border.
	s, err := Make(ctx, j, "framed", Options{Section: [4]int{110, 60, 40, 30}})
	if err != nil {
		t.Fatal(err)
	}
	for y := range 30 {
		a := 3 * ((y+50)*300 + 100)
		if !slices.Equal(s.Papers[0].Shown.RGB[3*40*y:3*40*(y+1)], baryta.Shown.RGB[a:a+120]) {
			t.Fatalf("row %d of the section isn't the whole's", y)
		}
	}
}

// A screen like the paper would show the same numbers: through its own profile,
// sRGB has nothing outside, no difference and no lost step.
func TestProofOnItself(t *testing.T) {
	folder, file := interptest.SmallJob(t, "")
	interptest.WriteMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "sRGB")
	p, _ := colour.Space("sRGB")
	interptest.Write(t, filepath.Join(folder, "s.icc"), string(p.Bytes()))
	interptest.Write(t, file, "recipe 1 draft\nmaster \"m.tif\"\npaper screen {\n profile \"s.icc\"\n}\nprint a on screen {\n size 96 px x 64 px at 100 ppi\n save tiff \"a.tif\"\n}\n")
	j := mustLoad(t, file)
	proof, err := Make(context.Background(), j, "a", Options{})
	if err != nil {
		t.Fatal(err)
	}
	q := proof.Papers[0]
	if q.Largest > 1e-6 || q.Share != 0 || q.Highlights.Lost+q.Shadows.Lost != 0 || q.Grey > 1e-6 || !slices.Equal(q.Shown.RGB, proof.Meant.RGB) {
		t.Errorf("%+v", q.Figures)
	}
}

// Steps by hand: a ramp that is flat above 90 and falls below a fifth in the dark.
func TestLostSteps(t *testing.T) {
	var meant, shown []colour.Lab
	for k := 0; k <= 100; k++ {
		l := float64(k)
		for range 8 {
			meant = append(meant, colour.Lab{L: l})
		}
		switch {
		case k > 90:
			l = 90
		case k < 10:
			l = 8 + 0.2*l
		}
		for range 8 {
			shown = append(shown, colour.Lab{L: l})
		}
	}
	hi, lo := lostSteps(meant, shown)
	// 80..100 has 20 steps, 90 to 100 are lost; 0..20 has 20, 0 to 9 lost, and the
	// step from 9 (9.8) to 10 too.
	if hi != (Steps{10, 20}) || lo != (Steps{10, 20}) {
		t.Errorf("highlights %v, shadows %v", hi, lo)
	}
}

func TestProofRefusals(t *testing.T) {
	j := papersJob(t)
	ctx := context.Background()
	for _, c := range []struct {
		print string
		o     Options
		want  string
	}{
		{"large", Options{}, "print large is on no paper; name one with --paper"},
		{"large", Options{Papers: []string{"silk"}}, "no paper is named silk; there is: baryta, rag"},
		{"framed", Options{Section: [4]int{0, 0, 20, 20}}, "begins at 10, 10"},
		{"framed", Options{Section: [4]int{300, 10, 20, 20}}, "doesn't lie in the picture"},
		{"nothing", Options{}, "no print is named nothing"},
	} {
		if _, err := Make(ctx, j, c.print, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %v: %v", c.print, c.o, err)
		}
	}
	_, file := interptest.SmallJob(t, interptest.EveryStep)
	if _, err := Make(ctx, mustLoad(t, file), "large", Options{}); err == nil || !strings.Contains(err.Error(), "names no paper") {
		t.Errorf("no paper: %v", err)
	}
	// A damaged profile is refused by its line.
	interptest.Write(t, filepath.Join(j.Folder, "rag.icc"), "no profile at all")
	j = mustLoad(t, j.File)
	if _, err := Make(ctx, j, "large", Options{Papers: []string{"rag"}}); err == nil {
		t.Error("a damaged profile was taken")
	} else if p, ok := err.(*interp.Problems); !ok || p.Diags[len(p.Diags)-1].Span.Line == 0 {
		t.Errorf("%v", err)
	}
	os.Remove(j.File)
}

// The parts of what can't be printed add up as they are told, and none is further than
// a step from what it is.
func TestPartsAddUp(t *testing.T) {
	for _, c := range []struct {
		dark, colourful float64
		decimals        int
		want            [3]string
	}{ // by hand
		{0.01049, 0.02148, 1, [3]string{"3.2", "1.1", "2.1"}}, // 1.0 and 2.1 by themselves
		{0.0106, 0.0217, 1, [3]string{"3.2", "1.0", "2.2"}},   // 1.1 and 2.2
		{0.1099, 0.0201, 1, [3]string{"13.0", "11.0", "2.0"}},
		{0.33, 0.33, 1, [3]string{"66.0", "33.0", "33.0"}},
		{0.00004, 0.00004, 2, [3]string{"0.01", "0.01", "0.00"}},
		{0, 0.0004, 1, [3]string{"0.0", "0.0", "0.0"}},
		{0.4, 0.6, 1, [3]string{"100.0", "40.0", "60.0"}},
	} {
		s, d, p := Figures{Share: c.dark + c.colourful, TooDark: c.dark, TooColourful: c.colourful}.Parts(c.decimals)
		if got := [3]string{fmt.Sprintf("%.*f", c.decimals, s), fmt.Sprintf("%.*f", c.decimals, d), fmt.Sprintf("%.*f", c.decimals, p)}; got != c.want {
			t.Errorf("%g and %g: %v", c.dark, c.colourful, got)
		}
	}
	for dark := range 2000 {
		for colourful := range 50 {
			f := Figures{TooDark: float64(dark) / 60000, TooColourful: float64(colourful*37) / 60000}
			s, d, p := f.Parts(1)
			if math.Abs(s-d-p) > 1e-9 || math.Abs(d-100*f.TooDark) > 0.1 || math.Abs(p-100*f.TooColourful) > 0.1 || math.Abs(s-100*(f.TooDark+f.TooColourful)) > 0.0501 {
				t.Fatalf("%+v: %g, %g and %g", f, s, d, p)
			}
		}
	}
}
