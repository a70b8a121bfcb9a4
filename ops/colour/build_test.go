package colour

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand"
)

// Profiles made for tests, of every kind of table.

type madeTag struct {
	sig  string
	data []byte
}

// makeProfile writes a profile; tags of equal data share it.
func makeProfile(version byte, class, space, pcs string, tags ...madeTag) []byte {
	head := make([]byte, 132)
	copy(head[8:], []byte{version, 0x20, 0, 0})
	copy(head[12:], class+space+pcs)
	copy(head[36:], "acsp")
	for i, v := range D50 {
		binary.BigEndian.PutUint32(head[68+4*i:], uint32(v))
	}
	binary.BigEndian.PutUint32(head[128:], uint32(len(tags)))
	at := len(head) + 12*len(tags)
	var body []byte
	for i, t := range tags {
		off := -1
		for k := range tags[:i] {
			if bytes.Equal(tags[k].data, t.data) {
				off = int(binary.BigEndian.Uint32(head[132+12*k+4:]))
			}
		}
		if off < 0 {
			for len(body)%4 != 0 {
				body = append(body, 0)
			}
			off = at + len(body)
			body = append(body, t.data...)
		}
		head = append(head, t.sig...)
		head = binary.BigEndian.AppendUint32(head, uint32(off))
		head = binary.BigEndian.AppendUint32(head, uint32(len(t.data)))
	}
	out := append(head, body...)
	binary.BigEndian.PutUint32(out, uint32(len(out)))
	return out
}

// tableTagData writes lut8 (width 1) or lut16 with curves of n entries; f gives
// the grid's outputs, 0..1, for inputs 0..1; bend is the exponent of the first
// curves, whose effect f has to allow for.
func tableTagData(width, in, out, grid, n int, bend float64, matrix []float64, f func(x []float64) []float64) []byte {
	d := []byte("mft1\x00\x00\x00\x00")
	if width == 2 {
		d[3] = '2'
	}
	d = append(d, byte(in), byte(out), byte(grid), 0)
	if matrix == nil {
		matrix = []float64{1, 0, 0, 0, 1, 0, 0, 0, 1}
	}
	for _, v := range matrix {
		d = binary.BigEndian.AppendUint32(d, uint32(int32(math.Floor(v*65536+0.5))))
	}
	if width == 2 {
		d = binary.BigEndian.AppendUint16(d, uint16(n))
		d = binary.BigEndian.AppendUint16(d, uint16(n))
	} else {
		n = 256
	}
	put := func(v float64) {
		v = math.Min(math.Max(v, 0), 1)
		if width == 1 {
			d = append(d, byte(v*255+0.5))
		} else {
			d = binary.BigEndian.AppendUint16(d, uint16(v*65535+0.5))
		}
	}
	for range in {
		for i := range n {
			put(math.Pow(float64(i)/float64(n-1), bend))
		}
	}
	eachNode(in, grid, func(x []float64) {
		for _, v := range f(x) {
			put(v)
		}
	})
	for range out {
		for i := range n {
			put(float64(i) / float64(n-1))
		}
	}
	return d
}

func eachNode(in, grid int, f func(x []float64)) {
	total := 1
	for range in {
		total *= grid
	}
	for i := range total {
		x, r := make([]float64, in), i
		for k := in - 1; k >= 0; k-- {
			x[k] = float64(r%grid) / float64(grid-1)
			r /= grid
		}
		f(x)
	}
}

// partsTag writes lutAToB ("mAB ") or lutBToA ("mBA ") of the parts given.
func partsTag(kind string, in, out int, b [][]byte, matrix []float64, m [][]byte, table []byte, a [][]byte) []byte {
	d := append([]byte(kind), 0, 0, 0, 0, byte(in), byte(out), 0, 0)
	d = append(d, make([]byte, 20)...)
	part := func(slot int, data []byte) {
		if data == nil {
			return
		}
		for len(d)%4 != 0 {
			d = append(d, 0)
		}
		binary.BigEndian.PutUint32(d[12+4*slot:], uint32(len(d)))
		d = append(d, data...)
	}
	curves := func(c [][]byte) (all []byte) {
		for _, x := range c {
			all = append(all, x...)
			for len(all)%4 != 0 {
				all = append(all, 0)
			}
		}
		return all
	}
	var mat []byte
	for _, v := range matrix {
		mat = binary.BigEndian.AppendUint32(mat, uint32(int32(math.Floor(v*65536+0.5))))
	}
	part(0, curves(b))
	part(1, mat)
	part(2, curves(m))
	part(3, table)
	part(4, curves(a))
	return d
}

