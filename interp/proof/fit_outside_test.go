//go:build outside

package proof

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/interptest"
	"platemark/interp/plan"
	"platemark/ops/colour"
	"platemark/testdata/photos"
)

// freely searches for the least mean difference without regard to anything
// else, by another way than the fit: from starts by chance, one knob or two at a
// time by ever smaller strides, on the sample and then on the picture itself.
func (f *fitter) freely(t *testing.T, meant []colour.Lab) (best setting) {
	t.Helper()
	climb := func(s setting, most int, strides []int, mean func(setting) float64) (setting, float64) {
		least := mean(s)
		for _, stride := range strides {
			for better := true; better; {
				better = false
				for move := range 243 { // three to the number of knobs
					n, moved := s, 0
					for i := range n {
						d := move%3 - 1
						move /= 3
						n[i] += d * stride
						moved += d * d
					}
					if n = n.clamp(); moved > most || n == s {
						continue
					}
					if m := mean(n); m < least {
						s, least, better = n, m, true
					}
				}
			}
		}
		return s, least
	}
	mean := func(how plan.Small, meant []colour.Lab) func(s setting) float64 {
		return func(s setting) (sum float64) {
			m, err := f.set(context.Background(), how, s)
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range Distances(meant, f.eye.relative(m, f.k.o.Workers), f.k.o.Workers) {
				sum += float64(d) / float64(len(meant))
			}
			return sum
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	least := math.Inf(1)
	for range 2 {
		var s setting
		for i, k := range knobs {
			s[i] = r.IntN(k.most+1) - k.most/2
		}
		if s, m := climb(s, 2, []int{8, 3, 1}, mean(f.sample.Small, f.sample.meant)); m < least {
			best, least = s, m
		}
	}
	best, _ = climb(best, 1, []int{1}, mean(f.k.small(), meant))
	return best
}

// On nine pairs of pictures and papers the fit comes within 5 % of a search that
// regards nothing but the mean difference, or says what held it back; nothing
// gets worse unsaid.
func TestFitAgainstFreeSearch(t *testing.T) {
	ctx := context.Background()
	coated := interptest.Read(t, filepath.Join("..", "..", "testdata", "standards", "profiles", "FOGRA39L_coated.icc"))
	pairs, within := 0, 0
	for _, name := range []string{"marsh", "sunset", "brook"} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(fitRecipe, "size within 2 in x 2 in", "size within 3 in x 3 in", 1)
			text = strings.Replace(text, "paper rag", "paper coated {\n    profile      \"coated.icc\"\n}\n\npaper rag", 1)
			j := fitJob(t, text, func(path string) {
				interptest.Write(t, filepath.Join(filepath.Dir(path), "coated.icc"), string(coated))
				if name == "marsh" {
					landscape(t, path)
					return
				}
				pix, w, h := photos.Open(t, name, 4)
				writeRows(t, path, w, h, 3, "sRGB", func(y int, dst []uint16) { copy(dst, pix[y*w*3:]) })
			})
			for _, paper := range []string{"baryta", "coated", "rag"} {
				o := Options{Papers: []string{paper}}
				list, _, err := Fit(ctx, j, "p", o)
				if err != nil {
					t.Fatal(err)
				}
				f, err := newFitter(ctx, j, j.Source, "p", paper, o)
				if err != nil {
					t.Fatal(err)
				}
				m, err := f.k.picture(ctx, f.k.plans[0])
				if err != nil {
					t.Fatal(err)
				}
				meant := f.k.lab(m)
				free, err := f.figures(ctx, meant, f.freely(t, meant))
				if err != nil {
					t.Fatal(err)
				}
				f.k.s.Close()
				got := list[0]
				b, a := got.Before, got.After
				held := ""
				if pairs++; a.Mean <= 1.05*free.Mean {
					within++
				} else if got.Free != nil {
					held = fmt.Sprintf("; held back from %.2f: %s", got.Free.After.Mean, strings.Join(got.Free.Costs, "; "))
				}
				t.Logf("%-6s on %-6s without %.2f, free search %.2f, the fit %.2f (x %.3f, %d tried), costs: %s%s", name, paper, b.Mean, free.Mean, a.Mean, a.Mean/free.Mean, got.Tried, strings.Join(got.Costs, "; "), held)
				if a.Mean > 1.05*free.Mean && (got.Free == nil || got.Free.After.Mean > 1.05*free.Mean || len(got.Free.Costs) == 0) {
					t.Errorf("the mean is %.2f, a free search finds %.2f, and nothing is said of it: %+v", a.Mean, free.Mean, got.Free)
				}
				if worse := a.Share > b.Share+0.001 || a.Highlights.Lost > b.Highlights.Lost || a.Shadows.Lost > b.Shadows.Lost; worse && len(got.Costs) == 0 || a.Grey > max(castMost, b.Grey) || a.Mean > b.Mean {
					t.Errorf("before %+v, after %+v, costs %v", b, a, got.Costs)
				}
			}
		})
	}
	if 2*within < pairs {
		t.Errorf("%d of %d pairs come within 5 %% of a free search", within, pairs)
	}
}
