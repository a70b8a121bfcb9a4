package interp

import (
	"context"
	"image"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"platemark/interp/audit"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/recipes/paper"
)

// rowMeans is a step whose rows are one pixel, the mean of the input's row.
type rowMeans struct {
	h, stride int
	rows      *atomic.Int64
}

func (s rowMeans) Pic() ops.Pic                 { return ops.Pic{W: 1, H: s.h, C: 1} }
func (s rowMeans) Window(_, y int) (lo, hi int) { return y, y + 1 }
func (s rowMeans) Worker() ops.Worker           { return s }

func (s rowMeans) Row(dst []uint16, y int, in []ops.Rows) {
	s.rows.Add(1)
	sum := 0
	for _, v := range in[0].Row(y)[:s.stride] {
		sum += int(v)
	}
	dst[0] = uint16(sum / s.stride)
}

// unmeasured is a step that must not be run.
type unmeasured struct{ ops.Step }

func (unmeasured) Worker() ops.Worker { panic("a step is run without what is measured") }

// measuredQuiet is sharpening whose quiet, where the recipe doesn't say it, is a
// tenth of the picture's mean. Rows counts what is measured.
func measuredQuiet(t *testing.T, rows *atomic.Int64) ops.Operation {
	t.Helper()
	o, ok := ops.Lookup("sharpen", 1)
	if !ok {
		t.Fatal("no operation sharpen")
	}
	o.Version = 2
	o.Measure = &ops.Measure{Param: "quiet",
		Figures: func(in ops.Pic) ops.Step { return rowMeans{in.H, in.Stride(), rows} },
		Value:   func(f []uint16) string { return tenthOfMean(f).RatString() },
	}
	bind := o.New
	o.New = func(a ops.Args, in []ops.Pic, env ops.Env) (ops.Step, error) {
		s, err := bind(a, in, env)
		if _, measured := a.Get("quiet"); err != nil || measured {
			return s, err
		}
		return unmeasured{s}, nil
	}
	return o
}

func tenthOfMean(f []uint16) *big.Rat {
	sum := int64(0)
	for _, v := range f {
		sum += int64(v)
	}
	return big.NewRat(sum, 10*65535*int64(len(f)))
}

const measuredRecipe = `recipe 1 draft
master "m.tif"
prepare {
    sharpen radius 2 px amount 80%
}
print one {
    size 100 px x 700 px at 100 ppi
    enlarge with mitchell
    sharpen radius 1 px amount 50%
    sharpen radius 3 px amount 20% quiet 1%
    save tiff "one.tif" bits 16
}
print two {
    size 50 px x 350 px at 100 ppi
    enlarge with mitchell
    save tiff "two.tif" bits 16
}
`

func measuredJob(t *testing.T) (file string, rows *atomic.Int64) {
	t.Helper()
	rows = &atomic.Int64{}
	t.Cleanup(ops.TestOnlyRegister(measuredQuiet(t, rows)))
	t.Cleanup(ops.TestOnlySpeak(1, "sharpen", 2))
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 40, 280, 3, "opRGB")
	file = filepath.Join(folder, "r.recipe")
	write(t, file, measuredRecipe)
	return file, rows
}

// What is measured stands in the log as an argument, is what the picture before
// the step comes to, is the same however the work is cut, is worked out once,
// and is no part of the mark.
func TestMeasuredArguments(t *testing.T) {
	ctx := context.Background()
	file, rows := measuredJob(t)
	folder := filepath.Dir(file)
	built := mustBuild(t, file, LoadOptions{}, BuildOptions{})
	if n := rows.Load(); n != 280+700 {
		t.Errorf("%d rows were measured for two prints, expected 280 of the master and 700 of the large print", n)
	}
	l, err := audit.ReadLog(built[0].Log)
	if err != nil {
		t.Fatal(err)
	}
	j := mustLoad(t, file, LoadOptions{NoOutputs: true})
	p := j.Plans[0]
	if p.Mark != built[0].Mark || l.File.Mark != p.Mark.String() {
		t.Error("the mark isn't that of the plan")
	}
	s := NewSession(2, nil)
	defer s.Close()
	measured := 0
	for i, k := range p.Steps() {
		n := p.Nodes[k]
		if n.Op != "sharpen" || n.Line == 10 {
			continue
		}
		measured++
		before := p.Nodes[n.In[0]].Pic
		m, err := s.Region(ctx, p, n.In[0], image.Rect(0, 0, before.W, before.H))
		if err != nil {
			t.Fatal(err)
		}
		var means []uint16
		for row := range slices.Chunk(m.Samples, m.Stride()) {
			sum := 0
			for _, v := range row {
				sum += int(v)
			}
			means = append(means, uint16(sum/len(row)))
		}
		if got, want := l.Steps[i].Args["quiet"], tenthOfMean(means).RatString(); got != want || len(want) < 5 {
			t.Errorf("line %d was built with quiet %s, expected %s", n.Line, got, want)
		}
	}
	if measured != 2 || l.Steps[3].Args["quiet"] != "1/100" {
		t.Errorf("%d steps are measured, and the one that says it is not: %v", measured, l.Steps)
	}
	for i, o := range []BuildOptions{{Workers: 1}, {Workers: 2, BandRows: 8}, {Workers: 7, BandRows: 64}} {
		o.Out = filepath.Join(folder, string(rune('a'+i)))
		for k, b := range mustBuild(t, file, LoadOptions{}, o) {
			if b.Sum != built[k].Sum || determinedPart(t, b.Log) != determinedPart(t, built[k].Log) {
				t.Errorf("print %s has other bytes with %+v", b.Print, o)
			}
		}
	}
	// One print alone, whose prepare isn't kept, and a part of it.
	rows.Store(0)
	part, err := s.Region(ctx, p, p.Out, image.Rect(20, 300, 80, 420))
	if err != nil {
		t.Fatal(err)
	}
	n := rows.Load()
	if _, err := s.Region(ctx, p, p.Out, image.Rect(0, 0, 50, 50)); err != nil || rows.Load() != n {
		t.Errorf("a second part measures again: %d rows, then %d (%v)", n, rows.Load(), err)
	}
	_, _, _, whole := samples(t, built[0].File)
	for y := range 120 {
		if want := whole[((300+y)*100+20)*3:][:180]; !slices.Equal(part.Samples[180*y:][:180], want) {
			t.Fatalf("row %d of a part differs from the print", y)
		}
	}
	// Run small, at full size: the very samples; smaller: something.
	small, err := s.Reduced(ctx, p, p.Out, 100, 700)
	if err != nil || !slices.Equal(small.Samples, whole) {
		t.Errorf("the plan run small at full size has other samples (%v)", err)
	}
	if _, err := s.Reduced(ctx, p, p.Out, 30, 210); err != nil {
		t.Error(err)
	}
}

