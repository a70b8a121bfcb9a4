package interp

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"platemark/interp/plan"
	"platemark/lang"
)

// drawer makes random recipes of the grammar that have a meaning for a small
// picture.
type drawer struct {
	*rapid.T
	w, h, c int // the upright picture
	masks   []string
	grey    bool // the picture at the line being drawn
}

func (d drawer) one(what string, of ...string) string { return rapid.SampledFrom(of).Draw(d.T, what) }
func (d drawer) yes(what string) bool                 { return rapid.Bool().Draw(d.T, what) }
func (d drawer) n(what string, lo, hi int) int        { return rapid.IntRange(lo, hi).Draw(d.T, what) }

// point is a place around the frame, in % with one decimal.
func (d drawer) point() string {
	p := func(what string) string {
		v := d.n(what, 0, 1000)
		return fmt.Sprintf("%d.%d%%", v/10, v%10)
	}
	return "(" + p("x") + ", " + p("y") + ")"
}

func (d drawer) soft() string { return fmt.Sprintf(" soft %d%%", d.n("soft", 0, 100)) }

// shape is one line of a mask.
func (d drawer) shape(first bool) string {
	op := ""
	if !first {
		op = d.one("op", "", "less ", "within ")
	}
	size := func() string { return fmt.Sprintf(" size %d%% x %d%%", d.n("w", 1, 150), d.n("h", 1, 150)) }
	switch d.one("shape", "ellipse", "rectangle", "polygon", "stroke", "gradient") {
	case "ellipse":
		return op + "ellipse at " + d.point() + size() + d.soft()
	case "rectangle":
		return op + "rectangle at " + d.point() + size() + d.soft()
	case "polygon":
		return op + "polygon " + d.point() + ", " + d.point() + ", " + d.point() + d.soft()
	case "stroke":
		return op + "stroke along " + d.point() + ", " + d.point() + fmt.Sprintf(" width %d%%", d.n("width", 1, 60)) + d.soft()
	}
	return op + "gradient from " + d.point() + " to " + d.point()
}

// tenths is a number with one decimal and its sign.
func (d drawer) tenths(what string, lo, hi int) string {
	v := d.n(what, lo, hi)
	sign := "+"
	if v < 0 {
		sign, v = "-", -v
	}
	return fmt.Sprintf("%s%d.%d", sign, v/10, v%10)
}

// tone is a tone block; a grey picture has no colours to turn.
func (d drawer) tone(through string) string {
	var lines []string
	add := func(what, line string) {
		if d.yes(what) {
			lines = append(lines, "        "+line+"\n")
		}
	}
	add("exposure", "exposure "+d.tenths("stops", -50, 50)+" stops")
	add("contrast", "contrast "+d.tenths("contrast by", -500, 1000)+"%")
	if d.yes("curve") {
		// Points that rise, straight or with a bend.
		x, y := d.n("x0", 0, 40), d.n("y0", 0, 60)
		line := fmt.Sprintf("        curve (%d, %d)", x, y)
		for range d.n("points", 1, 3) {
			x, y = x+d.n("dx", 1, 20), min(100, y+d.n("dy", 0, 30))
			line += fmt.Sprintf(", (%d, %d)", x, y)
		}
		lines = append(lines, line+"\n")
	}
	if d.yes("local") {
		lines = append(lines, fmt.Sprintf("        local contrast %s%% radius %d.%d px\n", d.tenths("local by", -1000, 1000), d.n("radius", 0, 12), d.n("tenth", 5, 9)))
	}
	if !d.grey {
		add("warmth", "warmth "+d.tenths("mired", -500, 500)+" mired")
		add("chroma", "chroma "+d.tenths("chroma by", -1000, 1000)+"%")
		add("muted", "muted chroma "+d.tenths("muted by", -1000, 1000)+"%")
	}
	if lines == nil {
		lines = []string{"        exposure +0.5 stops\n"}
	}
	return "    tone" + through + " {\n" + strings.Join(lines, "") + "    }"
}

// mix is black and white, perhaps tinted.
func (d *drawer) mix() string {
	red, green := d.n("red", -20, 90), d.n("green", -20, 90)
	text := fmt.Sprintf("    mix red %d%% green %d%% blue %d%%", red, green, 100-red-green)
	d.grey = true
	if d.yes("tint") {
		text += "\n" + d.tint()
	}
	return text
}

