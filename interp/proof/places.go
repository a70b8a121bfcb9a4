package proof

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"platemark/interp"
	"platemark/ops/colour"
)

// Place is a place where a paper changes the picture, at 100 % of the
// print.
type Place struct {
	X, Y         int     // left upper corner, px of the print's picture
	What         string  // becomes of it, in words
	Mean         float64 // difference of the cell round the middle
	Meant, Shown interp.ViewPicture
}

const (
	placeW, placeH = 288, 216 // of a place at 100 %, px of the print
	placeCount     = 5
	placeLeast     = 0.3 // of the mean CIEDE2000 of a cell by one kind of change
)

// A kind of change is what happens (to lightness, chroma or hue, up or down) to
// what (darks to lights, or greys and families of hues).
const (
	lighter = iota
	darker
	paler
	stronger
	turned
	whats
)

var tones = []string{"darks", "middle tones", "lights"}

// families of hues by where they end, degrees of CIELAB, reds again from the
// last on; common practice, no source. Greys are what has less chroma than
// greyEnd.
var families = []struct {
	name string
	end  float64
}{{"greys", 0}, {"reds", 60}, {"yellows", 115}, {"greens", 205}, {"blues", 300}, {"purples", 345}}

const greyEnd = 8

// change is one part of what becomes of a colour: what to what, and its share
// of the whole.
type change struct {
	what, of int
	share    float64
}

// changesOf parts what becomes of a colour into lightness, chroma and hue, by
// their squares as CIE94 weighs them (CIE 116-1995).
func changesOf(meant, shown colour.Lab) [3]change {
	c := meant.Chroma()
	dl, dc := shown.L-meant.L, shown.Chroma()-c
	l2, c2 := dl*dl, math.Pow(dc/(1+0.045*c), 2)
	h2 := max(0, math.Pow(shown.A-meant.A, 2)+math.Pow(shown.B-meant.B, 2)-dc*dc) / math.Pow(1+0.015*c, 2)
	light, family := 0, 0
	switch {
	case meant.L >= 70:
		light = 2
	case meant.L >= 35:
		light = 1
	}
	if c >= greyEnd {
		h := math.Atan2(meant.B, meant.A) * 180 / math.Pi
		if h < 0 {
			h += 360
		}
		if family = 1; h < families[len(families)-1].end {
			for h >= families[family].end {
				family++
			}
		}
	}
	out := [3]change{{darker, light, l2}, {paler, family, c2}, {turned, family, h2}}
	if dl > 0 {
		out[0].what = lighter
	}
	if dc > 0 {
		out[1].what = stronger
	}
	if family == 0 { // greys have no hue
		out[1].share, out[2].share = c2+h2, 0
	}
	sum := max(l2+c2+h2, 1e-12)
	for i := range out {
		out[i].share /= sum
	}
	return out
}

// tally is what one kind of change comes to in a cell.
type tally struct {
	n, delta            float64
	l0, l1, c0, c1, hue float64 // sums, as meant and on the paper
}

func (t *tally) add(meant, shown colour.Lab, delta float64) {
	t.n++
	t.delta += delta
	t.l0, t.l1 = t.l0+meant.L, t.l1+shown.L
	t.c0, t.c1 = t.c0+meant.Chroma(), t.c1+shown.Chroma()
	t.hue += math.Abs(math.Remainder(math.Atan2(shown.B, shown.A)-math.Atan2(meant.B, meant.A), 2*math.Pi))
}

func (t *tally) words(what, of int) string {
	l := fmt.Sprintf("L* %.0f becomes %.0f", t.l0/t.n, t.l1/t.n)
	c := fmt.Sprintf("C* %.0f becomes %.0f", t.c0/t.n, t.c1/t.n)
	switch what {
	case lighter:
		return tones[of] + " come out lighter: " + l
	case darker:
		return tones[of] + " come out darker: " + l
	case turned:
		return fmt.Sprintf("%s change their hue, by %.0f°", families[of].name, t.hue/t.n*180/math.Pi)
	case stronger:
		if of == 0 {
			return "greys take on a tint: " + c
		}
		return families[of].name + " come out stronger: " + c
	}
	return families[of].name + " come out paler: " + c
}

