package lint

import (
	"bytes"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"platemark/lang"
	"platemark/ops"
	"platemark/testdata/frozen"
)

// secondList names the pieces, one a line, that the second reader in
// testdata/second makes from the text of the books.
var secondList = filepath.Join("..", "..", "testdata", "second", "PIECES")

// secondReader are the pieces of the second reader's list, none where there is no
// list.
func secondReader(t testing.TB) (names []string) {
	t.Helper()
	b, err := os.ReadFile(secondList)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		names = append(names, strings.TrimSpace(line))
	}
	return names
}

// hasVectors says whether a listed file holds vectors of a piece: cases that only
// it has, or for a statement a recipe with it.
func hasVectors(t testing.TB, p frozen.Piece) bool {
	t.Helper()
	pattern, words := p.Vectors()
	for _, n := range vectorFiles(t) {
		ok, err := path.Match(pattern, n)
		if err != nil {
			t.Fatal(err)
		}
		if !ok || !bytes.Contains(frozen.List(), []byte("  "+n+"\n")) {
			continue
		}
		text := read(t, filepath.Join(frozenDir, n))
		if p.Kind == "statement" {
			rec, ds := lang.Parse(n, text)
			if len(ds) == 0 && slices.ContainsFunc(rec.Uses, func(u lang.Use) bool { return u.Piece == p.String() }) {
				return true
			}
			continue
		}
		// A case is a line at least beside the header.
		cases := regexp.MustCompile(`(?m)^(#.*)?\n`).ReplaceAll(text, nil)
		if len(cases) > 0 && bytes.Contains(cases, []byte(words)) {
			return true
		}
	}
	return false
}

// noTest gives those of the tests "ops.TestX ops/colour.TestY" that aren't there.
func noTest(t testing.TB, tests string) (missing []string) {
	t.Helper()
	for _, name := range strings.Fields(tests) {
		folder, function, _ := strings.Cut(name, ".")
		files, err := filepath.Glob(filepath.Join("..", "..", filepath.FromSlash(folder), "*_test.go"))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(files, func(f string) bool { return bytes.Contains(read(t, f), []byte("\nfunc "+function+"(t *testing.T)")) }) {
			missing = append(missing, name)
		}
	}
	return missing
}

// lacks says which proofs a piece would need to be frozen and hasn't. What is
// computed needs vectors, a second reader that makes it from the text, a plain
// twin and a check against something outside. Statements and digests are rules of
// ours: vectors and the second reader are all that can hold them.
func lacks(t testing.TB, p frozen.Piece, second []string) (out []string) {
	t.Helper()
	if !hasVectors(t, p) {
		file, words := p.Vectors()
		out = append(out, strings.TrimSpace("vectors: "+file+" "+words))
	}
	if !slices.Contains(second, p.String()) {
		out = append(out, "the second reader: testdata/second/PIECES")
	}
	for what, tests := range map[string]string{"a plain twin": p.Twin, "a check against something outside": p.Outside} {
		if tests == "" && p.Kind != "statement" && p.Kind != "digest" {
			out = append(out, what)
		}
		for _, name := range noTest(t, tests) {
			out = append(out, what+": there is no "+name)
		}
	}
	slices.Sort(out)
	return out
}

// No piece is frozen that lacks a proof, and every test that the table names is
// there.
func TestFrozenPiecesAreProved(t *testing.T) {
	second := secondReader(t)
	for _, p := range frozen.Pieces() {
		missing := lacks(t, p, second)
		if p.Frozen && len(missing) > 0 {
			t.Errorf("%s can't be frozen; it lacks\n%s", p, strings.Join(missing, "\n"))
		}
		for _, name := range noTest(t, p.Twin+" "+p.Outside) {
			t.Errorf("%s: testdata/frozen/pieces.go names the test %s, which isn't there", p, name)
		}
	}
	for _, n := range second {
		if _, ok := frozen.Find(n); !ok {
			t.Errorf("testdata/second/PIECES has %q, which testdata/frozen/pieces.go hasn't", n)
		}
	}
}

