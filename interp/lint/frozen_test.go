package lint

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"platemark/interp"
	"platemark/interp/vectors"
	"platemark/ops"
	"platemark/testdata/frozen"
)

// frozenDir holds the vectors.
var frozenDir = filepath.Join("..", "..", "testdata", "frozen")

func read(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// vectorFiles are the names of all files of the folder but the list, its digest
// and Go's.
func vectorFiles(t testing.TB) (names []string) {
	t.Helper()
	dir, err := os.ReadDir(frozenDir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range dir {
		if n := e.Name(); n != "LIST" && n != "DRAFT" && filepath.Ext(n) != ".go" {
			names = append(names, n)
		}
	}
	slices.Sort(names)
	return names
}

// The list holds every vector file's digest, sorted by name; a log of a draft
// names the digest of the list.
func TestFrozenList(t *testing.T) {
	var want strings.Builder
	for _, n := range vectorFiles(t) {
		fmt.Fprintf(&want, "%x  %s\n", sha256.Sum256(read(t, filepath.Join(frozenDir, n))), n)
	}
	if want.String() != string(frozen.List()) {
		t.Errorf("testdata/frozen/LIST isn't the list of the files. If they were changed on purpose (in a draft, with a line in the change log), it must read:\n%s", want.String())
	}
}

// The list that the program carries has the digest that this draft's logs name.
// In a checkout that turned line ends it would be another draft's.
func TestFrozenListIsCarriedAsItIs(t *testing.T) {
	want := strings.TrimSpace(string(read(t, filepath.Join(frozenDir, "DRAFT"))))
	if got := frozen.Digest(); got != want {
		t.Errorf("the embedded list's sha256 is %s, this draft's is %s. Were lines turned to another system's ends? If the vectors were changed on purpose, write the new digest into testdata/frozen/DRAFT", got, want)
	}
	if bytes.ContainsRune(frozen.List(), '\r') {
		t.Error("the embedded list has another system's line ends")
	}
}

// Every vector, computed again from what its file says, gives what stands
// there.
func TestFrozenVectors(t *testing.T) {
	for _, n := range vectorFiles(t) {
		if strings.HasPrefix(n, "language-") {
			continue
		}
		t.Run(n, func(t *testing.T) {
			t.Parallel()
			text := read(t, filepath.Join(frozenDir, n))
			got, err := vectors.Run(n, text)
			if err != nil {
				t.Fatal(err)
			}
			differences(t, text, got)
		})
	}
}

// Prove meets every file that the list names, and names the one case of each that
// was changed.
func TestProveMeetsEveryVector(t *testing.T) {
	folder := fstest.MapFS{}
	var want, got []string
	cases := 0
	for _, n := range vectorFiles(t) {
		text := read(t, filepath.Join(frozenDir, n))
		carried, err := frozen.Files.ReadFile(n)
		if err != nil || !bytes.Equal(carried, text) {
			t.Errorf("%s: the program carries other bytes: %v", n, err)
		}
		if strings.HasSuffix(n, ".txt") {
			cases += max(bytes.Count(text, []byte("\ncase ")), 1)
			last := &text[len(text)-2] // of a result
			*last = "10"[*last&1]
			want = append(want, n)
		}
		folder[n] = &fstest.MapFile{Data: text}
	}
	r, err := vectors.Prove(context.Background(), folder, 2, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range r.Different {
		got = append(got, d.File)
	}
	if !slices.Equal(got, want) || r.Vectors < cases || r.Same != r.Vectors-len(want) {
		t.Errorf("%d of %d are the same, %v differ; expected one of each of %v", r.Same, r.Vectors, got, want)
	}
}

// differences shows the lines that differ.
func differences(t *testing.T, want, got []byte) {
	t.Helper()
	if bytes.Equal(want, got) {
		return
	}
	a, b := strings.Split(string(want), "\n"), strings.Split(string(got), "\n")
	if len(a) != len(b) {
		t.Errorf("%d lines now, %d frozen; the whole reads now:\n%s", len(b), len(a), got)
		return
	}
	for i := range a {
		if a[i] != b[i] {
			t.Errorf("line %d\nfrozen %s\nnow    %s", i+1, a[i], b[i])
		}
	}
}

// The recipes of the language vectors build what stands in their files, and
// together they use every operation that the language speaks of.
func TestFrozenLanguage(t *testing.T) {
	var all []byte
	for _, n := range vectorFiles(t) {
		base, ok := strings.CutSuffix(n, ".txt")
		if !ok || !strings.HasPrefix(n, "language-1") {
			continue
		}
		text := read(t, filepath.Join(frozenDir, n))
		recipe := read(t, filepath.Join(frozenDir, base+".recipe"))
		got, _, err := vectors.Language(context.Background(), t.TempDir(), text, recipe, interp.BuildOptions{})
		if err != nil {
			t.Errorf("%s: %v", n, err)
			continue
		}
		differences(t, text, got)
		all = append(all, got...)
	}
	for _, o := range ops.Table() {
		if ops.Version(1, o.Name) == o.Version && !bytes.Contains(all, fmt.Appendf(nil, " %s %d ", o.Name, o.Version)) {
			t.Errorf("no step of a recipe is a %s: add a language vector that has one", o.Name)
		}
	}
}

// Every operation in every version has its vectors.
func TestEveryOperationIsFrozen(t *testing.T) {
	names := vectorFiles(t)
	for _, o := range ops.Table() {
		n := fmt.Sprintf("operation-%s-%d.txt", o.Name, o.Version)
		if !slices.Contains(names, n) {
			t.Errorf("%s version %d has no vectors: testdata/frozen/%s is missing", o.Name, o.Version, n)
			continue
		}
		// Words that an argument may take all occur.
		text := string(read(t, filepath.Join(frozenDir, n)))
		for _, p := range o.Params {
			for _, w := range p.Words {
				if !strings.Contains(text, "arg "+p.Name+" "+w+"\n") {
					t.Errorf("%s: no case has %s %s", n, p.Name, w)
				}
			}
		}
	}
}

// kinds are the words that the cases of a decoder's vectors must have together:
// what its package's comment says is accepted.
var kinds = map[string][]string{
	"decoder-tiff-1.txt": {
		"grey", "colour", "palette", "white is zero",
		"integers of 1 bit", "integers of 2 bits", "integers of 4 bits", "8 bits", "integers of 12 bits", "16 bits", "integers of 24 bits", "integers of 32 bits",
		"floats of 16 bits", "floats of 24 bits", "floats of 32 bits", "floats of 64 bits",
		"straight alpha", "associated alpha", "on white", "extra sample",
		"strips", "tiles", "planes", "MM", "BigTIFF", "BigTIFF, MM",
		"LZW", "Deflate", "Deflate by its older number", "PackBits", "LZW with differences", "Deflate with differences", "LZW, predictor 3", "Deflate, predictor 3",
	},
	"decoder-png-1.txt": {
		"grey of 1 bit", "grey of 2 bits", "grey of 4 bits", "grey of 8 bits", "grey of 16 bits", "colour of 8 bits", "colour of 16 bits",
		"palette of 1 bit", "palette of 2 bits", "palette of 4 bits", "palette of 8 bits",
		"grey and alpha of 8 bits", "grey and alpha of 16 bits", "colour and alpha of 8 bits", "colour and alpha of 16 bits",
		"transparent colours", "transparent grey", "a transparent colour", "all opaque", "on white",
		"every filter", "several IDAT", "interlaced",
	},
}

// Every kind of file that a decoder reads has a case, and every decoder a list
// of its kinds.
func TestEveryKindOfFileIsFrozen(t *testing.T) {
	for _, n := range vectorFiles(t) {
		if strings.HasPrefix(n, "decoder-") && kinds[n] == nil {
			t.Errorf("%s: no kinds are listed for it", n)
		}
	}
	for n, words := range kinds {
		var names []string
		for line := range strings.Lines(string(read(t, filepath.Join(frozenDir, n)))) {
			if name, ok := strings.CutPrefix(line, "case "); ok {
				names = append(names, name)
			}
		}
		for _, w := range words {
			if !slices.ContainsFunc(names, func(name string) bool { return strings.Contains(name, w) }) {
				t.Errorf("%s: no case is called %q", n, w)
			}
		}
	}
}

// A changed result is seen: the comparison itself is tested.
func TestFrozenVectorsBite(t *testing.T) {
	n := "operation-crop-1.txt"
	text := read(t, filepath.Join(frozenDir, n))
	bad := bytes.Replace(text, []byte("= row 23130"), []byte("= row 23131"), 1)
	got, err := vectors.Run(n, bad)
	if err != nil || bytes.Equal(bad, got) || !bytes.Equal(text, got) {
		t.Errorf("a changed sample was not seen: %v", err)
	}
	for _, wrong := range []string{"operation-none-1.txt", "operation-crop-9.txt", "notes.txt"} {
		if _, err := vectors.Run(wrong, text); err == nil {
			t.Errorf("%s was computed", wrong)
		}
	}
}