// finding is a kind of change in the cell of the proof where there is most of
// it.
type finding struct {
	kind, x, y int
	part, mean float64 // of the cell's difference: by this kind, and all
	words      string
}

// findings are what changes a picture of width w most: five kinds at most, each
// in its own cell, none nearer to another than a sixth of the longer side.
func findings(meant []colour.Lab, s *sight, w, h, cell int) (taken []finding, cols, rows int) {
	cols, rows = max(1, w/cell), max(1, h/cell)
	kinds := whats * len(families)
	var all []finding
	for cy := range rows {
		for cx := range cols {
			x0, y0, x1, y1 := cx*w/cols, cy*h/rows, (cx+1)*w/cols, (cy+1)*h/rows
			list := make([]tally, kinds)
			sum, area := 0.0, float64((x1-x0)*(y1-y0))
			for y := y0; y < y1; y++ {
				for i := y*w + x0; i < y*w+x1; i++ {
					d := float64(s.delta[i])
					for _, c := range changesOf(meant[i], s.relative[i]) {
						list[c.what*len(families)+c.of].add(meant[i], s.relative[i], d*c.share)
					}
					sum += d
				}
			}
			for k := range list {
				if t := &list[k]; t.n > 0 && t.delta/area >= placeLeast {
					all = append(all, finding{k, cx, cy, t.delta / area, sum / area, t.words(k/len(families), k%len(families))})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b finding) int { return cmp.Compare(b.part, a.part) })
	apart := max(cols, rows) / 6
	near := func(a, b int) bool { return max(a-b, b-a) <= apart }
	for _, f := range all {
		if len(taken) == placeCount {
			break
		}
		if !slices.ContainsFunc(taken, func(t finding) bool { return t.kind == f.kind || near(t.x, f.x) && near(t.y, f.y) }) {
			taken = append(taken, f)
		}
	}
	slices.SortStableFunc(taken, func(a, b finding) int { return cmp.Compare(b.mean, a.mean) })
	return taken, cols, rows
}

// places cuts out where the paper changes the picture most.
func (k *proofer) places(ctx context.Context, p *proofPlan, e *eye, meant []colour.Lab, s *sight, m interp.Picture, scale float64) (out []Place, err error) {
	cell := max(8, min(m.W, m.H)/24)
	if k.o.Section[2] != 0 {
		cell = max(8, min(m.W, m.H)/4)
	}
	taken, cols, rows := findings(meant, s, m.W, m.H, cell)
	full := k.pic
	for _, t := range taken {
		// The middle of the cell, in pixels of the print's picture.
		mx, my := (float64(t.x)+0.5)*float64(m.W)/float64(cols)*scale, (float64(t.y)+0.5)*float64(m.H)/float64(rows)*scale
		if sec := k.o.Section; sec[2] != 0 {
			mx, my = mx+float64(sec[0]-p.edge), my+float64(sec[1]-p.edge)
		}
		w, h := min(placeW, full.W), min(placeH, full.H)
		x := min(max(int(math.Floor(mx))-w/2, 0), full.W-w)
		y := min(max(int(math.Floor(my))-h/2, 0), full.H-h)
		pl := Place{X: x + p.edge, Y: y + p.edge, What: t.words, Mean: t.mean}
		a, err := k.part(ctx, k.plans[0], x, y, w, h)
		if err != nil {
			return nil, err
		}
		pl.Meant = k.onScreen(a, k.lab(a))
		if a, err = k.part(ctx, p, x, y, w, h); err != nil {
			return nil, err
		}
		pl.Shown = k.onScreen(a, e.look(a, k.o.Workers).paper)
		out = append(out, pl)
	}
	return out, nil
}
