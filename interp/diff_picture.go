package interp

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"platemark/ops/colour"
	"platemark/ops/raster"
)

// ViewOptions say how two pictures are compared.
type ViewOptions struct {
	Width    int // of the reduced pictures, px at most; 0: 1600
	Section  int // side of a section at 100 %, px; 0: 600
	Sections int // how many; 0: 4
	Workers  int
	Progress func(stage string, done, due int64)
}

// View is what two pictures look like beside one another. It serves looking:
// nothing of it goes into a print.
type View struct {
	A, B ViewPicture
	// Aligned says that both show the same shape, so that they can be laid
	// over one another; else Delta is nil and Why says why.
	Aligned bool
	Why     string
	// Delta is CIEDE2000 by pixel of the reduced pictures, W x H.
	W, H     int
	Delta    []float32
	Whole    Figures
	Regions  []Region
	Sections []ViewSection
	// Shares are, by change of the comparison, the share of the picture that
	// it touches, 0 to 1; below 0 where it isn't a matter of place.
	Shares []float64
}

// ViewPicture is a picture in sRGB, 8 bits, interleaved.
type ViewPicture struct {
	Print        string
	FullW, FullH int // of the print's picture
	W, H         int
	RGB          []uint8
	lab          []colour.Lab
}

// Figures sum up differences.
type Figures struct {
	Mean, P95, Largest float64
	Above1, Above3     float64 // shares of the pixels, 0 to 1
}

// Region is a part of the picture: one of three by three.
type Region struct {
	Name string
	Figures
}

// ViewSection is the same place of both at 100 %: one pixel of the print each.
type ViewSection struct {
	AX, AY, BX, BY int // left upper corners, px of each print
	A, B           ViewPicture
	Aligned        bool // both prints have the same pixels
	Delta          []float32
	Figures
}

// Pair finds the one print that both sides of a comparison have; an error asks
// for its name where there are several.
func (d *Diff) pair(a, b *Side) (x, y *account, err error) {
	var have []string
	for _, p := range d.Prints {
		if p.A == "" || p.B == "" {
			continue
		}
		have = append(have, p.B)
		for _, u := range a.prints {
			if u.name == p.A {
				x = u
			}
		}
		for _, v := range b.prints {
			if v.name == p.B {
				y = v
			}
		}
	}
	switch {
	case len(have) == 0:
		return nil, nil, errors.New("the two have no print in common")
	case len(have) > 1:
		return nil, nil, fmt.Errorf("name one print with --print; both have %v", have)
	}
	for i, s := range []*Side{a, b} {
		if u := []*account{x, y}[i]; u.plan == nil {
			why := "its inputs aren't there"
			if len(s.Notes) > 0 {
				why = s.Notes[0]
			}
			return nil, nil, fmt.Errorf("print %s of %s can't be built: %s", u.name, s.Name, why)
		}
	}
	return x, y, nil
}

// viewer builds one side's print.
type viewer struct {
	b    *builder
	p    *Plan
	g    *graph
	made *prepared
}

func newViewer(ctx context.Context, s *Side, p *Plan, o ViewOptions) (*viewer, error) {
	v := &viewer{p: p, b: newBuilder(s.job, BuildOptions{Workers: o.Workers})}
	if o.Progress != nil {
		v.b.o.Progress = func(stage string, done, due int64) { o.Progress(s.Name+", "+stage, done, due) }
	}
	var err error
	if v.made, err = v.b.prepare(ctx, p); err == nil {
		v.g, _, err = v.b.stage(ctx, p, p.Out, v.made, map[raster.Sum]result{})
	}
	if err != nil {
		v.b.close()
		return nil, err
	}
	v.quiet(v.g)
	return v, nil
}

func (v *viewer) quiet(g *graph) {
	for i := range g.nodes {
		g.nodes[i].digest = false
	}
}

// reduced is the print's whole picture, each pixel the mean of those it covers
// in the print's own numbers.
func (v *viewer) reduced(ctx context.Context, w, h int) (*ViewPicture, error) {
	pic := v.p.Nodes[v.p.Out].Pic
	r := &reducer{w: w, h: h, c: pic.C, srcW: pic.W, srcH: pic.H, sums: make([]float64, w*h*pic.C)}
	if _, err := run(ctx, v.g, r, v.b.runOptions("print "+v.p.Print, pic.H)); err != nil {
		return nil, err
	}
	out := make([]uint16, len(r.sums))
	for i, s := range r.sums {
		out[i] = uint16(min(max(math.Floor(s+0.5), 0), 65535))
	}
	return v.picture(w, h, out)
}

