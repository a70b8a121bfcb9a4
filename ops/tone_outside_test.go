//go:build outside

package ops

import (
	"fmt"
	"slices"
	"testing"

	"platemark/testdata/photos"
)

func TestQualityOnPhotographs(t *testing.T) {
	// Mountains, dandelions and storm had no part in choosing the formulas.
	for _, name := range []string{"sunset", "dune", "marigold", "brushes", "mountains", "dandelions", "storm"} {
		pix, w, h := photos.Open(t, name, 8)
		in := inSpace(&canvas{Pic{W: w, H: h, C: 3}, pix}, "sRGB")
		was := perceptions(in)
		// A steep curve lifts near whites by their last half code (3.2 %, brushes).
		// More chroma is asked for by who writes it: full yellows lose their last
		// blue (measured: 24 %, dandelions).
		for _, c := range []struct {
			most float64
			Args
		}{{3, Args{{"contrast", "3/10"}}}, {3.5, Args{{"curve", "0 0 25 18 75 82 100 100"}}}, {25, Args{{"chroma", "1/4"}}}, {0.1, Args{{"chroma", "-1/2"}}}, {3, Args{{"exposure", "1/2"}}}} {
			a := c.Args
			out := apply(t, toneV1, a, in)
			what := fmt.Sprintf("%s, %s %s: ", name, a[0].Name, a[0].Value)
			share := photos.Compare(in.data, out.data).Clipped
			row(t, what+"newly at the edge, per cent", "10.8 (contrast, a sunset)", fmt.Sprintf("< %v", c.most), share, share < c.most)
			var ok, ipt []float64
			for i, p := range perceptions(out) {
				if was[i].okChroma > 0.03 && was[i].l > 10 && p.okChroma > 0.005 {
					ok, ipt = append(ok, hueAngle(was[i].okHue, p.okHue)), append(ipt, hueAngle(was[i].iptHue, p.iptHue))
				}
			}
			slices.Sort(ok)
			slices.Sort(ipt)
			n := len(ok) * 99 / 100
			row(t, what+"hue, OKLab, degrees, 99 of 100", "13 to 33 (blue)", "< 3", ok[n], ok[n] < 3)
			row(t, what+"hue, IPT, degrees, 99 of 100", "-", "< 3", ipt[n], ipt[n] < 3)
		}
	}
}
