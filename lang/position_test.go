package lang

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// anyFiles are all recipes of the tests, right and wrong.
func anyFiles(t testing.TB) [][]byte {
	var out [][]byte
	for _, src := range rightFiles(t) {
		out = append(out, src)
	}
	for _, src := range wrongFiles(t) {
		out = append(out, src)
	}
	return out
}

// wholeShop is a recipe with every kind of name.
const wholeShop = `recipe 1 draft
title "Salt road"
master "salt-road.tif" on white
paper baryta {
    profile "papers/baryta.icc"
    intent relative
    black-point on
}
lab harbour {
    takes jpeg, tiff
    space opRGB
    resolution 300 ppi
    bits 8
    largest file 500 MB
}
mask grasses {
    stroke along (4%, 71%), (18%, 69.5%),
        (52%, 70%) width 6% soft 70%
    less ellipse at (58%, 66%) size 9% x 4% soft 50%
    within rectangle at (50%, 50%) size 90% x 90%
    invert
    soften 0.5%
}
mask rocks {
    polygon (61%, 58%), (74%, 55%), (80%, 67%)
    gradient from (0%, 0%) to (0%, 100%)
    less mask grasses
    file "rocks.tif"
}
prepare {
    turn left
    mirror
    spot pixels over 12% through rocks
    spot at (22.4%, 11.8%) radius 0.06% soft 10% from (30%, 30%)
    tone for baryta through rocks {
        exposure +0.15 stops
        warmth -2 mired
        curve (0, 0), (50, 55), (100, 100)
        local contrast 10% radius 1%
        muted chroma 3%
    }
}
steps wall {
    enlarge with lanczos3 light linear as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through grasses at 40% as both
    take both
}
print large on baryta for harbour {
    edition 10 plus 2 proofs
    size within 60 in x 40 in at 300 ppi
    crop to 3:2 at (50%, 50%)
    follow wall
    sharpen radius 1.8 px amount 190% method unsharp quiet 1% halo 5% through rocks
    convert to harbour intent relative black-point on
    border 0.5 in colour white
    save jpeg "large.jpg" quality 100 chroma full
}
print small {
    size 12 in wide at 300 ppi
    crop (10%, 10%) to (90%, 90%)
    mix red 30% green 60% blue 10%
    tint hue 60 deg chroma 5%
    enlarge with cubic as plain
    take plain
    sharpen radius 1 px amount 100% as sharp
    sharpen radius 1 px amount 50% as dull
    blend sharp over dull
    convert to sRGB
    wrap 40 mm continued reflected
    save tiff "small.tif" bits 16
}
`

// goodFiles are the right recipes of the tests, the examples and one more.
func goodFiles(t testing.TB) map[string][]byte {
	out := rightFiles(t)
	more, _ := filepath.Glob("../recipes/*.recipe")
	for _, f := range more {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		out[f] = b
	}
	out["shop"] = []byte(wholeShop)
	for f, src := range out {
		if _, ds := Parse(f, src); HasErrors(ds) {
			t.Fatalf("%s: %+v", f, ds[0])
		}
	}
	return out
}

// The outline of a right recipe has the blocks and names of its tree.
func TestOutlineAgreesWithTheTree(t *testing.T) {
	for _, src := range goodFiles(t) {
		rec, _ := Parse("x", src)
		o := ReadOutline(src)
		got := map[NameKind][]string{}
		for _, n := range o.Names {
			if n.Gives && n.Of != NamePicture {
				got[n.Of] = append(got[n.Of], n.Value)
			}
		}
		want := map[NameKind][]string{}
		for _, m := range rec.Masks {
			want[NameMask] = append(want[NameMask], m.Name.Value)
		}
		for _, m := range rec.Steps {
			want[NameSteps] = append(want[NameSteps], m.Name.Value)
		}
		for _, m := range rec.Prints {
			want[NamePrint] = append(want[NamePrint], m.Name.Value)
		}
		for _, m := range rec.Papers {
			want[NamePaper] = append(want[NamePaper], m.Name.Value)
		}
		for _, m := range rec.Labs {
			want[NameLab] = append(want[NameLab], m.Name.Value)
		}
		if cmp.Diff(got, want) != "" {
			t.Errorf("%q: names %v, want %v", src, got, want)
		}
		for _, b := range o.Top.Blocks {
			if from, to := b.Bytes(); b.Kind == "" || src[to-1] != '}' || !bytes.HasPrefix(src[from:], []byte(b.Kind)) {
				t.Errorf("block %s: %q", b.Kind, src[from:to])
			}
		}
	}
}