// gridPart is the table of lutAToB and lutBToA: 16-bit numbers.
func gridPart(sizes []int, values []uint16) []byte {
	d := make([]byte, 20)
	for i, g := range sizes {
		d[i] = byte(g)
	}
	d[16] = 2
	for _, v := range values {
		d = binary.BigEndian.AppendUint16(d, v)
	}
	return d
}

func repeat(n int, d []byte) (out [][]byte) {
	for range n {
		out = append(out, d)
	}
	return out
}

var white = madeTag{"wtpt", fixedTag("XYZ ", 55000, 57000, 48000)}

// easyLab is an invented device in 0..1 terms: lightness by the mean, chroma by
// the differences; easyDevice is its inverse on the grey axis and near it.
func easyLab(x []float64) Lab {
	switch len(x) {
	case 1:
		return Lab{L: 100 * x[0]}
	case 4:
		k := 1 - x[3]
		return easyLab([]float64{(1 - x[0]) * k, (1 - x[1]) * k, (1 - x[2]) * k})
	}
	return Lab{100 * (x[0] + x[1] + x[2]) / 3, 60 * (x[0] - x[1]), 60 * (x[1] - x[2])}
}

func easyDevice(c Lab, n int) []float64 {
	l, p, q := c.L/100, c.A/60, c.B/60 // r-g, g-b
	g := l - (p-q)/3
	switch n {
	case 1:
		return []float64{l}
	case 4:
		return []float64{1 - (g + p), 1 - g, 1 - (g - q), 0}
	}
	return []float64{g + p, g, g - q}
}

// code8 and code16 are Lab in the lut8 (and v4) and the lut16 encoding, 0..1.
func code8(c Lab) []float64 { return []float64{c.L / 100, (c.A + 128) / 255, (c.B + 128) / 255} }
func code16(c Lab) []float64 {
	return []float64{c.L * 652.8 / 65535, (c.A + 128) * 256 / 65535, (c.B + 128) * 256 / 65535}
}
func lab8(x []float64) Lab { return Lab{100 * x[0], 255*x[1] - 128, 255*x[2] - 128} }
func lab16(x []float64) Lab {
	return Lab{x[0] * 65535 / 652.8, x[1]*65535/256 - 128, x[2]*65535/256 - 128}
}

