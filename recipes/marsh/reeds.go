package marsh

import (
	"cmp"
	"slices"
)

var (
	strawFoot = code(0.16, 0.125, 0.085)
	straw     = code(0.60, 0.47, 0.27)
	strawPale = code(0.80, 0.63, 0.38)
	oliveFoot = code(0.11, 0.105, 0.060)
	olive     = code(0.40, 0.38, 0.17)
	plume     = code(0.56, 0.43, 0.33)
	plumeLit  = code(0.93, 0.72, 0.48)
)

// plantIsles sets the sedge on the strips in the water.
func (w *world) plantIsles() {
	comb := newField(403)
	for i := range isles {
		s := &isles[i]
		d := dice{seed: uint32(900 + i)}
		far := ease(0.10, 0.01, s.y-horizon) // haze
		air := rgb{0.50, 0.36, 0.28}
		foot := sedge.times(0.5).to(air, far*0.42)
		// The strip's own body: low dark mud, hidden but for its edge.
		w.newStroke(along(40, func(u float32) node {
			x := mix(s.x0, s.x1, u)
			r := float32(s.height * 0.05 * s.swell(x))
			return node{x, s.y - r, r, 0}
		}), foot, foot, 0)
		count := int((s.x1 - s.x0) / s.height * 62)
		for k := 0; k < count; k++ {
			x := d.between(s.x0, s.x1)
			tall := float32(s.height * s.swell(x) * tuftAt(comb, x, s.seed) * d.between(0.55, 1.1))
			lean := mad(d.bell(), 0.35, 0.12)
			r := float32(s.height * 0.020)
			y := s.y - float32(d.roll()*s.height*0.09*s.swell(x))
			near := 1 / mad(float32((x-sunX)*(x-sunX)), 10, 1)
			tip := straw.times(0.42).to(strawPale, near*0.45).to(olive.times(0.5), d.roll()*0.6).times(d.between(0.5, 1)).to(air, far*0.35)
			w.newStroke([]node{
				{x, y, r, 0},
				{x + float32(tall*lean*0.3), y - float32(tall*0.55), r * 0.8, 0.5},
				{x + float32(tall*lean), y - tall, r * 0.3, 1}}, foot, tip, 0)
		}
	}
	for i := range posts {
		s := &posts[i]
		w.newStroke([]node{
			{s.x, s.y, s.r * 1.05, 0},
			{s.x + float32(s.lean*s.height*0.5), s.y - float32(s.height*0.5), s.r, 0},
			{s.x + float32(s.lean*s.height), s.y - s.height, s.r * 0.92, 0}}, postDark, postDark, 0.40)
	}
}

// tuft is where a blade of grass or a reed stands.
type tuft struct {
	x, y float32
	reed bool
	seed uint32
}

// plantBank sets grasses and reeds on the near bank, the far ones first.
func (w *world) plantBank() {
	edge, thick := newField(77), newField(78)
	d := dice{seed: 5}
	var tufts []tuft
	for i := 0; i < 15000; i++ {
		x := d.between(-0.03, wide+0.03)
		top := bankTop(x, edge.fractal(float32(x*5), 1.5, 4, 0.5))
		deep := d.roll()
		y := mad(deep, 1.07-top, top-0.002)
		// Grass stands in tussocks; by the water at the middle it is thin.
		n := thick.fractal(float32(x*11), float32(y*24), 3, 0.5)
		bare := ease(0.50, 0.72, x) * ease(1.34, 1.14, x)
		if n < 0.36+float32(0.17*bare) && d.roll() < 0.86 {
			continue
		}
		tufts = append(tufts, tuft{x, y, false, uint32(i)})
	}
	for k, c := range []struct {
		x, y, sx, sy float32
		count        uint32
	}{
		{1.475, 0.955, 0.125, 0.050, 105},
		{1.34, 1.010, 0.13, 0.035, 46},
		{0.02, 0.915, 0.115, 0.050, 80},
		{0.585, 0.950, 0.10, 0.035, 42},
		{0.20, 1.03, 0.14, 0.03, 34},
		{0.80, 1.045, 0.12, 0.02, 20},
	} {
		seed := uint32(11 + k)
		d := dice{seed: seed}
		for i := range c.count {
			tufts = append(tufts, tuft{mad(d.bell(), c.sx, c.x), mad(d.bell(), c.sy, c.y), true, seed*1000 + i})
		}
	}
	slices.SortStableFunc(tufts, func(a, b tuft) int { return cmp.Compare(a.y, b.y) })
	for _, t := range tufts {
		if t.reed {
			w.reed(t)
		} else {
			w.grass(t)
		}
	}
}

// light is how strongly the low sun shines through leaves at x.
func light(x float32) float32 {
	d := x - sunX
	return mad(1/mad(float32(d*d), 6, 1), 0.80, 0.25)
}