func (d *drawer) tint() string {
	d.grey = false
	return fmt.Sprintf("    tint hue %d deg chroma %d%%", d.n("hue", 0, 360), d.n("tint by", 0, 40))
}

// colour is one of a border or a wrap, "" where none is named.
func (d drawer) colour(must bool) string {
	of := []string{" colour white", " colour black", fmt.Sprintf(" colour grey %d", d.n("lightness", 0, 100))}
	if !must {
		of = append(of, "")
	}
	return d.one("colour", of...)
}

// recipe draws a whole recipe with one print.
func (d *drawer) recipe() string {
	var b strings.Builder
	line := func(text string, args ...any) { fmt.Fprintf(&b, text+"\n", args...) }
	line("recipe 1 draft\nmaster \"m.tif\"\n")
	for i := range d.n("masks", 0, 2) {
		name := fmt.Sprintf("m-%d", i)
		line("mask %s {", name)
		if i > 0 && d.yes("copy") {
			line("    mask m-0")
		} else {
			line("    %s", d.shape(true))
		}
		for range d.n("lines", 0, 3) {
			switch d.one("line", "shape", "shape", "invert", "soften") {
			case "shape":
				line("    %s", d.shape(false))
			case "invert":
				line("    invert")
			case "soften":
				line("    soften %d px", d.n("px", 1, 9))
			}
		}
		line("}\n")
		d.masks = append(d.masks, name)
	}
	through := func() string {
		if len(d.masks) > 0 && d.yes("through") {
			return " through " + d.one("mask", d.masks...)
		}
		return ""
	}
	line("prepare {")
	if d.yes("turn") {
		line("    turn %s", d.one("way", "left", "right", "over"))
	}
	if d.yes("mirror") {
		line("    mirror")
	}
	if d.yes("pixels") {
		line("    spot pixels over %d%%%s", d.n("over", 1, 60), through())
	}
	if d.yes("spot") {
		s := fmt.Sprintf("    spot at %s radius %d.%d px%s", d.point(), d.n("r", 1, 6), d.n("r10", 0, 9), d.soft())
		if d.yes("from") {
			s += " from " + d.point()
		}
		line("%s", s)
	}
	if d.yes("tone") {
		line("%s", d.tone(through()))
	}
	line("}\n\nprint p {")
	line("    size %d px %s at 100 ppi", d.n("side", 1, 130), d.one("side", "wide", "high"))
	if d.yes("crop") {
		line("    crop to %d:%d at %s", d.n("cw", 1, 5), d.n("ch", 1, 5), d.point())
	}
	enlarge := func() string {
		return "enlarge with " + d.one("kernel", "nearest", "linear", "cubic", "mitchell", "b-spline", "lanczos2", "lanczos3", "lanczos4") + d.one("light", "", " light linear", " light encoded")
	}
	if d.yes("blend") {
		line("    %s as one\n    %s as two\n    blend one over two%s at %d%%", enlarge(), enlarge(), through(), d.n("at", 1, 100))
	} else {
		line("    %s", enlarge())
	}
	if d.yes("sharpen") {
		line("    sharpen radius %d.%d px amount %d%%%s", d.n("radius", 0, 6), d.n("tenth", 1, 9), d.n("amount", 1, 300), through())
	}
	switch d.one("last", "", "tone", "mix", "tint", "tone, mix") {
	case "tone":
		line("%s", d.tone(through()))
	case "mix":
		if !d.grey {
			line("%s", d.mix())
		}
	case "tint":
		if d.grey {
			line("%s", d.tint())
		}
	case "tone, mix":
		line("%s", d.tone(through()))
		if !d.grey {
			line("%s", d.mix())
		}
	}
	if d.yes("convert") {
		line("    convert to %s", d.one("space", "sRGB", "ROMM-RGB", "Display-P3", "grey-2.2"))
	}
	if d.yes("border") {
		line("    border %d px%s", d.n("border", 1, 9), d.colour(false))
	}
	if d.yes("wrap") {
		line("    wrap %d px%s", d.n("wrap", 1, 20), d.one("way", " continued reflected", " continued repeated", " of picture", d.colour(true)))
	}
	line("    save %s\n}", d.one("save", `jpeg "p.jpg" quality 100 chroma full`, `jpeg "p.jpg" quality 80 chroma half`, `tiff "p.tif" bits 16`, `tiff "p.tif" bits 8`))
	return b.String()
}

