package colour

// Ends are the device's white and its black as they look beside D50. Black is
// what L* 0 comes to where the profile has a way to the device, else its codes
// of least light.
func (p *Profile) Ends() (white, black Lab, err error) {
	look, err := NewToLab(p, Absolute)
	if err != nil {
		return white, black, err
	}
	codes, _, _ := p.deviceGreys()
	row := make([]uint16, p.channels)
	for i := range row {
		row[i] = uint16(codes[i])
	}
	white = look.at(row)
	if from, err := NewFromLab(p, Perceptual); err == nil {
		from.Row(row, []Lab{{}})
	} else {
		clear(row)
	}
	return white, look.at(row), nil
}

// Intents are the intents, but absolute, for which the profile has tables of
// its own; none for curves.
func (p *Profile) Intents() (own []Intent) {
	for _, i := range [...]Intent{Perceptual, Relative, Saturation} {
		if p.toPCS[i] != nil || p.fromPCS[i] != nil {
			own = append(own, i)
		}
	}
	return own
}

// gamutSide is how many pieces a side of the device's cube is cut into.
const gamutSide = 32

// GamutVolume is the volume of all colours that the device shows, in cubic
// units of CIELAB with white at L* 100; 0 for grey. It is what the surface of
// the cube of red, green and blue encloses in CIELAB, cut into triangles. For
// CMYK a place in the cube is the inks 1 - red, 1 - green, 1 - blue, and black
// 1 - the largest of them.
func (p *Profile) GamutVolume() (float64, error) {
	f, err := newForward(p, Relative)
	if err != nil || p.channels == 1 {
		return 0, err
	}
	at := func(rgb [3]float64) Lab {
		v := [4]float64{rgb[0], rgb[1], rgb[2]}
		if p.channels == 4 {
			v = [4]float64{65535 - rgb[0], 65535 - rgb[1], 65535 - rgb[2], 65535 - max(rgb[0], rgb[1], rgb[2])}
		}
		return f.lab(v)
	}
	sum := 0.0
	for axis := range 3 {
		for _, side := range [2]float64{0, 65535} {
			node := func(i, k int) Lab {
				var c [3]float64
				c[axis], c[(axis+1)%3], c[(axis+2)%3] = side, float64(i)*(65535.0/gamutSide), float64(k)*(65535.0/gamutSide)
				return at(c)
			}
			face := 0.0
			for i := range gamutSide {
				for k := range gamutSide {
					a, b, c, d := node(i, k), node(i+1, k), node(i+1, k+1), node(i, k+1)
					face += sixfold(a, b, c) + sixfold(a, c, d)
				}
			}
			if side == 0 {
				face = -face
			}
			sum += face
		}
	}
	return max(sum, -sum) / 6, nil
}

// sixfold is six times the signed volume of a triangle's pyramid over 0.
func sixfold(a, b, c Lab) float64 {
	return float64(a.L*(float64(b.A*c.B)-float64(b.B*c.A))) + float64(a.A*(float64(b.B*c.L)-float64(b.L*c.B))) +
		float64(a.B*(float64(b.L*c.A)-float64(b.A*c.L)))
}
