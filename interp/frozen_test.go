package interp

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/lang"
	"platemark/ops"
	"platemark/testdata/frozen"
)

// become plays an engine of which the chosen pieces are frozen, with a list of
// vectors of its own and further pieces.
func become(t *testing.T, list string, chosen func(frozen.Piece) bool, more ...frozen.Piece) {
	t.Helper()
	var table []frozen.Piece
	for _, p := range frozen.Pieces() {
		p.Frozen = chosen(p)
		table = append(table, p)
	}
	t.Cleanup(frozen.TestOnlyBecome([]byte(list), append(table, more...)))
}

// Without draft a recipe may use frozen pieces only, those too that no statement
// names; the error says which isn't, and where it is used.
func TestRecipeWithoutDraftUsesFrozenPieces(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 40, 30, 3, "opRGB")
	file := filepath.Join(folder, "r.recipe")
	write(t, file, "recipe 1\nmaster \"m.tif\"\n\nprint p {\n    size 80 px wide at 100 ppi\n    enlarge with mitchell\n    save jpeg \"p.jpg\"\n}\n")
	for draft, line := range map[string]int{
		"reader tiff 1": 2, "table spaces 1": 2, "operation enlarge 1": 6, "kernel mitchell 1": 6, "encoder jpeg 1": 7, "digest mark 1": 1, "statement enlarge": 6,
		// What it doesn't use may be a draft.
		"reader png 1": 0, "reader icc 1": 0, "kernel cubic 1": 0, "encoder tiff 1": 0, "operation mask 1": 0, "statement crop": 0,
	} {
		t.Run(draft, func(t *testing.T) {
			become(t, "a list", func(p frozen.Piece) bool { return p.String() != draft })
			j, err := Load(context.Background(), file, LoadOptions{})
			if err != nil {
				t.Fatal(err)
			}
			defer j.Close()
			var got, want []string
			for _, d := range j.Diags {
				if d.Severity == lang.Error {
					got = append(got, fmt.Sprint(d.Code, " line ", d.Span.Line, ": ", d.Summary, "; ", d.Hints))
				}
			}
			if line > 0 {
				want = append(want, fmt.Sprint("PM703 line ", line, ": the ", draft, " isn't frozen yet; [write recipe 1 draft]"))
			}
			if !slices.Equal(got, want) {
				t.Errorf("%q, expected %q", got, want)
			}
		})
	}
}

// A log of a recipe without draft names no list of vectors: a later engine, which
// has a further piece, froze it and has other vectors, makes the same bytes and
// records, verifies the old log and reprints it. A draft's log it refuses.
func TestLaterEngineRebuildsWhatWasFrozen(t *testing.T) {
	folder, file, drafts := twoJob(t)
	used := map[string]bool{}
	for _, p := range mustLoad(t, file, LoadOptions{NoOutputs: true}).Plans {
		for _, u := range p.Pieces {
			used[u.Piece] = true
		}
	}
	become(t, "the first list", func(p frozen.Piece) bool { return used[p.String()] })
	plain := filepath.Join(folder, "plain.recipe")
	write(t, plain, strings.Replace(twoPrints, "recipe 1 draft", "recipe 1", 1))
	old := mustBuild(t, plain, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "old")})
	for i, b := range old {
		if b.Sum != drafts[i].Sum || b.Mark != drafts[i].Mark {
			t.Errorf("print %s has other bytes or another mark without draft", b.Print)
		}
		if first, _, _ := strings.Cut(determinedPart(t, b.Log), "\n"); strings.Contains(first, "draft") || !strings.Contains(first, `"language":1`) {
			t.Errorf("the log begins with %s", first)
		}
	}

	// The later engine.
	t.Cleanup(ops.TestOnlyRegister(otherKernel(t, "enlarge", 2, 0, 9)))
	become(t, "the first list\nand a line", func(p frozen.Piece) bool { return p.Frozen }, frozen.Piece{Kind: "operation", Name: "enlarge", Version: 2, Frozen: true})
	again := mustBuild(t, plain, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "again")})
	for i, b := range old {
		if b.Sum != again[i].Sum || determinedPart(t, b.Log) != determinedPart(t, again[i].Log) {
			t.Errorf("print %s has other bytes or records", b.Print)
		}
		if v, err := Verify(context.Background(), b.Log, VerifyOptions{Strict: true}); err != nil || v.State != Fine || slices.ContainsFunc(v.Lines, func(l Finding) bool { return strings.Contains(l.What, "not made again") }) {
			t.Errorf("print %s: %v %+v", b.Print, err, v)
		}
		r, err := Reprint(context.Background(), b.Log, ReprintOptions{BuildOptions: BuildOptions{Out: filepath.Join(folder, "reprinted")}})
		if err != nil || r.Sum != b.Sum {
			t.Errorf("print %s: %v", b.Print, err)
		}
		_, err = Reprint(context.Background(), drafts[i].Log, ReprintOptions{BuildOptions: BuildOptions{Out: filepath.Join(folder, "refused")}})
		if err == nil || !strings.Contains(err.Error(), "the log is of another draft of version 1 (vector list ") {
			t.Errorf("print %s of a draft: %v", b.Print, err)
		}
	}
}