// section is a part of the print's picture at 100 %.
func (v *viewer) section(ctx context.Context, x, y, w, h int) (*ViewPicture, error) {
	pic := v.p.Nodes[v.p.Out].Pic
	k := &keepRows{y0: y, rows: make([][]uint16, h)}
	ro := runOptions{workers: v.b.o.Workers, from: y, till: y + h}
	if _, err := run(ctx, v.g, columns{k, x * pic.C, (x + w) * pic.C}, ro); err != nil {
		return nil, err
	}
	return v.picture(w, h, slices.Concat(k.rows...))
}

// picture takes samples of the print's profile to Lab and to sRGB.
func (v *viewer) picture(w, h int, samples []uint16) (*ViewPicture, error) {
	pic := v.p.Nodes[v.p.Out].Pic
	to, err := colour.NewToLab(pic.Profile, colour.Relative)
	if err != nil {
		return nil, err
	}
	screen, _ := colour.Space("sRGB")
	from, err := colour.NewFromLab(screen, colour.Relative)
	if err != nil {
		return nil, err
	}
	o := &ViewPicture{Print: v.p.Print, FullW: pic.W, FullH: pic.H, W: w, H: h, lab: make([]colour.Lab, w*h), RGB: make([]uint8, 3*w*h)}
	to.Row(o.lab, samples)
	rgb := make([]uint16, 3*w*h)
	from.Row(rgb, o.lab)
	for i, s := range rgb {
		o.RGB[i] = uint8((uint32(s) + 128) / 257)
	}
	return o, nil
}

// reducer is a sink that keeps the picture at w x h by area means.
type reducer struct {
	w, h, c, srcW, srcH int
	sums                []float64
	y                   int // the next source row
}

func (r *reducer) worker() sinkWorker { return &reducerRows{r: r, sum: make([]float64, r.w*r.c)} }
func (r *reducer) align() int         { return 1 }

// emit takes rows that are reduced across already and adds them down.
func (r *reducer) emit(b []byte) error {
	n := r.w * r.c
	for len(b) >= 8*n {
		spread(r.y, r.srcH, r.h, func(i int, share float64) {
			dst := r.sums[i*n : (i+1)*n]
			for k := range dst {
				dst[k] += share * math.Float64frombits(binary.LittleEndian.Uint64(b[8*k:]))
			}
		})
		b = b[8*n:]
		r.y++
	}
	return nil
}

// spread calls add with each of n targets that source place i of m falls in,
// and the share that it has of the target.
func spread(i, m, n int, add func(k int, share float64)) {
	lo, hi := i*n, (i+1)*n // in m-ths of a target
	for k := lo / m; k < n && k*m < hi; k++ {
		add(k, float64(min(hi, (k+1)*m)-max(lo, k*m))/float64(m))
	}
}

type reducerRows struct {
	r   *reducer
	sum []float64
	out []byte
}

func (w *reducerRows) row(_ int, samples []uint16) error {
	r := w.r
	clear(w.sum)
	for x := range r.srcW {
		lo, hi := x*r.w, (x+1)*r.w
		for k := lo / r.srcW; k < r.w && k*r.srcW < hi; k++ {
			share := float64(min(hi, (k+1)*r.srcW)-max(lo, k*r.srcW)) / float64(r.srcW)
			for c := range r.c {
				w.sum[k*r.c+c] += share * float64(samples[x*r.c+c])
			}
		}
	}
	for _, s := range w.sum {
		w.out = binary.LittleEndian.AppendUint64(w.out, math.Float64bits(s))
	}
	return nil
}

func (w *reducerRows) finish(dst []byte) ([]byte, error) {
	out := w.out
	w.out = dst
	return out, nil
}

// labDistances is CIEDE2000 by pixel.
func labDistances(a, b []colour.Lab) []float32 {
	d := make([]float32, len(a))
	for i := range a {
		d[i] = float32(colour.DeltaE2000(a[i], b[i]))
	}
	return d
}

func figures(d []float32) (f Figures) {
	if len(d) == 0 {
		return f
	}
	s := slices.Clone(d)
	slices.Sort(s)
	var sum float64
	for _, v := range s {
		sum += float64(v)
		if v > 1 {
			f.Above1++
		}
		if v > 3 {
			f.Above3++
		}
	}
	n := float64(len(s))
	f.Mean, f.Above1, f.Above3 = sum/n, f.Above1/n, f.Above3/n
	// The smallest value that at least 95 % don't exceed.
	f.P95, f.Largest = float64(s[(len(s)*95+99)/100-1]), float64(s[len(s)-1])
	return f
}