// codesByLine are the codes of a text's problems with their lines.
func codesByLine(src []byte) []string {
	_, ds := Parse("x", src)
	var out []string
	for _, d := range ds {
		out = append(out, d.Code+" "+string(rune('0'+d.Span.Line)))
	}
	slices.Sort(out)
	return out
}

// Giving a thing another name everywhere changes no problem of the recipe:
// nothing is forgotten and nothing else is touched.
func TestRenamedRecipesMeanTheSame(t *testing.T) {
	n := 0
	for _, src := range goodFiles(t) {
		o := ReadOutline(src)
		for i := range o.Names {
			name := &o.Names[i]
			if why := o.Taken(name, "zz-9"); why != "" {
				t.Fatal(why)
			}
			var edits []Edit
			for _, x := range o.Same(name) {
				edits = append(edits, Edit{x.Offset, x.End, "zz-9"})
			}
			out := Apply(src, edits...)
			if a, b := codesByLine(src), codesByLine(out); cmp.Diff(a, b) != "" {
				t.Errorf("%s %s on line %d: %v before, %v behind\n%s", name.Of, name.Value, name.Line, a, b, out)
			}
			n++
		}
	}
	if n < 30 {
		t.Errorf("only %d names were changed", n)
	}
}

// What is offered at a place is taken there: with any word offered for a
// statement that has begun, the rest of the right line is still the only
// thing that is missing.
func TestFollowingOffersWhatStands(t *testing.T) {
	n := 0
	for _, src := range goodFiles(t) {
		o := ReadOutline(src)
		for _, l := range o.Top.statements() {
			for _, k := range l.Tokens {
				if k.Kind != KindWord && k.Kind != KindKernel && k.Kind != KindSpace && k.Kind != KindName && k.Kind != KindUnit || k.Value == "%" {
					continue
				}
				f := Following(src, k.Offset)
				var offers []string
				offers = append(append(offers, f.Words...), f.Units...)
				if f.Kernels {
					offers = append(offers, Kernels...)
				}
				if f.Spaces {
					offers = append(offers, Spaces...)
				}
				for _, of := range f.Names {
					for _, g := range o.Given(of, f.At) {
						offers = append(offers, g.Value)
					}
				}
				gives := slices.ContainsFunc(o.Names, func(x NameAt) bool { return x.Offset == k.Offset && x.Gives })
				if !gives && !slices.Contains(offers, k.Value) {
					t.Errorf("line %d, column %d: %s isn't among %v\n%s", k.Line, k.Col, k.Value, offers, excerpt(src, l.Span))
				}
				n++
			}
		}
	}
	if n < 300 {
		t.Errorf("only %d places were looked at", n)
	}
}

// No place of any text makes the helpers fail.
func TestPositionsNeverFail(t *testing.T) {
	for _, src := range anyFiles(t) {
		for at := 0; at <= len(src); at += 19 {
			f := Following(src, at)
			if f.From < 0 || f.From > at {
				t.Fatalf("%d: the word begins at %d", at, f.From)
			}
			o := ReadOutline(src[:at])
			o.At(at)
			if n := o.NameAtByte(at); n != nil {
				o.Same(n)
				o.Taken(n, "zz")
			}
		}
	}
}

func TestWordsAreReserved(t *testing.T) {
	for _, w := range Words() {
		if !Reserved(w) || strings.TrimSpace(w) == "" {
			t.Errorf("%q", w)
		}
	}
}