// madeProfiles are small profiles of every kind of table and device.
func madeProfiles() map[string][]byte {
	out := map[string][]byte{}
	space := map[int]string{1: "GRAY", 3: "RGB ", 4: "CMYK"}
	for _, n := range []int{1, 3, 4} {
		grid := map[int]int{1: 17, 3: 5, 4: 3}[n]
		for width, code := range map[int]func(Lab) []float64{1: code8, 2: code16} {
			decode := map[int]func([]float64) Lab{1: lab8, 2: lab16}[width]
			name := map[int]string{1: "lut8 ", 2: "lut16 "}[width] + space[n]
			a2b := tableTagData(width, n, 3, grid, 33, 1, nil, func(x []float64) []float64 { return code(easyLab(x)) })
			b2a := tableTagData(width, 3, n, 9, 33, 1, nil, func(x []float64) []float64 { return easyDevice(decode(x), n) })
			out[name] = makeProfile(2, "prtr", space[n], "Lab ", white, madeTag{"A2B0", a2b}, madeTag{"B2A0", b2a})
		}
	}
	// XYZ connection: a device whose codes are light, through matrices.
	m := []float64{0.4361, 0.3851, 0.1431, 0.2225, 0.7169, 0.0606, 0.0139, 0.0971, 0.7139}
	inv := []float64{3.1339, -1.6169, -0.4906, -0.9788, 1.9161, 0.0335, 0.0719, -0.2290, 1.4052}
	a2b := tableTagData(2, 3, 3, 5, 9, 1, nil, func(x []float64) []float64 {
		o := make([]float64, 3)
		for r := range o {
			o[r] = (m[3*r]*x[0] + m[3*r+1]*x[1] + m[3*r+2]*x[2]) * 32768 / 65535
		}
		return o
	})
	// 1 is 32768 on both sides: the grid doubles.
	b2a := tableTagData(2, 3, 3, 5, 9, 1, inv, func(x []float64) []float64 {
		return []float64{x[0] * 65535 / 32768, x[1] * 65535 / 32768, x[2] * 65535 / 32768}
	})
	out["lut16 XYZ"] = makeProfile(2, "spac", "RGB ", "XYZ ", white, madeTag{"A2B0", a2b}, madeTag{"B2A0", b2a})

	// Version 4: sRGB as curves and a matrix, without a table.
	half := func(v []float64, k float64) []float64 {
		o := append([]float64(nil), v...)
		for i := range o {
			o[i] *= k
		}
		return append(o, 0, 0, 0)
	}
	const k = 32768.0 / 65535
	exactM := make([]float64, 9)
	srgb, _ := Space("sRGB")
	for r := range 3 {
		for c := range 3 {
			exactM[3*r+c] = float64(srgb.colorant[c][r]) / 65536
		}
	}
	exactInv := make([]float64, 9)
	for r, row := range srgb.matrix().inverse().floats() {
		copy(exactInv[3*r:], row[:])
	}
	plain := repeat(3, curvTag())
	curve := repeat(3, paraTag(3, srgbPara))
	uncurve := repeat(3, paraTag(4, []string{"5/12", "1137119/1000000", "0", "1292/100", "31308/10000000", "-55/1000", "0"}))
	out["mAB matrix"] = makeProfile(4, "spac", "RGB ", "XYZ ", white,
		madeTag{"A2B0", partsTag("mAB ", 3, 3, plain, half(exactM, k), curve, nil, nil)},
		madeTag{"B2A0", partsTag("mBA ", 3, 3, plain, half(exactInv, 1/k), uncurve, nil, nil)})
	// All parts, uneven grid, 16 bits.
	rng := rand.New(rand.NewSource(8))
	var values, back []uint16
	for i := range 3 * 4 * 5 {
		x := []float64{float64(i/20) / 2, float64(i/5%4) / 3, float64(i%5) / 4}
		for _, v := range code8(easyLab(x)) {
			values = append(values, uint16(math.Min(math.Max(v*65535+rng.NormFloat64()*300, 0), 65535)))
		}
	}
	for i := range 7 * 9 * 9 {
		x := []float64{float64(i/81) / 6, float64(i/9%9) / 8, float64(i%9) / 8}
		for _, v := range easyDevice(lab8(x), 3) {
			back = append(back, uint16(math.Min(math.Max(v, 0), 1)*65535))
		}
	}
	bent := repeat(3, curvTag(0, 20000, 45000, 65535))
	out["mAB all"] = makeProfile(4, "prtr", "RGB ", "Lab ", white,
		madeTag{"A2B0", partsTag("mAB ", 3, 3, bent, []float64{0.97, 0.01, 0, 0.01, 0.98, 0, 0, 0.02, 0.95, 0.002, 0.004, 0.01}, repeat(3, paraTag(0, []string{"101/100"})), gridPart([]int{3, 4, 5}, values), repeat(3, curvTag(0x0133)))},
		madeTag{"B2A0", partsTag("mBA ", 3, 3, plain, nil, nil, gridPart([]int{7, 9, 9}, back), bent)})
	// A scanner: no way back.
	out["input"] = makeProfile(2, "scnr", "RGB ", "Lab ", white,
		madeTag{"A2B0", tableTagData(2, 3, 3, 4, 256, 0.6, nil, func(x []float64) []float64 { return code16(easyLab(x)) })})
	return out
}