// Random recipes on random small pictures give the same bytes, print file and
// determined log, whatever the workers, the height of bands, the processors and
// the place of pictures between; a section has the samples of the whole.
func TestPropertySameBytes(t *testing.T) {
	// A third of the usual number, for each one builds five times; more with
	// -rapid.checks.
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		if err := f.Value.Set("35"); err != nil {
			t.Fatal(err)
		}
		defer f.Value.Set(f.DefValue)
	}
	planned := 0
	rapid.Check(t, func(r *rapid.T) {
		dir, err := os.MkdirTemp("", "property-")
		if err != nil {
			r.Fatal(err)
		}
		defer os.RemoveAll(dir)
		d := &drawer{T: r, w: rapid.IntRange(1, 40).Draw(r, "width"), h: rapid.IntRange(1, 30).Draw(r, "height"), c: rapid.SampledFrom([]int{1, 3}).Draw(r, "channels")}
		space := "grey-2.2"
		if d.c == 3 {
			space = d.one("space", "sRGB", "opRGB", "ROMM-RGB")
		}
		writeMaster(t, filepath.Join(dir, "m.tif"), d.w, d.h, d.c, space)
		d.grey = d.c == 1
		text := d.recipe()
		file := filepath.Join(dir, "r.recipe")
		write(t, file, text)
		ctx := context.Background()
		j, err := Load(ctx, file, LoadOptions{NoOutputs: true})
		if err != nil {
			r.Fatalf("%v\n%s", err, text)
		}
		defer j.Close()
		for _, g := range j.Diags {
			if g.Severity == lang.Error {
				// A crop or a size may leave nothing, or another shape.
				r.Skip(g.Summary)
			}
		}
		planned++
		var wantFile, wantLog string
		for i := range 3 {
			o := BuildOptions{Workers: 1, Out: filepath.Join(dir, fmt.Sprint(i))}
			procs := 1
			if i > 0 {
				o.Workers, o.BandRows, procs = d.n("workers", 1, 6), d.n("band rows", 0, 70), d.n("processors", 1, 4)
			}
			most := plan.MemoryLimit
			if i == 2 {
				plan.MemoryLimit = 1
			}
			old := runtime.GOMAXPROCS(procs)
			built, err := Build(ctx, j, o)
			runtime.GOMAXPROCS(old)
			plan.MemoryLimit = most
			if err != nil {
				r.Fatalf("%v\n%s", err, text)
			}
			gotFile, gotLog := string(read(t, built[0].File)), determinedPart(t, built[0].Log)
			if i == 0 {
				wantFile, wantLog = gotFile, gotLog
				continue
			}
			if gotFile != wantFile || gotLog != wantLog {
				r.Fatalf("%d workers, bands of %d rows, %d processors: other bytes (file %v, log %v)\n%s",
					o.Workers, o.BandRows, procs, gotFile != wantFile, gotLog != wantLog, text)
			}
		}
		p := j.Plans[0]
		whole, part := filepath.Join(dir, "whole.tif"), filepath.Join(dir, "part.tif")
		if _, err := Section(ctx, j, p, 0, 0, 0, 0, whole, BuildOptions{}); err != nil {
			r.Fatalf("%v\n%s", err, text)
		}
		W, H, C, all := samples(t, whole)
		x, y := d.n("section x", 0, W-1), d.n("section y", 0, H-1)
		w, h := d.n("section w", 1, W-x), d.n("section h", 1, H-y)
		if _, err := Section(ctx, j, p, x, y, w, h, part, BuildOptions{Workers: d.n("workers", 1, 3), BandRows: d.n("band rows", 1, 40)}); err != nil {
			r.Fatalf("%v\n%s", err, text)
		}
		_, _, _, got := samples(t, part)
		for i := range h {
			if !equal(all[((y+i)*W+x)*C:][:w*C], got[i*w*C:][:w*C]) {
				r.Fatalf("section %d,%d,%d,%d: row %d differs from the whole\n%s", x, y, w, h, i, text)
			}
		}
	})
	if planned < 20 {
		t.Errorf("only %d recipes could be planned", planned)
	}
}