func (w *world) grass(t tuft) {
	d := dice{seed: 3000 + t.seed}
	size := mad(t.y-horizon, 1.5, 0.18)
	tall := d.between(0.035, 0.115) * size
	lean := mad(d.bell(), 0.55, 0.22)
	curl := d.between(0.0, 0.55)
	r := d.between(0.0007, 0.0014) * size
	foot, tip := strawFoot, straw
	if d.roll() < 0.38 {
		foot, tip = oliveFoot, olive
	}
	glow := d.roll()
	tip = tip.times(mad(float32(glow*glow), 1.25, 0.24) * light(t.x))
	// The picture's foot lies in shadow.
	dark := 1 - float32(0.72*ease(0.90, 1.04, t.y))
	foot, tip = foot.times(0.42*dark), tip.times(dark)
	w.newStroke(along(5, func(u float32) node {
		return node{t.x + float32(tall*u*mad(u, lean, 0.06)), t.y - float32(tall*u*(1-float32(curl*u*u*0.5))), r * (1.05 - u), u}
	}), foot, tip, 0)
}

func (w *world) reed(t tuft) {
	d := dice{seed: 90000 + t.seed}
	tall := d.between(0.20, 0.335) * mad(t.y-0.9, 1.2, 1)
	lean := mad(d.bell(), 0.10, 0.075)
	r := d.between(0.00075, 0.00115)
	k := light(t.x) * d.between(0.6, 1)
	dark := 1 - float32(0.5*ease(0.93, 1.05, t.y))
	foot, tip := strawFoot.times(0.7*dark), straw.times(k)
	at := func(u float32) (x, y float32) {
		return t.x + float32(tall*lean*mad(u, u, float32(0.25*u))), t.y - float32(tall*u)
	}
	w.newStroke(along(8, func(u float32) node {
		x, y := at(u)
		return node{x, y, r * (1 - float32(0.62*u)), u}
	}), foot, tip, 0.10)
	// Long leaves, most blown to the lee side, some broken.
	leaves := 3 + int(d.roll()*4)
	for i := 0; i < leaves; i++ {
		u := d.between(0.18, 0.80)
		x, y := at(u)
		w.leaf(&d, x, y, d.side(0.30), mix(0.3, 1, u), foot, tip, tall)
	}
	if d.roll() < 0.88 {
		w.plume(&d, at, tall, lean, k)
	}
}

func (w *world) leaf(d *dice, x, y, side, up float32, foot, tip rgb, tall float32) {
	long := float32(tall * d.between(0.20, 0.38))
	out := d.between(0.35, 0.8) * side
	droop := d.between(0.5, 1.9)
	r := d.between(0.0010, 0.0017)
	const n = 7
	nodes := along(n, func(u float32) node {
		at := node{x, y, float32(r * mad(-u, u, 1) * mad(u, 0.9, 0.45)), mad(u, 0.7, up*0.3)}
		px := float32(out * mad(u, 0.9, 0.45))
		py := 0.95 - float32(droop*u)
		k := long / n / sqrt(float32(px*px)+float32(py*py)+0.05)
		x += float32(px * k)
		y -= float32(py * k)
		return at
	})
	w.newStroke(nodes, foot.times(1.2), tip.times(d.between(0.5, 1)), 0.05)
}

// plume is the feathery seed head, hanging to the lee side.
func (w *world) plume(d *dice, at func(float32) (float32, float32), tall, lean, k float32) {
	long := float32(tall * d.between(0.15, 0.22))
	dark, bright := plume.times(0.40), plumeLit.times(k*0.85)
	hang := d.between(0.25, 0.7)
	// The stalk goes on, bent over, and the feathers stand along it.
	stalk := func(u float32) (x, y float32) {
		x, y = at(1)
		return x + float32(long*u*(float32(lean*1.25)+float32(hang*u))), y - float32(long*u*0.85) + float32(long*u*u*0.22)
	}
	w.newStroke(along(4, func(u float32) node {
		x, y := stalk(u)
		return node{x, y, 0.00040 * (1.1 - u), u}
	}), dark.times(1.5), bright, 0)
	for i := 0; i < 46; i++ {
		u := d.roll()
		x, y := stalk(u)
		l := float32(long * d.between(0.22, 0.42) * (1.08 - float32(u*0.75)))
		a := mad(d.bell(), 0.65, 0.30)
		s, c := sincos(a)
		tip := dark.to(bright, d.roll())
		r := d.between(0.00022, 0.00046)
		w.newStroke([]node{
			{x, y, r, 0.2},
			{x + float32(l*s*0.5), y - float32(l*c*0.5), r * 1.1, 0.6},
			{x + float32(l*s) + float32(l*0.16), y - float32(l*c*0.82), r * 0.35, 1}}, dark, tip, 0)
	}
}
