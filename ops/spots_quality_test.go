//go:build outside

package ops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"platemark/ops/colour"
	"platemark/testdata/photos"
)

// ground is what a spot lies on: onSmooth, onTexture or onEdge.
type ground int

const (
	onSmooth ground = iota
	onTexture
	onEdge
	grounds
)

func (g ground) String() string { return [...]string{"smooth", "texture", "edge"}[g] }

// shot is a photograph with its lightness of 0 to 255.
type shot struct {
	w, h  int
	pix   []uint16
	light []float64
}

func openPhoto(t testing.TB, name string) *shot {
	pix, w, h := photos.Open(t, name, 1)
	p := &shot{w: w, h: h, pix: pix}
	p.light = lightOf(pix)
	return p
}

func lightOf(pix []uint16) []float64 {
	l := make([]float64, len(pix)/3)
	for i := range l {
		l[i] = (float64(pix[3*i]) + 2*float64(pix[3*i+1]) + float64(pix[3*i+2])) / 4 / 257
	}
	return l
}

// ground says what lies within r of a place: onSmooth where a slope leaves less
// than 3 of 255 as a standard deviation; else an onEdge where most of the
// gradients' squares lie along one direction, or onTexture; nothing where in doubt.
func (p *shot) ground(x, y, r int) (ground, bool) {
	var n, sl, sll, sx, sy, sxx, sxl, syl, gxx, gyy, gxy float64
	for dy := -r; dy <= r; dy++ {
		for dx := -r; dx <= r; dx++ {
			if dx*dx+dy*dy > r*r {
				continue
			}
			i := (y+dy)*p.w + x + dx
			l := p.light[i]
			n++
			sl, sll = sl+l, sll+l*l
			fx, fy := float64(dx), float64(dy)
			sx, sy, sxx, sxl, syl = sx+fx, sy+fy, sxx+fx*fx, sxl+fx*l, syl+fy*l
			hx, hy := p.light[i+1]-p.light[i-1], p.light[i+p.w]-p.light[i-p.w]
			gxx, gyy, gxy = gxx+hx*hx, gyy+hy*hy, gxy+hx*hy
		}
	}
	all := sll/n - sl*sl/n/n
	flat := all - (sxl*sxl+syl*syl)/sxx/n
	along := math.Hypot(gxx-gyy, 2*gxy) / (gxx + gyy)
	switch {
	case flat < 9 && all < 25:
		return onSmooth, true
	case flat > 64 && along > 0.6:
		return onEdge, true
	case flat > 64 && along < 0.4:
		return onTexture, true
	}
	return 0, false
}

type planted struct {
	x, y, r int
	ground
}

// plant lays dark and light specks on a copy of the photograph, every radius and
// ground alike as far as there are places.
func (p *shot) plant(seed uint64, each int) ([]uint16, []planted) {
	rng := rand.New(rand.NewPCG(seed, 7))
	var list []planted
	for _, r := range []int{40, 30, 20, 12, 8, 5, 3} {
		var have [grounds]int
		for range 4000 {
			margin := 2*r + 8
			q := planted{x: margin + rng.IntN(p.w-2*margin), y: margin + rng.IntN(p.h-2*margin), r: r}
			var ok bool
			if q.ground, ok = p.ground(q.x, q.y, 3*r/2+2); !ok || have[q.ground] == each || r >= 20 && have[q.ground] == each/3 {
				continue
			}
			for _, o := range list {
				if math.Hypot(float64(q.x-o.x), float64(q.y-o.y)) < 1.6*float64(r+o.r)+8 {
					ok = false
				}
			}
			if ok {
				have[q.ground]++
				list = append(list, q)
			}
		}
	}
	out := append([]uint16(nil), p.pix...)
	for i, q := range list {
		to := 9000.0
		if i%3 == 2 {
			to = 60000
		}
		for y := q.y - q.r; y <= q.y+q.r; y++ {
			for x := q.x - q.r; x <= q.x+q.r; x++ {
				share := math.Max(0, math.Min(1, float64(q.r)-q.apart(x, y)))
				for k := range 3 {
					at := &out[(y*p.w+x)*3+k]
					*at = uint16(float64(*at) + 0.9*share*(to-float64(*at)))
				}
			}
		}
	}
	return out, list
}

func (q planted) apart(x, y int) float64 {
	return math.Hypot(float64(x)+0.5-float64(q.x), float64(y)+0.5-float64(q.y))
}

// radius is that of the spot which mends the speck: its softness of 30 % begins
// outside.
func (q planted) radius() int { return (q.r*10 + 9) / 7 }

// mend runs the spots over the picture.
func (p *shot) mend(t testing.TB, pix []uint16, list []planted, from func(planted) string) []uint16 {
	var text []string
	for _, q := range list {
		text = append(text, fmt.Sprintf("at %d %d radius %d soft 3/10", q.x, q.y, q.radius())+from(q))
	}
	pic := Pic{W: p.w, H: p.h, C: 3}
	return build(t, spotsStepOf(t, pic, text...), nil, &plane{pic: pic, data: pix})
}

// figures of a group of spots.
type figures struct {
	n          int
	difference float64 // CIEDE2000 to the photograph, mean over the disc
	grain      float64 // of the disc over that around it, as the mean of logarithms
	seam       float64
}

func (f *figures) add(g figures) {
	f.n, f.difference, f.grain, f.seam = f.n+g.n, f.difference+g.difference, f.grain+g.grain, f.seam+g.seam
}