// ComparePictures builds the one print that d speaks of on both sides, at
// reduced size and in its most changed sections at 100 %.
func ComparePictures(ctx context.Context, a, b *Side, d *Diff, o ViewOptions) (*View, error) {
	if o.Width <= 0 {
		o.Width = 1600
	}
	if o.Section <= 0 {
		o.Section = 600
	}
	if o.Sections <= 0 {
		o.Sections = 4
	}
	x, y, err := d.pair(a, b)
	if err != nil {
		return nil, err
	}
	va, err := newViewer(ctx, a, x.plan, o)
	if err != nil {
		return nil, err
	}
	defer va.b.close()
	vb, err := newViewer(ctx, b, y.plan, o)
	if err != nil {
		return nil, err
	}
	defer vb.b.close()
	v := &View{}
	wa, ha := x.plan.Pixels()
	wb, hb := y.plan.Pixels()
	v.W = min(o.Width, wa, wb)
	v.H = max(1, (v.W*ha+wa/2)/wa)
	h2 := max(1, (v.W*hb+wb/2)/wb)
	// A row more or less is rounding; more is another shape.
	if v.Aligned = h2-v.H <= 1 && v.H-h2 <= 1; v.Aligned {
		h2 = v.H
	} else {
		v.Why = fmt.Sprintf("the prints have other shapes, %d x %d px and %d x %d px, so they can't be laid over one another", wa, ha, wb, hb)
	}
	pa, err := va.reduced(ctx, v.W, v.H)
	if err != nil {
		return nil, err
	}
	pb, err := vb.reduced(ctx, v.W, h2)
	if err != nil {
		return nil, err
	}
	v.A, v.B = *pa, *pb
	if v.Aligned {
		v.Delta = labDistances(pa.lab, pb.lab)
		v.Whole = figures(v.Delta)
		v.regions()
		if err := v.sections(ctx, va, vb, o); err != nil {
			return nil, err
		}
	}
	v.Shares, err = shares(ctx, a, b, x, y, va, vb, d.Changes)
	return v, err
}

var (
	regionRows = []string{"top", "middle", "bottom"}
	regionCols = []string{"left", "centre", "right"}
)

func (v *View) regions() {
	for j, row := range regionRows {
		for i, col := range regionCols {
			var d []float32
			for y := v.H * j / 3; y < v.H*(j+1)/3; y++ {
				d = append(d, v.Delta[y*v.W+v.W*i/3:y*v.W+v.W*(i+1)/3]...)
			}
			v.Regions = append(v.Regions, Region{row + " " + col, figures(d)})
		}
	}
}

// sections cuts the most changed places, by the mean difference of the reduced
// pictures under each; no two overlap.
func (v *View) sections(ctx context.Context, va, vb *viewer, o ViewOptions) error {
	side := func(full, small int) int { return max(1, min(o.Section, full)*small/full) }
	bw, bh := side(v.A.FullW, v.W), side(v.A.FullH, v.H)
	type place struct {
		x, y int
		mean float64
	}
	var all []place
	for y := 0; y+bh <= v.H; y += max(1, bh/4) {
		for x := 0; x+bw <= v.W; x += max(1, bw/4) {
			var s float64
			for r := y; r < y+bh; r++ {
				for _, d := range v.Delta[r*v.W+x : r*v.W+x+bw] {
					s += float64(d)
				}
			}
			all = append(all, place{x, y, s / float64(bw*bh)})
		}
	}
	slices.SortStableFunc(all, func(p, q place) int {
		switch {
		case p.mean > q.mean:
			return -1
		case p.mean < q.mean:
			return 1
		}
		return 0
	})
	var taken []place
	for _, p := range all {
		if len(taken) == o.Sections || p.mean == 0 {
			break
		}
		if !slices.ContainsFunc(taken, func(q place) bool {
			return p.x < q.x+bw && q.x < p.x+bw && p.y < q.y+bh && q.y < p.y+bh
		}) {
			taken = append(taken, p)
		}
	}
	same := v.A.FullW == v.B.FullW && v.A.FullH == v.B.FullH
	for _, p := range taken {
		cut := func(z *viewer, full ViewPicture) (*ViewPicture, int, int, error) {
			w, h := min(o.Section, full.FullW), min(o.Section, full.FullH)
			x := min(max((2*p.x+bw)*full.FullW/(2*v.W)-w/2, 0), full.FullW-w)
			y := min(max((2*p.y+bh)*full.FullH/(2*v.H)-h/2, 0), full.FullH-h)
			s, err := z.section(ctx, x, y, w, h)
			return s, x, y, err
		}
		a, ax, ay, err := cut(va, v.A)
		if err != nil {
			return err
		}
		b, bx, by, err := cut(vb, v.B)
		if err != nil {
			return err
		}
		s := ViewSection{AX: ax, AY: ay, BX: bx, BY: by, A: *a, B: *b, Aligned: same}
		if same {
			s.Delta = labDistances(a.lab, b.lab)
			s.Figures = figures(s.Delta)
		}
		v.Sections = append(v.Sections, s)
	}
	return nil
}
