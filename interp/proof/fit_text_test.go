package proof

import (
	"strings"
	"testing"

	"platemark/lang"
)

const fitHead = `recipe 1 draft

master "m.tif"

paper rag {
    profile      "p.icc"
}

`

const fitPrint = `print p on rag {
    size 3 in x 2 in at 20 ppi
    save tiff "p.tif"
}
`

// A block goes where it belongs, as the canonical form has it, and every other
// byte stays. Expected texts written by hand.
func TestSetTone(t *testing.T) {
	s := setting{15, 0, -2, 8, 0}
	block := "    tone for rag {\n        exposure       +0.15 stops\n        warmth         -2 mired\n        chroma         +8%\n    }\n"
	for name, c := range map[string][2]string{
		"no prepare": {
			fitHead + "# The print.\n# Large.\n" + fitPrint,
			fitHead + "prepare {\n" + block + "}\n\n# The print.\n# Large.\n" + fitPrint},
		"steps come first": {
			fitHead + "steps a {\n    sharpen radius 1 px amount 50%\n}\n\n" + strings.Replace(fitPrint, "    save", "    follow a\n    save", 1),
			fitHead + "prepare {\n" + block + "}\n\nsteps a {\n    sharpen radius 1 px amount 50%\n}\n\n" + strings.Replace(fitPrint, "    save", "    follow a\n    save", 1)},
		"end of prepare": {
			fitHead + "prepare {   # odd   spaces stay\n  spot pixels over 12%\n}\n\n" + fitPrint,
			fitHead + "prepare {   # odd   spaces stay\n  spot pixels over 12%\n\n" + block + "}\n\n" + fitPrint},
		"behind another block": {
			fitHead + "prepare {\n    tone {\n        chroma         +3%\n    }  # all papers\n}\n\n" + fitPrint,
			fitHead + "prepare {\n    tone {\n        chroma         +3%\n    }  # all papers\n\n" + block + "}\n\n" + fitPrint},
		"another mask's block stays": {
			fitHead + "mask m {\n    invert\n}\n\nprepare {\n    tone for rag through m {\n        exposure       +1 stops\n    }\n}\n\n" + fitPrint,
			fitHead + "mask m {\n    invert\n}\n\nprepare {\n    tone for rag through m {\n        exposure       +1 stops\n    }\n\n" + block + "}\n\n" + fitPrint},
		"in place of its own": {
			fitHead + "prepare {\n    tone for rag {  # found in round 3\n        # Not too far.\n        exposure       +0.4 stops\n        curve          (0, 0), (50, 55), # up\n            (100, 100)\n        contrast       -3%              # why\n        muted chroma   +2%\n    }\n    spot pixels over 12%\n}\n\n" + fitPrint,
			fitHead + "prepare {\n    tone for rag {  # found in round 3\n        warmth         -2 mired\n        chroma         +8%\n        # Not too far.\n        exposure       +0.15 stops\n        curve          (0, 0), (50, 55), # up\n            (100, 100)\n        contrast       0%                   # why\n    }\n    spot pixels over 12%\n}\n\n" + fitPrint},
	} {
		for _, end := range []string{"\n", "\r\n"} {
			src := strings.ReplaceAll(c[0], "\n", end)
			rec, ds := lang.Parse("r.recipe", []byte(src))
			if lang.HasErrors(ds) {
				t.Fatalf("%s: %v", name, ds)
			}
			out, line := setTone([]byte(src), rec, "rag", s)
			if want := strings.ReplaceAll(c[1], "\n", end); string(out) != want {
				t.Errorf("%s: got\n%s\nwant\n%s", name, out, want)
				continue
			}
			got, ds := lang.Parse("r.recipe", out)
			if lang.HasErrors(ds) {
				t.Errorf("%s: %v", name, ds)
				continue
			}
			own := ownTone(got, "rag")
			if own == nil || own.Line != line || own.Exposure.Value.FloatString(2) != "0.15" || own.Chroma.Value.FloatString(0) != "8" {
				t.Errorf("%s: line %d, %+v", name, line, own)
			}
			// A second time it finds its own block and changes nothing.
			if again, _ := setTone(out, got, "rag", s); string(again) != string(out) {
				t.Errorf("%s: writing twice gives\n%s", name, again)
			}
			f, _ := lang.Format("r.recipe", []byte(c[0]))
			if end == "\n" && string(f) == c[0] {
				if f, _ = lang.Format("r.recipe", out); string(f) != string(out) {
					t.Errorf("%s: the canonical form is\n%s\ngot\n%s", name, f, out)
				}
			}
		}
	}
}
