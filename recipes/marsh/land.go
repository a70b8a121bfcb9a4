package marsh

// ridge is one line of distant hills.
type ridge struct {
	base, rise float32 // height over the horizon, and of its swell
	freq, off  float32
	rough      float32 // share of fine detail: far woods
	colour     rgb
	haze       float32
}

var ridges = []ridge{
	{0.026, 0.050, 1.7, 3.1, 0.02, code(0.48, 0.46, 0.50), 0.52},
	{0.012, 0.040, 2.6, 9.7, 0.04, code(0.36, 0.37, 0.42), 0.34},
	{0.004, 0.019, 5.1, 4.4, 0.14, code(0.22, 0.23, 0.25), 0.20},
}

// ridgeLine gives the canvas height of ridge i's top at x.
func (p *painter) ridgeLine(i int, x float32) float32 {
	r := &ridges[i]
	f := p.hills[i]
	n := f.fractal(float32(x*r.freq)+r.off, r.off, 4, 0.42) - 0.32
	d := p.rough[i].fractal(float32(x*90), r.off, 4, 0.6) - 0.5
	// The hills open where the sun stands.
	gap := 1 - float32(0.55*ease(0.30, 0.02, abs(x-sunX)))
	up := r.base + float32(r.rise*gap*max(n, 0)*1.6) + float32(r.rise*r.rough*d)
	return horizon - up
}

// hillsOver lays the hills over c. lines holds this column's ridge lines,
// and px is one pixel's height on the canvas.
func (p *painter) hillsOver(c rgb, x, y float32, lines *[3]float32, px float32) rgb {
	if y < lines[0]-px && y < lines[1]-px && y < lines[2]-px {
		return c
	}
	dx, dy := x-sunX, y-sunY
	d2 := float32(dx*dx) + float32(dy*dy*3)
	glow := 1 / mad(d2, 26, 1)
	for i := range ridges {
		cover := clamp01((y-lines[i])/px + 0.5)
		if cover == 0 {
			continue
		}
		r := &ridges[i]
		// Haze gathers in the valleys and takes the sun's colour.
		h := r.haze + float32(0.34*ease(lines[i], horizon, y)*(1-float32(0.25*float32(i))))
		air := rgb{0.46, 0.37, 0.36}.to(rgb{1.02, 0.60, 0.29}, glow)
		body := r.colour.to(air, clamp01(h))
		c = c.to(body, cover)
	}
	return c
}

// bankTop is the canvas height of the near bank's edge at x: high at the
// left under the tree, low in the middle where the water comes in.
func bankTop(x, n float32) float32 {
	y := 0.932 - float32(0.118*ease(0.74, 0.18, x)) - float32(0.050*ease(1.12, 1.46, x))
	return y - float32(0.030*(n-0.5))
}

var (
	mud     = code(0.150, 0.125, 0.105)
	mudWarm = code(0.34, 0.255, 0.165)
)

// ground is the bare bank under the grasses.
func (p *painter) ground(x, y, top float32) rgb {
	n := p.soil.fractal(float32(x*16), float32(y*34), 6, 0.6)
	c := mud.to(mudWarm, float32(ease(0.42, 0.75, n)*0.5))
	// Wet at the edge, and darker towards the picture's foot.
	wet := 1 - ease(0, 0.02, y-top)
	c = c.times(1 - float32(0.55*ease(0.84, 1.0, y)))
	return c.add(float32(wet*ease(0.55, 0.8, n)*0.10), rgb{1, 0.72, 0.45})
}
