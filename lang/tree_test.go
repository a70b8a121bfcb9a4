package lang

import (
	"math/big"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func whole(t *testing.T) *Recipe {
	t.Helper()
	src, err := os.ReadFile("testdata/right/whole.recipe")
	if err != nil {
		t.Fatal(err)
	}
	return parseOK(t, string(src))
}

// The tree says what the recipe says, defaults filled in.
func TestTreeOfTheWholeRecipe(t *testing.T) {
	r := whole(t)
	if r.Title.Value != "Salt road, November" || r.Master.Space.Value != "opRGB" || r.Round.Value.Cmp(big.NewRat(4, 1)) != 0 {
		t.Errorf("head: %+v", r)
	}
	g := r.Mask("grasses")
	if len(g.Elements) != 2 || len(g.Elements[0].Points) != 5 || g.Elements[0].Op != "add" || g.Elements[1].Op != "less" {
		t.Fatalf("grasses: %+v", g)
	}
	// A first measure without a unit takes the second's.
	if w := g.Elements[1].Size[0]; w.Unit != "%" || w.Value.Cmp(big.NewRat(9, 1)) != 0 {
		t.Errorf("size %+v", w)
	}
	if e := r.Mask("sky").Elements[2]; e.Soft == nil || !e.Soft.Default || e.Soft.Unit != "%" || e.Soft.Value.Sign() != 0 {
		t.Errorf("soft %+v", e.Soft)
	}
	var words []string
	for _, s := range r.Prepare.Steps {
		words = append(words, s.Word())
	}
	if want := []string{"turn", "mirror", "spot", "spot", "spot", "crop", "convert", "sharpen"}; cmp.Diff(words, want) != "" {
		t.Errorf("prepare %v", words)
	}
	if s := r.Prepare.Steps[3].(*SpotAt); !s.Soft.Default || s.Soft.Value.Cmp(big.NewRat(30, 1)) != 0 || s.From != nil {
		t.Errorf("spot %+v", s)
	}
	large := r.Print("large")
	steps := r.Expand(large.Steps)
	words = nil
	for _, s := range steps {
		words = append(words, s.Word())
	}
	if want := []string{"enlarge", "enlarge", "blend", "sharpen", "convert"}; cmp.Diff(words, want) != "" {
		t.Errorf("large %v", words)
	}
	if b := steps[2].(*Blend); b.Top.Value != "smooth" || b.Over.Value != "crisp" || b.At.Value.Cmp(big.NewRat(40, 1)) != 0 || b.At.Default {
		t.Errorf("blend %+v", b)
	}
	if s := steps[3].(*Sharpen); s.Method.Value != "unsharp" || !s.Halo.Default || s.Halo.Value.Cmp(big.NewRat(10, 1)) != 0 || s.Radius.Value.Cmp(big.NewRat(9, 5)) != 0 {
		t.Errorf("sharpen %+v", s)
	}
	if c := steps[4].(*Convert); c.Intent.Value != "relative" || c.BlackPoint.Value != "on" || c.Space.Value != "opRGB" || !c.KeepHue {
		t.Errorf("convert %+v", c)
	}
	if s := large.Save; s.Format != "jpeg" || s.Quality.Value.Cmp(big.NewRat(100, 1)) != 0 || s.Chroma.Value != "full" || s.Bits != nil {
		t.Errorf("save %+v", s)
	}
	if e := large.Edition; e.Count.Value.Cmp(big.NewRat(10, 1)) != 0 || e.Proofs.Value.Cmp(big.NewRat(2, 1)) != 0 {
		t.Errorf("edition %+v", e)
	}
	if s := r.Print("small").Size; !s.Within || s.W.Unit != "in" || s.H == nil {
		t.Errorf("size %+v", s)
	}
	if s := r.Print("strip-1").Size; s.Within || s.W == nil || s.H != nil {
		t.Errorf("size %+v", s)
	}
	// 101.6 cm at 300 ppi is 12000 px: 40 in exactly.
	if n, ok := SidePixels(*r.Print("strip-1").Size.W, r.Print("strip-1").Size.At); !ok || n != 12000 {
		t.Errorf("%d px", n)
	}
	var files []string
	for _, f := range r.Files() {
		files = append(files, f.Value)
	}
	if want := []string{"salt-road.tif", "masks/rocks.tif", "papers/cotton-rag.icc"}; cmp.Diff(files, want) != "" {
		t.Errorf("files %v", files)
	}
}

// Damerau 1964: a swap of neighbours is one mistake.
func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"mask", "mask", 0}, {"mask", "masks", 1}, {"titel", "title", 1}, {"kitten", "sitting", 3}, {"ca", "abc", 3}} {
		if got := distance(c.a, c.b); got != c.want {
			t.Errorf("%s %s: %d", c.a, c.b, got)
		}
	}
}