func (f figures) String() string {
	n := float64(f.n)
	return fmt.Sprintf("%3d: CIEDE2000 %5.2f, grain %4.2f, seam %4.2f", f.n, f.difference/n, math.Exp(f.grain/n), math.Exp(f.seam/n))
}

func labAt(pix []uint16, i int) colour.Lab {
	var lin [3]float64
	for k := range lin {
		v := float64(pix[3*i+k]) / 65535
		if v <= 0.04045 {
			lin[k] = v / 12.92
		} else {
			lin[k] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	r, g, b := lin[0], lin[1], lin[2] // IEC 61966-2-1, adapted to D50 by Bradford
	return colour.LabFromXYZ([3]float64{0.4360747*r + 0.3850649*g + 0.1430804*b, 0.2225045*r + 0.7168786*g + 0.0606169*b, 0.0139322*r + 0.0971045*g + 0.7141733*b})
}

func (p *shot) judge(q planted, after []uint16, light []float64) figures {
	f := figures{n: 1}
	n := 0.0
	var in, out, ni, no float64
	fine := func(l []float64, i int) float64 { // against its neighbours
		return l[i] - (l[i-1]+l[i+1]+l[i-p.w]+l[i+p.w])/4
	}
	big := 2 * q.radius()
	for y := max(1, q.y-big); y < min(p.h-1, q.y+big); y++ {
		for x := max(1, q.x-big); x < min(p.w-1, q.x+big); x++ {
			i, d := y*p.w+x, q.apart(x, y)
			switch {
			case d < float64(q.r):
				f.difference += colour.DeltaE2000(labAt(p.pix, i), labAt(after, i))
				n++
				v := fine(light, i)
				in, ni = in+v*v, ni+1
			case d > float64(q.radius())+1 && d < float64(big):
				v := fine(p.light, i)
				out, no = out+v*v, no+1
			}
		}
	}
	f.difference /= n
	f.grain = math.Log((in/ni+1e-3)/(out/no+1e-3)) / 2
	f.seam = math.Log((p.step(q, light) + 0.1) / (p.step(q, p.light) + 0.1))
	return f
}

// step is the step over the rims of the speck and of the spot that mends it, in
// sixteen sectors: the root of the mean square of the differences of the 2 px
// within and the 2 px without.
func (p *shot) step(q planted, l []float64) float64 {
	var all float64
	for _, rim := range []float64{float64(q.r), float64(q.radius())} {
		var sum [2][16]float64
		var n [2][16]float64
		for y := max(0, q.y-int(rim)-3); y < min(p.h, q.y+int(rim)+3); y++ {
			for x := max(0, q.x-int(rim)-3); x < min(p.w, q.x+int(rim)+3); x++ {
				d := q.apart(x, y) - rim
				if d < -2 || d > 2 {
					continue
				}
				a := int((math.Atan2(float64(y)+0.5-float64(q.y), float64(x)+0.5-float64(q.x))/math.Pi + 1) * 7.9999)
				side := 0
				if d > 0 {
					side = 1
				}
				sum[side][a] += l[y*p.w+x]
				n[side][a]++
			}
		}
		for a := range 16 {
			if n[0][a] > 0 && n[1][a] > 0 {
				v := sum[0][a]/n[0][a] - sum[1][a]/n[1][a]
				all += v * v
			}
		}
	}
	return math.Sqrt(all / 32)
}

// quality adds up what mending a photograph's planted specks comes to.
func (p *shot) quality(t testing.TB, seed uint64, from func(planted) string) (sum [grounds]figures) {
	pix, list := p.plant(seed, 6)
	after := p.mend(t, pix, list, from)
	light := lightOf(after)
	for _, q := range list {
		sum[q.ground].add(p.judge(q, after, light))
	}
	return sum
}

func TestSpotsQuality(t *testing.T) {
	// Common practice, no source: specks of 3 to 40 px on photographs, mended and
	// held against the photograph. The rules were chosen on the first two.
	none := func(planted) string { return "" }
	beside := func(q planted) string { // a place to the right, or where there is none to the left
		return fmt.Sprintf(" from %d %d", q.x+3*q.radius()+4, q.y)
	}
	var all, fitted [grounds]figures
	for i, name := range []string{"beach", "hills", "mountains", "brook", "storm", "dandelions", "lamps"} {
		p := openPhoto(t, name)
		for k, from := range []func(planted) string{none, beside} {
			sum := p.quality(t, uint64(i), from)
			for g, f := range sum {
				t.Logf("%-11s %-7v %-8s %v", name, ground(g), []string{"", "from"}[k], f)
				switch {
				case i < 2:
				case k == 0:
					all[g].add(f)
				default:
					fitted[g].add(f)
				}
			}
		}
	}
	for g := range grounds {
		t.Logf("apart %-7v         %v", g, all[g])
		t.Logf("apart %-7v from    %v", g, fitted[g])
		n := float64(all[g].n)
		if grain, seam := math.Exp(all[g].grain/n), math.Exp(all[g].seam/n); grain < 0.7 || grain > 1.2 || seam > 1.1 {
			t.Errorf("%v: grain %.2f, seam %.2f", g, grain, seam)
		}
		if d := all[g].difference / n; d > [...]float64{1.5, 10, 8}[g] {
			t.Errorf("%v: CIEDE2000 %.2f", g, d)
		}
	}
	if g := math.Exp(all[onSmooth].grain / float64(all[onSmooth].n)); g < 0.8 {
		t.Errorf("grain on smooth ground is %.2f of that around", g)
	}
}
