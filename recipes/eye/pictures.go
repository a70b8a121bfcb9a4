package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// picture is a picture in RGB with its samples.
type picture struct {
	ops.Pic
	pix []uint16
}

// Row makes it an operation's input.
func (p picture) Row(y int) []uint16 { return p.pix[y*p.Stride():][:p.Stride()] }

// spaces are those of the subjects. What has "veil" has a black that gives light,
// as a scan through haze.
var spaces = map[string]*colour.Profile{"sRGB": builtin("sRGB"), "opRGB": builtin("opRGB"), "veil": veil()}

func builtin(name string) *colour.Profile {
	p, ok := colour.Space(name)
	if !ok {
		panic(name)
	}
	return p
}

// veil is sRGB with the curve Y = a X^2.2 + 0.007 (ICC.1:2022, 10.18, function 2).
func veil() *colour.Profile {
	icc := builtin("sRGB").Bytes()
	curve := icc[bytes.Index(icc, []byte("para")):] // one for all channels
	const lift = 0.007
	binary.BigEndian.PutUint16(curve[8:], 2)
	for i, v := range []float64{2.2, math.Pow(1-lift, 1/2.2), 0, lift} {
		binary.BigEndian.PutUint32(curve[12+4*i:], uint32(v*65536+0.5))
	}
	p, err := colour.Parse(icc)
	if err != nil {
		panic(err)
	}
	return p
}

// do is what an operation makes of the picture; args are NAME VALUE, NAME VALUE.
// The step of 8 bits is that of files.
func (p picture) do(step, args string) (picture, error) {
	var out picture
	if step == "8 bits" {
		row := make([]byte, p.Stride())
		out.Pic = p.Pic
		for y := range p.H {
			raster.Eight(row, p.Row(y), p.C, 0, y)
			for _, v := range row {
				out.pix = append(out.pix, uint16(v)*257)
			}
		}
		return out, nil
	}
	op, ok := ops.Lookup(step, 1)
	if !ok {
		return out, fmt.Errorf("there is no operation %q", step)
	}
	var a ops.Args
	for pair := range strings.SplitSeq(args, ", ") {
		name, value, _ := strings.Cut(pair, " ")
		a = append(a, ops.Arg{Name: name, Value: value})
	}
	srgb := spaces["sRGB"]
	digest := fmt.Sprintf("%x", srgb.Digest())
	if step == "convert" {
		a = append(a, ops.Arg{Name: "profile", Value: digest})
	}
	pics, env := []ops.Pic{p.Pic}, ops.Env{Profiles: map[string]*colour.Profile{digest: srgb}}
	s, err := op.New(a, pics, env)
	if lack := op.Lack(a, pics, env); lack != nil && err == nil {
		s, err = lack.Bind(lack.Value(p.through(lack.Figures(p.Pic)).pix))
	}
	if err != nil {
		return out, err
	}
	out = p.through(s)
	if out.C == 1 { // a plane, shown as grey
		plane := out.pix
		out.Pic, out.pix = p.Pic, nil
		for _, v := range plane {
			out.pix = append(out.pix, v, v, v)
		}
	}
	return out, nil
}

func (p picture) through(s ops.Step) picture {
	if shared, ok := s.(ops.Shared); ok {
		s = shared.ForRun()
	}
	out := picture{s.Pic(), make([]uint16, s.Pic().Stride()*s.Pic().H)}
	k := s.Worker()
	for y := range out.H {
		k.Row(out.Row(y), y, []ops.Rows{p})
	}
	return out
}

// cut is the part w x h from x, y.
func (p picture) cut(x, y, w, h int) picture {
	q := picture{p.Pic, nil}
	q.W, q.H = w, h
	for r := range h {
		q.pix = append(q.pix, p.Row(y + r)[3*x:3*(x+w)]...)
	}
	return q
}

// steeper shows differences from the mean of each channel gain times as large.
func (p picture) steeper(gain int) picture {
	q := picture{p.Pic, make([]uint16, len(p.pix))}
	var sum [3]int
	for i, v := range p.pix {
		sum[i%3] += int(v)
	}
	for i, v := range p.pix {
		q.pix[i] = uint16(max(0, min(65535, 32768+gain*(int(v)-sum[i%3]/(p.W*p.H)))))
	}
	return q
}

// chart is a picture in sRGB of light, as shares.
func chart(w, h int, light func(x, y int) [3]float64) picture {
	p := picture{ops.Pic{W: w, H: h, C: 3, Profile: spaces["sRGB"]}, nil}
	tone := p.Profile.Tone(0)
	for i := range w * h {
		for _, v := range light(i%w, i/w) {
			p.pix = append(p.pix, tone.Encode64(v))
		}
	}
	return p
}

// grey is light of L* (CIE 15, above 8).
func grey(l float64) [3]float64 {
	y := math.Pow((l+16)/116, 3)
	return [3]float64{y, y, y}
}

// hues shows every hue, from full at the top of each strip to grey of the same
// light at its foot, in three strips of less and less light.
func hues() picture {
	luma := spaces["sRGB"].Luma()
	return chart(480, 240, func(x, y int) (v [3]float64) {
		light := []float64{1, 0.3, 0.08}[y/80]
		for c := range v {
			h := math.Mod(float64(x)/80+6-2*float64(c), 6)
			v[c] = light * math.Pow(max(0, min(1, 2-min(h, 6-h))), 2.2)
		}
		sum := v[0]*luma[0] + v[1]*luma[1] + v[2]*luma[2]
		for c := range v {
			v[c] += (sum - v[c]) * float64(y%80) / 79
		}
		return v
	})
}

