package marsh

// post is a mooring post; its foot is at (x, y).
type post struct{ x, y, height, r, lean float32 }

// The posts lead from the bank out towards the light.
var posts = []post{
	{0.905, 0.6125, 0.0145, 0.00075, 0.05},
	{0.880, 0.6270, 0.0200, 0.00100, -0.03},
	{0.853, 0.6480, 0.0285, 0.00140, 0.04},
	{0.812, 0.6800, 0.0410, 0.00200, 0.02},
	{0.755, 0.7310, 0.0640, 0.00310, -0.06},
}

var postDark = rgb{0.016, 0.013, 0.012}

const (
	buoyX = 1.162
	buoyY = 0.7150
	buoyR = 0.0150
)

// rock is a boulder: an uneven half ellipsoid with its foot in the water.
type rock struct {
	x, y, rx, ry float32
	seed         float32
	lichen       float32
}

// line is where the rock meets the water.
func (s *rock) line() float32 { return s.y + float32(s.ry*0.35) }

var rocks = []rock{
	{1.335, 0.790, 0.040, 0.024, 1, 0.3},
	{1.052, 0.842, 0.034, 0.020, 2, 0.4},
	{0.985, 0.868, 0.060, 0.040, 3, 0.9},
	{1.110, 0.888, 0.082, 0.056, 4, 1.0},
	{0.900, 0.902, 0.040, 0.022, 5, 0.5},
	{1.215, 0.915, 0.050, 0.028, 6, 0.7},
}

var (
	stone      = code(0.205, 0.195, 0.195)
	stonePale  = code(0.42, 0.40, 0.385)
	lichenGold = rgb{0.37, 0.118, 0.0006} // less blue than sRGB can say
	skyFill    = rgb{0.30, 0.34, 0.42}
	sunFill    = rgb{1.0, 0.55, 0.25}
)

func (p *painter) rocksOver(c rgb, x, y, px float32) rgb {
	for i := range rocks {
		s := &rocks[i]
		dx, dy := (x-s.x)/s.rx, (y-s.y)/s.ry
		if dx < -1.3 || dx > 1.3 || dy < -1.4 || dy > 0.5 {
			continue
		}
		u, v := float32(dx*1.8)+float32(s.seed*11), float32(dy*1.4)
		a := p.lump.fractal(u, v, 5, 0.5) - 0.5
		// Squarish, with broken shoulders.
		ex := float32(dx * dx)
		ey := float32(dy * dy)
		d := sqrt(sqrt(float32(ex*ex)+float32(ey*ey)+float32(1.7*ex*ey))) + float32(0.75*a)
		foot := 0.35 + float32(0.20*(p.comb.at(1, float32(x*34), s.seed)-0.5)) + float32(0.05*(p.comb.at(5, float32(x*210), s.seed)-0.5)) -
			float32(0.14*ex)
		edge := min((1-d)*s.ry, (foot-dy)*s.ry)
		cover := clamp01(edge/px + 0.5)
		if cover == 0 {
			continue
		}
		// Slopes of the lumpy surface, by differences.
		const h = 0.03
		ax := p.lumpX.fractal(u+h, v, 7, 0.62) - p.lumpX2.fractal(u-h, v, 7, 0.62)
		ay := p.lumpY.fractal(u, v+h, 7, 0.62) - p.lumpY2.fractal(u, v-h, 7, 0.62)
		nz := sqrt(max(0.06, 1-min(float32(d*d), 0.94)))
		nx := float32(dx*0.62) - float32(ax*5.5)
		ny := float32(dy*0.85) - float32(ay*5.5)
		k := 1 / sqrt(float32(nx*nx)+float32(ny*ny)+float32(nz*nz))
		nx, ny, nz = nx*k, ny*k, nz*k
		up := clamp01(mad(-ny, 0.75, 0.28))
		// The sun stands low behind and to the left.
		lx := (sunX - s.x) * 1.4
		sun := clamp01(float32(nx*lx) - float32(ny*0.75) - float32(nz*0.42) + 0.02)
		grainy := p.pit.fractal(float32(x*260), float32(y*300), 4, 0.65)
		base := stone.to(stonePale, ease(0.35, 0.75, grainy))
		spread := p.crust.fractal(float32(x*42)+s.seed, float32(y*60), 5, 0.62)
		speck := p.pit.at(5, float32(x*620), float32(y*700))
		grow := ease(0.555, 0.60, spread+float32(0.10*(s.lichen-0.9))+float32(0.05*(speck-0.5))) * ease(0.20, -0.25, dy)
		base = base.to(lichenGold.times(mad(grainy, 1.3, 0.2)), grow*0.9)
		light := skyFill.times(mad(up, 0.95, 0.06)).add(sun*1.5, sunFill)
		body := base.by(light).times(1.45)
		// Wet and dark where the water has been.
		wet := ease(0.02, 0.20, dy+float32(0.25*a))
		body = body.to(body.times(0.30), wet)
		body = body.add(float32(sun*wet*wet)*0.10, sunFill)
		c = c.to(body, cover)
	}
	return c
}

// buoyOver lays the buoy over c: a round red float with a short stem.
func (p *painter) buoyOver(c rgb, x, y, px float32) rgb {
	dx, dy := (x-buoyX)/buoyR, (y-buoyY)/buoyR
	if dx < -1.3 || dx > 1.6 || dy < -2.6 || dy > 0.9 {
		return c
	}
	// It leans a little.
	dx -= float32(dy * -0.16)
	stem := min(0.115-abs(dx), min(dy+2.25, -0.8-dy))
	if k := clamp01(stem*buoyR/px + 0.5); k > 0 {
		c = c.to(rgb{0.018, 0.015, 0.015}.to(sunFill.times(0.5), ease(-0.02, -0.11, dx)*0.8), k)
	}
	d := sqrt(float32(dx*dx) + float32(dy*dy))
	sea := 0.56 + float32(0.05*(p.comb.at(2, float32(x*150), 0.5)-0.5))
	edge := min(1-d, sea-dy) * buoyR
	cover := clamp01(edge/px + 0.5)
	if cover == 0 {
		return c
	}
	nz := sqrt(max(0.02, 1-float32(d*d)))
	up := clamp01(mad(-dy, 0.6, 0.35))
	sun := clamp01(float32(-dx*0.72) - float32(dy*0.55) + float32(nz*0.10))
	paint := rgb{0.80, 0.062, 0.0005}
	// A pale band, and slime below it.
	paint = paint.to(rgb{0.62, 0.58, 0.52}, ease(0.035, 0, abs(dy+0.12)-0.13))
	paint = paint.to(rgb{0.020, 0.035, 0.012}, ease(0.28, 0.44, dy))
	scuff := p.pit.fractal(float32(x*300), float32(y*520), 3, 0.6)
	paint = paint.times(mad(scuff, 0.5, 0.75))
	body := paint.by(rgb{0.30, 0.33, 0.38}.times(mad(up, 1.25, 0.16)).add(float32(sun*sun)*2.3, sunFill))
	hx, hy := dx+0.45, dy+0.52
	glint := 1 / mad(float32(hx*hx)+float32(hy*hy), 90, 1)
	body = body.add(float32(glint*glint)*1.3, rgb{1, 0.86, 0.7})
	return c.to(body, cover)
}
