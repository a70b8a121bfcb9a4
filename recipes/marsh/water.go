package marsh

// isle is a low strip of sedge lying in the water.
type isle struct {
	x0, x1, y, height float32
	seed              int32
}

var isles = []isle{
	{-0.20, 0.34, 0.5900, 0.0075, 1},
	{0.52, 0.80, 0.5885, 0.0050, 2},
	{1.13, 1.70, 0.5945, 0.0085, 3},
	{0.10, 0.62, 0.6190, 0.0125, 4},
	{1.02, 1.24, 0.6130, 0.0080, 5},
	{1.20, 1.75, 0.6560, 0.0200, 6},
	{-0.30, 0.20, 0.6700, 0.0240, 7},
}

// swell is how high an isle stands at x, 0 to 1: it tapers to both ends.
func (s *isle) swell(x float32) float32 {
	t := (x - s.x0) / (s.x1 - s.x0)
	if t <= 0 || t >= 1 {
		return 0
	}
	return sqrt(float32(t*(1-t)) * 4)
}

// tuft is how tall sedge stands at x, 0.2 to 1: it grows in clumps.
func (p *painter) tuft(x float32, seed int32) float32 { return tuftAt(p.comb, x, seed) }

func tuftAt(f *field, x float32, seed int32) float32 {
	y := float32(seed) * 3.7
	n := mad(f.at(0, float32(x*34), y), 0.6, float32(0.4*f.at(4, float32(x*120), y)))
	return mad(ease(0.25, 0.72, n), 0.8, 0.2)
}

var (
	deepWater = rgb{0.006, 0.034, 0.043}
	shallow   = rgb{0, 0.165, 0.146} // turquoise: less red than sRGB can say
	sedge     = code(0.205, 0.165, 0.115)
)

// water is the light from the water at (x, y), y over the horizon: the sky
// mirrored in ripples, over the water's own colour.
func (p *painter) water(x, y float32) rgb {
	q := y - horizon
	z := 1 / (q + 0.020)
	// Two trains of ripples on the level water, in perspective. Those finer
	// than the far water can show fade out.
	wx := float32((x - 0.75) * z)
	wz := float32(z * 1.9)
	cell := float32(q+0.02) * float32(q+0.02)
	var slope, drift float32
	amp := float32(0.5)
	fx, fz := float32(0.85), float32(2.6)
	for o := 0; o < 6; o++ {
		show := ease(0.0004, 0.0016, cell/float32(fz*1.9))
		if show > 0 {
			n := p.ripple.at(o, mad(wx, fx, float32(o)*7.3)+float32(wz*fz*0.11), float32(wz*fz)) - 0.5
			slope += float32(n * amp * show)
			if o < 3 {
				drift += float32((p.swirl.at(o, float32(wx*fx*1.3), float32(wz*fz)+9) - 0.5) * amp * show)
			}
		}
		amp *= 0.70
		fx *= 1.75
		fz *= 1.75
	}
	// Wind lies on the water in long patches; between them it is a mirror.
	wind := p.wind.fractal(float32(x*1.7)+float32(z*0.10), float32(z*0.62), 3, 0.5)
	rough := mad(ease(0.36, 0.66, wind), 0.80, 0.20)
	// Fine wavelets, about as high on the picture near and far.
	root := sqrt(q + 0.0012)
	gx, gz := float32((x-sunX)*19)/root, root*210
	fine := mad(p.spark.at(0, gx, gz), 0.6, float32(0.4*p.spark.at(1, float32(gx*1.9)+float32(gz*0.2), float32(gz*2.1))))
	slope += float32((fine - 0.5) * 0.34)
	slope = float32(slope * rough)
	drift = float32(drift * rough)

	lift := mad(slope, 0.34, float32(rough*0.030))
	mx := mad(drift, 0.05, x)
	my := horizon - q - lift
	if my > horizon {
		my = horizon - float32((my-horizon)*0.5)
	}
	my = max(my, 0)
	c := p.sky(mx, my, 3)
	// Hills stand in the far water.
	column := min(int(clamp01(mx*(1/wide))*float32(p.w)), p.w-1)
	for i := range ridges {
		cover := ease(-0.008, 0.008, my-p.lines[column][i])
		if cover > 0 {
			dx := mx - sunX
			glow := 1 / mad(float32(dx*dx), 26, 1)
			body := ridges[i].colour.to(rgb{0.42, 0.33, 0.31}.to(rgb{0.9, 0.5, 0.22}, glow), ridges[i].haze)
			c = c.to(body, cover*0.9)
		}
	}
	c = p.mirrored(c, x, y, slope)
	// The sun's road: wavelets that happen to face it.
	dx := x - sunX
	road := 1 / mad(float32(dx*dx)/(0.00025+float32(0.0095*q)), 1, 1)
	flash := ease(0.56, 0.76, fine) * road * road * ease(0.46, 0.10, q)
	c = c.add(flash*mad(rough, 1.6, 0.5), sunDisc)

	// What the surface doesn't mirror is the water's own colour, turquoise
	// over the pale sand by the bank.
	face := clamp01(mad(slope, 1.5, 0.05) + float32(0.58*ease(0.03, 0.36, q)))
	body := deepWater
	if q > 0.10 {
		sand := p.sand.fractal(float32(x*3.4)+float32(slope*0.5), float32(y*9)+slope, 4, 0.55)
		near := ease(0.11, 0.38, q+float32(0.16*(sand-0.5))) * ease(0.34, 0.62, x) * ease(1.5, 1.15, x)
		body = deepWater.to(shallow.times(mad(sand, 1.1, 0.25)), near)
	}
	c = c.times(0.93).to(body, face)
	c = p.shaded(c, x, y, slope)
	// Mist lies on the far water.
	mist := 1 / mad(float32(q*q), 9000, 1)
	glow := 1 / mad(float32(dx*dx), 14, 1)
	return c.to(rgb{0.46, 0.37, 0.36}.to(rgb{1.0, 0.60, 0.30}, glow), mist*0.40)
}