// A measured argument is taken from the log when the records are written again
// without pictures, must be one that the operation can have, and is compared
// when the print is made again.
func TestMeasuredArgumentsInLogs(t *testing.T) {
	ctx := context.Background()
	file, _ := measuredJob(t)
	b := mustBuild(t, file, LoadOptions{Prints: []string{"one"}}, BuildOptions{})[0]
	out := func() ReprintOptions { return ReprintOptions{BuildOptions: BuildOptions{Out: t.TempDir()}} }
	if v, err := Verify(ctx, b.Log, VerifyOptions{}); err != nil || !v.OK {
		t.Fatalf("%v %v", v, err)
	}
	if again, err := Reprint(ctx, b.Log, out()); err != nil || again.Sum != b.Sum || determinedPart(t, again.Log) != determinedPart(t, b.Log) {
		t.Fatalf("the reprint differs: %v", err)
	}
	l, err := audit.ReadLog(b.Log)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, quiet, verify, reprint string }{
		{"another one", "1/77", "", "(sharpen), `sharpen radius 1 px amount 50%`, measured quiet "},
		{"out of its range", "7", "quiet is 7, expected 0 to 1", "quiet is 7, expected 0 to 1"},
		{"none", "", "has nothing for quiet", "has nothing for quiet"},
	} {
		all := altered(6, func(r *audit.StepRecord) {
			a := map[string]string{}
			for k, v := range r.Args {
				a[k] = v
			}
			if a["quiet"] = c.quiet; c.quiet == "" {
				delete(a, "quiet")
			}
			r.Args = a
		})(recordsOf(l))
		write(t, b.Log, string(rechain(all...)))
		v, err := Verify(ctx, b.Log, VerifyOptions{})
		if err != nil || v.OK != (c.verify == "") {
			t.Errorf("%s: verify: %v %v", c.name, v, err)
		}
		if c.verify != "" && !slices.ContainsFunc(v.Lines, func(f Finding) bool {
			return f.State == Wrong && strings.HasPrefix(f.What, "line 6: ") && strings.Contains(f.What, c.verify)
		}) {
			t.Errorf("%s: expected %q of line 6, got %v", c.name, c.verify, v.Lines)
		}
		o := out()
		if _, err := Reprint(ctx, b.Log, o); err == nil || !strings.Contains(err.Error(), c.reprint) {
			t.Errorf("%s: reprint: %v, expected %q", c.name, err, c.reprint)
		}
		if made, _ := os.ReadDir(o.Out); len(made) > 0 {
			t.Errorf("%s: %v was made", c.name, made)
		}
	}
}

// What measuring takes is part of what the plan says, and planning measures nothing.
func TestPlanningMeasuresNothing(t *testing.T) {
	file, rows := measuredJob(t)
	j := mustLoad(t, file, LoadOptions{NoOutputs: true, Masks: true, Spots: true})
	var e plan.Estimate
	for _, p := range j.Plans {
		e = p.Estimate(2)
	}
	if rows.Load() != 0 || e.Memory == 0 {
		t.Errorf("planning measured %d rows", rows.Load())
	}
}

// A print through a printer's tables takes several times as long as one through
// curves, and a plan says so: 115 and 5 ns a pixel, beside about 15 for reading,
// fingerprints and writing, as measured.
func TestEstimateOfTables(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 64, 64, 3, "opRGB")
	b, _ := paper.Profile("baryta")
	write(t, filepath.Join(folder, "baryta.icc"), string(b))
	file := filepath.Join(folder, "r.recipe")
	takes := func(to string) time.Duration {
		write(t, file, "recipe 1 draft\nmaster \"m.tif\"\npaper baryta {\n    profile \"baryta.icc\"\n}\nprint p {\n    size 64 px wide at 300 ppi\n    convert to "+to+"\n    save tiff \"p.tif\"\n}\n")
		return mustLoad(t, file, LoadOptions{}).Plans[0].Estimate(1).Time
	}
	if curves, tables := takes("sRGB"), takes("baryta"); tables < 4*curves || tables > 10*curves {
		t.Errorf("through curves %v, through tables %v", curves, tables)
	}
}