// The gate bites: each proof that a piece lacks is missed, and one with all of
// them passes.
func TestPiecesWithoutProofAreRefused(t *testing.T) {
	blend, _ := frozen.Find("operation blend 1")
	blend.Outside = "ops.TestBlendNothingAndAll"
	with := func(change func(*frozen.Piece)) frozen.Piece {
		p := blend
		change(&p)
		return p
	}
	for _, c := range []struct {
		p     frozen.Piece
		lacks string
	}{
		{blend, ""},
		{with(func(p *frozen.Piece) { p.Version = 9 }), "the second reader: testdata/second/PIECES; vectors: operation-blend-9.txt"},
		{with(func(p *frozen.Piece) { p.Twin = "" }), "a plain twin"},
		{with(func(p *frozen.Piece) { p.Outside = "" }), "a check against something outside"},
		{with(func(p *frozen.Piece) { p.Outside = "ops.TestBlend" }), "a check against something outside: there is no ops.TestBlend"},
		{with(func(p *frozen.Piece) { p.Kind, p.Name = "kernel", "none" }), "the second reader: testdata/second/PIECES; vectors: operation-enlarge-1.txt arg kernel none"},
		{frozen.Piece{Kind: "statement", Name: "crop", Version: 1}, ""},
		{frozen.Piece{Kind: "statement", Name: "none", Version: 1}, "the second reader: testdata/second/PIECES; vectors: language-1*.recipe"},
		{frozen.Piece{Kind: "digest", Name: "mark", Version: 1}, "the second reader: testdata/second/PIECES"},
	} {
		if got := strings.Join(lacks(t, c.p, []string{"operation blend 1", "statement crop"}), "; "); got != c.lacks {
			t.Errorf("%s lacks %q, expected %q", c.p, got, c.lacks)
		}
	}
}

// Whatever bytes depend on is a piece: every operation and version, kernel and
// file of vectors.
func TestEverythingIsAPiece(t *testing.T) {
	var names []string
	for _, o := range ops.Table() {
		names = append(names, fmt.Sprintf("operation %s %d", o.Name, o.Version))
		for _, p := range o.Params {
			if p.Name == "kernel" {
				for _, w := range p.Words {
					names = append(names, fmt.Sprintf("kernel %s %d", w, o.Version))
				}
			}
		}
	}
	for _, n := range names {
		if _, ok := frozen.Find(n); !ok {
			t.Errorf("testdata/frozen/pieces.go has no %s", n)
		}
	}
	seen := map[string]bool{}
	for _, p := range frozen.Pieces() {
		if seen[p.String()] {
			t.Errorf("testdata/frozen/pieces.go has the %s twice", p)
		}
		seen[p.String()] = true
		if (p.Kind == "operation" || p.Kind == "kernel") && !slices.Contains(names, p.String()) {
			t.Errorf("testdata/frozen/pieces.go has the %s; nothing computes it", p)
		}
	}
	for _, n := range vectorFiles(t) {
		if !strings.HasPrefix(n, "language-") && !slices.ContainsFunc(frozen.Pieces(), func(p frozen.Piece) bool {
			file, _ := p.Vectors()
			return file == n
		}) {
			t.Errorf("no piece has the vectors of %s", n)
		}
	}
}

// BYTES shows the table: the state of each piece, and which proofs it has and
// lacks; of statements the state.
func TestBytesShowsTheTable(t *testing.T) {
	second := secondReader(t)
	states := map[bool]string{true: "frozen", false: "draft"}
	statements := map[bool][]string{}
	var b strings.Builder
	b.WriteString("| piece | state | proofs |\n| --- | --- | --- |\n")
	for _, p := range frozen.Pieces() {
		if p.Kind == "statement" {
			statements[p.Frozen] = append(statements[p.Frozen], p.Name)
			continue
		}
		file, _ := p.Vectors()
		proofs := map[bool][]string{}
		for _, proof := range []struct {
			name          string
			there, needed bool
		}{
			{"vectors in " + file, hasVectors(t, p), true},
			{"a twin", p.Twin != "", p.Kind != "digest"},
			{"an outside check", p.Outside != "", p.Kind != "digest"},
			{"the second reader", slices.Contains(second, p.String()), true},
		} {
			if proof.there || proof.needed {
				proofs[proof.there] = append(proofs[proof.there], proof.name)
			}
		}
		all := strings.Join(proofs[true], ", ")
		if missing := proofs[false]; missing != nil {
			all = strings.TrimPrefix(all+"; lacks "+strings.Join(missing, ", "), "; ")
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", p, states[p.Frozen], all)
	}
	for _, is := range []bool{true, false} {
		if list := statements[is]; list != nil {
			fmt.Fprintf(&b, "\nStatements, %s: %s.\n", states[is], strings.Join(list, "; "))
		}
	}
	if book := read(t, filepath.Join("..", "..", "lang", "BYTES.md")); !bytes.Contains(book, []byte(b.String())) {
		t.Errorf("lang/BYTES.md lacks the table of pieces, which reads\n%s", b.String())
	}
}
