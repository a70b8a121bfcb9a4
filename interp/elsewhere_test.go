package interp

import (
	"bytes"
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/interp/plan"
	"platemark/lang"
)

// An enlargement that was saved and is named as a picture made elsewhere gives the
// bytes that it gives when the recipe makes it, blended, taken, cropped and in
// prepare; verify, reprint, sections and reduced plans know it.
func TestPictureMadeElsewhereIsUsedPixelByPixel(t *testing.T) {
	ctx := context.Background()
	folder, file := smallJob(t, strings.NewReplacer("KEEN", "sharpen radius 1 px amount 80%", "SMOOTH", "enlarge with mitchell as smooth").Replace(elsewhereParts))
	parts := mustBuild(t, file, LoadOptions{}, BuildOptions{})
	for _, c := range []struct{ name, head, prepare, steps string }{
		{"made here", "", "sharpen radius 1 px amount 80%", "crop to 1:1\n    enlarge with mitchell as smooth\n    enlarge with lanczos3 as crisp\n    blend smooth over crisp through west at 60%"},
		{"above", `picture smooth "smooth.tif"`, "sharpen radius 1 px amount 80%", "crop to 1:1\n    enlarge with lanczos3 as crisp\n    blend smooth over crisp through west at 60%"},
		{"below", `picture crisp "crisp.tif"`, "sharpen radius 1 px amount 80%", "crop to 1:1\n    enlarge with mitchell as smooth\n    blend smooth over crisp through west at 60%"},
		{"both", "picture smooth \"smooth.tif\"\npicture crisp \"crisp.tif\"", "sharpen radius 1 px amount 80%", "crop to 1:1\n    blend smooth over crisp through west at 60%"},
		{"in prepare", "picture keen \"keen.tif\"\npicture crisp \"crisp.tif\"", "take keen", "crop to 1:1\n    enlarge with mitchell as smooth\n    blend smooth over crisp through west at 60%"},
	} {
		src := strings.NewReplacer("HEAD", c.head, "PREPARE", c.prepare, "STEPS", c.steps).Replace(elsewhereUse)
		file := filepath.Join(folder, "use.recipe")
		write(t, file, src)
		j := mustLoad(t, file, LoadOptions{})
		want := 1 + strings.Count(c.head, "picture")
		if n := len(j.Plans[0].Inputs); n != want {
			t.Errorf("%s: %d inputs, expected %d", c.name, n, want)
		}
		b := mustBuild(t, file, LoadOptions{}, BuildOptions{Out: t.TempDir()})[0]
		if got, want := read(t, b.File), read(t, parts[len(parts)-1].File); !bytes.Equal(got, want) {
			t.Errorf("%s: another file than the one made here", c.name)
		}
		if v, err := Verify(ctx, b.Log, VerifyOptions{}); err != nil || !v.OK {
			t.Errorf("%s: verify: %v %v", c.name, v, err)
		}
		if again, err := Reprint(ctx, b.Log, ReprintOptions{BuildOptions: BuildOptions{Out: t.TempDir()}}); err != nil || again.Sum != b.Sum {
			t.Errorf("%s: reprint: %v", c.name, err)
		}
		s := NewSession(2, nil)
		defer s.Close()
		_, _, _, whole := samples(t, b.File)
		p := j.Plans[0]
		for _, w := range []int{p.Picture.W, 40, 21} {
			m, err := s.Reduced(ctx, p, p.Out, w, w)
			if err != nil || m.W != w {
				t.Errorf("%s: reduced to %d px: %v", c.name, w, err)
			}
			if w == p.Picture.W && !slices.Equal(m.Samples, whole) {
				t.Errorf("%s: a plan run small at full size differs", c.name)
			}
		}
	}
}

// The same parts, saved by themselves.
const elsewhereParts = `recipe 1 draft
master "m.tif"

mask west {
    rectangle at (25%, 50%) size 50% x 100%
}

prepare {
    KEEN
}

print only-keen {
    size 96 px wide at 300 ppi
    enlarge with linear
    save tiff "keen.tif"
}

print only-smooth {
    size 90 px x 90 px at 300 ppi
    crop to 1:1
    enlarge with mitchell
    save tiff "smooth.tif"
}

print only-crisp {
    size 90 px x 90 px at 300 ppi
    crop to 1:1
    enlarge with lanczos3
    save tiff "crisp.tif"
}

print all {
    size 90 px x 90 px at 300 ppi
    crop to 1:1
    SMOOTH
    enlarge with lanczos3 as crisp
    blend smooth over crisp through west at 60%
    save tiff "all.tif"
}
`

const elsewhereUse = `recipe 1 draft
master "m.tif"
HEAD

mask west {
    rectangle at (25%, 50%) size 50% x 100%
}

prepare {
    PREPARE
}

print all {
    size 90 px x 90 px at 300 ppi
    STEPS
    save tiff "use.tif"
}
`

// What doesn't fit is refused at the word, with the sizes; another space is noted;
// the picture may take the place of all that there is.
func TestPictureMadeElsewhereThatDoesNotFit(t *testing.T) {
	folder, file := smallJob(t, elsewhereParts)
	writeMaster(t, filepath.Join(folder, "odd.tif"), 91, 90, 3, "opRGB")
	writeMaster(t, filepath.Join(folder, "bare.tif"), 90, 90, 3, "")
	writeMaster(t, filepath.Join(folder, "srgb.tif"), 90, 90, 3, "sRGB")
	use := func(line, steps string) string {
		return strings.NewReplacer("HEAD", line, "PREPARE", "sharpen radius 1 px amount 80%", "STEPS", steps).Replace(elsewhereUse)
	}
	const crisp = "crop to 1:1\n    enlarge with lanczos3 as crisp\n    "
	for _, c := range []struct{ src, code, want string }{
		{use(`picture odd "odd.tif"`, crisp+"blend odd over crisp through west"), plan.CodePicture, "odd is 91 x 90 px, the picture that it is used with 90 x 90 px"},
		{use(`picture odd "odd.tif"`, "crop to 1:1\n    take odd"), plan.CodePicture, "the print 90 x 90 px"},
		{use(`picture bare "bare.tif"`, crisp+"blend crisp over bare through west"), plan.CodeUntagged, "bare.tif doesn't say what its colours mean"},
		{use(`picture gone "gone.tif"`, crisp+"blend crisp over gone through west"), plan.CodeInput, "the picture gone.tif can't be opened"},
		{use(`picture plain "srgb.tif"`, crisp+"blend crisp over plain through west"), plan.CodePictureSpace, "plain is in sRGB"},
		{use(`picture plain "srgb.tif"`, "crop to 1:1\n    take plain"), plan.CodePictureSpace, "plain is in sRGB"},
	} {
		write(t, file, c.src)
		j, err := Load(context.Background(), file, LoadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(j.Diags, func(d lang.Diagnostic) bool { return d.Code == c.code })
		if i < 0 || !strings.Contains(j.Diags[i].Summary, c.want) {
			t.Errorf("expected %q of %s, got %v", c.want, c.code, j.Diags)
		}
		if !lang.HasErrors(j.Diags) {
			b, err := Build(context.Background(), j, BuildOptions{Out: t.TempDir()})
			if err != nil {
				t.Error(err)
			} else if v, err := Verify(context.Background(), b[0].Log, VerifyOptions{}); err != nil || !v.OK {
				t.Errorf("%v %v", v, err)
			}
		}
		j.Close()
	}
	if left, _ := filepath.Glob(filepath.Join(folder, "*.jsonl")); len(left) > 0 {
		t.Errorf("%v", left)
	}
}
