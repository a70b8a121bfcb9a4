package marsh

// The scene is described on a canvas 1.5 wide and 1 high, X to the right and
// Y down, that is stretched over the picture.
const (
	wide    = 1.5
	horizon = 0.575
	sunX    = 0.985
	sunY    = 0.524
)

// skyTones are the colours of the clear sky by height above the horizon,
// evenly spaced from the horizon to the picture's top.
var skyTones = []rgb{
	code(0.93, 0.72, 0.47),
	code(0.90, 0.71, 0.53),
	code(0.80, 0.69, 0.60),
	code(0.67, 0.66, 0.66),
	code(0.545, 0.61, 0.67),
	code(0.44, 0.545, 0.64),
	code(0.35, 0.475, 0.595),
	code(0.28, 0.41, 0.545),
	code(0.225, 0.35, 0.49),
}

// skyTable runs a smooth curve through skyTones.
func skyTable() []rgb {
	const n = 1024
	table := make([]rgb, n+2)
	at := func(i int) rgb { return skyTones[min(max(i, 0), len(skyTones)-1)] }
	for k := range table {
		p := float32(float32(k) * float32(len(skyTones)-1) / n)
		i := int(p)
		t := p - float32(i)
		for n, w := range curve(t) {
			table[k] = table[k].add(w, at(i+n-1))
		}
	}
	return table
}

var (
	glowNear = rgb{1.0, 0.56, 0.20}
	glowFar  = rgb{0.50, 0.22, 0.085}
	sunDisc  = rgb{1.0, 0.80, 0.50}
	cloudLit = rgb{1.0, 0.60, 0.36}
	cloudLow = code(0.46, 0.42, 0.475)
	cloudTop = code(0.40, 0.44, 0.52)
)

// sky gives the light from the sky at (x, y), y at most the horizon. Fewer
// octaves make it cheaper and softer, as the water needs it.
func (p *painter) sky(x, y float32, octaves int) rgb {
	e := clamp01(float32((horizon - y) * (1 / horizon)))
	f := float32(e * 1024)
	i := int(f)
	c := p.skyTable[i].to(p.skyTable[i+1], f-float32(i))
	// Away from the sun the low sky is cooler.
	dx, dy := x-sunX, y-sunY
	side := ease(0.1, 1.0, abs(dx)) * (1 - ease(0.1, 0.7, e))
	c = c.by(rgb{1 - float32(0.34*side), 1 - float32(0.20*side), 1 - float32(0.02*side)})
	// The glow is wider than high, and lies along the horizon.
	d2 := float32(dx*dx) + float32(dy*dy*3.4)
	near := 1 / mad(d2, 260, 1)
	far := 1 / mad(d2, 16, 1)
	disc2 := float32(dx*dx) + float32(dy*dy)

	// High cloud, seen in perspective: it draws together towards the horizon.
	z := 1 / (e + 0.16)
	cx := float32((x - 0.75) * z * 1.30)
	cz := float32(z * 2.35)
	warp := p.warp.fractal(float32(cx*1.3), float32(cz*1.3), 2, 0.5) - 0.5
	cx, cz = mad(warp, 1.5, cx)+float32(0.35*cz), mad(warp, 0.8, cz)
	n := p.cloud.fractal(cx, float32(cz*1.7), octaves, 0.53)
	deep := ease(0.44, 0.74, n+float32(0.10*ease(0.2, 0.9, e))-float32(0.06*ease(0.5, 0, x)))
	// The high parts break up into fine waves.
	wave := p.cirrus.fractal(float32(cx*3.1)+float32(warp*2), float32(cz*8.5), min(octaves, 5), 0.58)
	deep = float32(deep * (1 - float32(ease(0.60, 0.36, wave)*ease(0.12, 0.45, e)*0.62)))
	// Relief: cloud that thins towards the sun is lit on that side.
	toward := p.relief.fractal(cx-float32(dx*0.28), float32(cz*1.7)+0.30, min(octaves, 4), 0.53)
	relief := clamp01(mad(n-toward, 3.6, 0.42))
	relief = clamp01(relief + float32(0.9*(wave-0.5)))
	thin := float32(deep * (1 - deep) * 4)
	fire := clamp01(mad(far, 1.15, 0.10))
	lit := cloudLit.times(mad(far, 0.75, 0.22)).add(0.9*near, glowNear)
	shade := cloudLow.to(cloudTop, ease(0.25, 0.9, e))
	body := shade.to(lit, clamp01(mad(relief, 0.80, float32(thin*0.22))*mad(fire, 0.80, 0.22)))
	cover := deep * mad(ease(0.02, 0.22, e), 0.66, 0.16)
	c = c.to(body, cover)
	c = c.add(float32(thin*far)*0.14, cloudLit)

	// A long low bank of cloud behind the hills, gilded along its upper edge.
	if y < horizon-0.09 {
		return p.sunOver(c, near, far, disc2)
	}
	edge := horizon - 0.058 - float32(0.042*(p.bank.fractal(float32(x*3.1), float32(y*9)+3, min(octaves, 5), 0.5)-0.5)) +
		float32(0.020*(dx*dx))
	veil := ease(-0.006, 0.012, y-edge)
	rim := ease(-0.006, 0.003, y-edge) * (1 - ease(0.002, 0.014, y-edge))
	low := bankGrey.to(cloudLit.times(0.5), clamp01(mad(near, 0.7, float32(far*0.35))))
	c = c.to(low, float32(veil*0.46)*(1-ease(horizon-0.022, horizon, y)))
	c = c.add(float32(rim*far)*0.34, cloudLit)

	return p.sunOver(c, near, far, disc2)
}

// sunOver adds the glow, and the sun itself, just over the hills and so
// bright that its rim drowns.
func (p *painter) sunOver(c rgb, near, far, disc2 float32) rgb {
	c = c.add(mad(near, 0.75, float32(near*near)*1.1), glowNear).add(far*0.55, glowFar)
	disc := 1 - ease(0.0080*0.0080, 0.0130*0.0130, disc2)
	halo := 1 / mad(disc2, 5200, 1)
	return c.add(mad(disc, 12, float32(halo*halo)*3.2), sunDisc).add(halo*0.5, sunDisc)
}

var bankGrey = code(0.50, 0.42, 0.44)