// shaded darkens c under the rocks: they mirror dark, and keep the light from
// the water's own colour.
func (p *painter) shaded(c rgb, x, y, slope float32) rgb {
	for i := range rocks {
		s := &rocks[i]
		below := (y - s.line() + float32(slope*0.012)) / (s.ry * 1.25)
		if below < -0.4 || below > 1.1 {
			continue
		}
		at := (x - s.x + float32(slope*0.05)) / (s.rx * 1.06)
		d := float32(at*at) + float32(below*below)
		c = c.to(rgb{0.010, 0.013, 0.014}, ease(1.15, 0.40, d)*0.975)
	}
	return c
}

// mirrored darkens c where an isle, a post or the buoy stands in the water
// above (x, y).
func (p *painter) mirrored(c rgb, x, y, slope float32) rgb {
	yy := mad(slope, 0.020, y)
	for i := range isles {
		s := &isles[i]
		below := yy - s.y
		if below < -0.002 || below > s.height*1.3 {
			continue
		}
		t := s.swell(x)
		if t == 0 {
			continue
		}
		reach := float32(s.height * t * p.tuft(x, s.seed) * 1.15)
		cover := ease(reach, reach*0.55, below)
		c = c.to(sedge.times(0.55), cover*0.85)
	}
	for i := range posts {
		s := &posts[i]
		below := yy - s.y
		if below < 0 || below > s.height {
			continue
		}
		at := x - s.x - float32(s.lean*below) + float32(slope*0.016)
		cover := ease(s.r*1.5, s.r*0.7, abs(at)) * (1 - ease(s.height*0.5, s.height, below))
		c = c.to(postDark, cover*0.85)
	}
	// The buoy's red streaks.
	below := (yy - buoyY - buoyR*0.55) / (buoyR * 3.6)
	if below > 0 && below < 1 {
		at := (x - buoyX + float32(slope*0.035)) / buoyR
		cover := ease(1.05, 0.55, abs(at)) * (1 - ease(0.35, 1, below))
		c = c.to(rgb{0.42, 0.035, 0.006}, cover*0.75)
	}
	return c
}