// greys runs from black to white above, from L* 80 to 100 in the middle, and in
// steps of 2 L* from there below.
func greys() picture {
	return chart(480, 150, func(x, y int) [3]float64 {
		at := float64(x) / 479
		return grey([]float64{100 * at, 80 + 20*at, 80 + 2*math.Floor(at*10.99)}[y/50])
	})
}

// edge is a step from L* 30 to 70.
func edge() picture {
	return chart(480, 120, func(x, _ int) [3]float64 { return grey(30 + 40*float64(x/240)) })
}

// sky is a hundredth of 4 L* over 20 inches of print, a little blue, wide enough
// to see.
func sky() picture {
	return chart(900, 160, func(x, _ int) [3]float64 {
		v := grey(70 + 0.6*float64(x)/900)
		return [3]float64{0.85 * v[0], v[1], min(1, 1.12*v[2])}
	})
}

// hotPixels raises some pixels in one channel or in all.
func hotPixels(p picture, args string) (picture, string) {
	q := picture{p.Pic, slices.Clone(p.pix)}
	for i := range 40 {
		at := 3 * ((8+37*i%(p.H-16))*p.W + 8 + 101*i%(p.W-16))
		for c := range 3 {
			if i%4 == c || i%4 == 3 {
				q.pix[at+c] = uint16(min(65535, int(q.pix[at+c])+12000+1000*i))
			}
		}
	}
	return q, args
}

// noisy adds noise of 6 of 255 to each channel.
func noisy(p picture, args string) (picture, string) {
	q := picture{p.Pic, nil}
	rng := rand.New(rand.NewPCG(3, 9))
	for _, v := range p.pix {
		q.pix = append(q.pix, uint16(max(0, min(65535, float64(v)+rng.NormFloat64()*6*257))))
	}
	return q, args
}

// fringes draws red a little larger than blue, as a lens does, and lets the light of
// bright places spread in red and blue; Y' stays.
func fringes(p picture, args string) (picture, string) {
	q := picture{p.Pic, slices.Clone(p.pix)}
	luma := p.Profile.Luma()
	at := func(x, y, c int) float64 {
		return float64(p.pix[3*(max(0, min(p.H-1, y))*p.W+max(0, min(p.W-1, x)))+c])
	}
	for i := range p.W * p.H {
		x, y := i%p.W, i/p.W
		v := [3]float64{at(x+2, y+1, 0), at(x, y, 1), at(x-1, y-1, 2)}
		if x < p.W/2 {
			glow := max(0, at(x, y-3, 1)-v[1])
			v = [3]float64{at(x, y, 0) + 0.3*glow, v[1], at(x, y, 2) + 0.5*glow}
		}
		off := 0.0
		for c := range v {
			off += luma[c] * (at(x, y, c) - v[c])
		}
		for c := range v {
			q.pix[3*i+c] = uint16(max(0, min(65535, v[c]+off+0.5)))
		}
	}
	return q, args
}

// outOfFocus makes each pixel the mean of the 12 that lie within 2 px of it, and itself.
func outOfFocus(p picture, args string) (picture, string) {
	q := picture{p.Pic, slices.Clone(p.pix)}
	for i := range q.pix {
		x, y, c, sum := i/3%p.W, i/3/p.W, i%3, 0
		for j := -2; j <= 2; j++ {
			for k := -2; k <= 2; k++ {
				if j*j+k*k <= 4 {
					sum += int(p.pix[3*(max(0, min(p.H-1, y+j))*p.W+max(0, min(p.W-1, x+k)))+c])
				}
			}
		}
		q.pix[i] = uint16(sum / 13)
	}
	return q, args
}

// specks lays round specks of dust on the picture and mends each by a spot: filled
// from what lies beside it if args is "from".
func specks(p picture, args string) (picture, string) {
	q := picture{p.Pic, slices.Clone(p.pix)}
	var spots []string
	for i, s := range [][3]int{{40, 40, 8}, {120, 30, 4}, {190, 50, 12}, {50, 110, 12}, {130, 90, 6}, {200, 120, 5}, {120, 135, 3}} {
		x0, y0, r := s[0], s[1], s[2]
		dust := []float64{9000, 60000}[i%2]
		for k, v := range q.pix {
			at := k / 3
			d := float64(r) - math.Hypot(float64(at%p.W-x0), float64(at/p.W-y0))
			q.pix[k] = uint16(float64(v) + 0.9*max(0, min(1, d))*(dust-float64(v)))
		}
		radius := r*10/7 + 1 // its softness begins outside
		text := fmt.Sprintf("spot-%d at %d %d radius %d soft 3/10", i+1, x0, y0, radius)
		if args == "from" {
			beside := x0 + 2*radius + 2
			if beside+radius > p.W {
				beside = x0 - 2*radius - 2
			}
			text += fmt.Sprintf(" from %d %d", beside, y0)
		}
		spots = append(spots, text)
	}
	return q, strings.Join(spots, ", ")
}
