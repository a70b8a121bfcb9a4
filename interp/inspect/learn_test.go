package inspect

import (
	"context"
	"flag"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"golang.org/x/image/draw"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/raster"
	"platemark/testdata/photos"
)

var learnTo = flag.String("learn", os.DevNull, "the file into which BenchmarkLearn writes what it learned: like.txt")

// An example is what was measured of a speck.
type example [likeIn]float32

// teacher is the scan that only takes specks, and what they are.
type teacher struct {
	*scan
	planted []fault // nil takes all as what isn't planted
	mu      sync.Mutex
	list    map[image.Point][]example // by tile and level
}

type pupil struct {
	*teacher
	w *scanWorker
}

func (t *teacher) Worker() ops.Worker { return &pupil{t, t.scan.Worker().(*scanWorker)} }

func (p *pupil) Row(dst []uint16, y int, in []ops.Rows) {
	w := p.w
	for x := range w.cols {
		t := y*w.cols + x
		w.turn(t, in[0])
		for k := range levels {
			w.sum(k)
			var list []example
			w.eachSpeck(k, func(x, y int, sign int32, _, calm float64) {
				if p.planted != nil && !p.is(w.place(k, float64(x)+0.5, float64(y)+0.5), k, sign) {
					return
				}
				var q [likeIn]int32
				w.around(k, x, y, sign, calm, &q)
				var e example
				for i, v := range q {
					e[i] = float32(v) / likeOne
				}
				list = append(list, e)
			})
			p.mu.Lock()
			p.list[image.Pt(t, k)] = list
			p.mu.Unlock()
		}
	}
}

// is says whether a speck is one of those planted, seen in a level that suits it.
func (t *teacher) is(at Point, k int, sign int32) bool {
	return slices.ContainsFunc(t.planted, func(f fault) bool {
		r := f.r * halfAt / float64(int(1)<<k)
		return r > 0.6 && r < 3.4 && f.contrast*float64(sign) > 0 && apart(at, Point{float64(f.x) + 0.5, float64(f.y) + 0.5}) < max(1.2, 0.35*f.r)
	})
}

// halfAt is the share of its radius at which a blot that fades as (1 - d^2/r^2)^2 has
// half its height.
const halfAt = 0.5412

// specks are those of a picture, or of what is planted on it.
func (p *shot) specks(t testing.TB, planted []fault) (out []example) {
	sc, err := newScan(p.pic(), nil, Noise{})
	if err != nil {
		t.Fatal(err)
	}
	s := &teacher{scan: sc, planted: planted, list: map[image.Point][]example{}}
	g := &engine.Graph{Nodes: []engine.Node{{Pic: p.pic(), Store: raster.Of(p.pix, p.w, p.h, 3)}, {Pic: s.Pic(), Step: s, In: []int{0}}}, Out: 1}
	if _, err := engine.Run(context.Background(), g, engine.Keep(raster.NewMemory(s.Pic().W, s.Pic().H, 1)), engine.Options{}); err != nil {
		t.Fatal(err)
	}
	for tile := range s.tiles {
		for k := range levels {
			out = append(out, s.list[image.Pt(tile, k)]...)
		}
	}
	return out
}

// smaller is a picture reduced to a share of its size.
func (p *shot) smaller(by float64) *shot {
	if by == 1 {
		return p
	}
	w, h := int(float64(p.w)*by), int(float64(p.h)*by)
	from, to := image.NewRGBA64(image.Rect(0, 0, p.w, p.h)), image.NewRGBA64(image.Rect(0, 0, w, h))
	for i := range p.w * p.h {
		for c := range 4 {
			v := uint16(65535)
			if c < 3 {
				v = p.pix[3*i+c]
			}
			from.Pix[8*i+2*c], from.Pix[8*i+2*c+1] = byte(v>>8), byte(v)
		}
	}
	draw.BiLinear.Scale(to, to.Rect, from, from.Rect, draw.Src, nil)
	pix := make([]uint16, 3*w*h)
	for i := range w * h {
		for c := range 3 {
			pix[3*i+c] = uint16(to.Pix[8*i+2*c])<<8 | uint16(to.Pix[8*i+2*c+1])
		}
	}
	eight(pix)
	return newShot(pix, w, h)
}

// recoloured is a picture whose channels are in another order, with a share of their
// difference from its light.
func (p *shot) recoloured(order [3]int, share float64) *shot {
	pix := make([]uint16, len(p.pix))
	for i, l := range p.light {
		for c, from := range order {
			pix[3*i+c] = uint16(share*float64(p.pix[3*i+from]) + (1-share)*257*l)
		}
	}
	eight(pix)
	return newShot(pix, p.w, p.h)
}

// drawn is a picture of edges, corners, lines and ends of lines, more or less steep.
func drawn(seed uint64) *shot {
	rng := rand.New(rand.NewPCG(seed, 15))
	const side, cells = 64, 20
	type half struct{ nx, ny, at float64 }
	type shape struct {
		halves     []half // what lies within all of them is darker
		blur, less float64
	}
	var shapes [cells * cells]shape
	for i := range shapes {
		s := &shapes[i]
		s.blur, s.less = 0.2+rng.Float64()*rng.Float64()*3, 0.02+0.5*rng.Float64()*rng.Float64()
		if rng.IntN(3) == 0 {
			s.less = -s.less
		}
		way, wide := 2*math.Pi*rng.Float64(), 0.5+4*rng.Float64()
		corner := way + (0.25+0.5*rng.Float64())*math.Pi
		add := func(way, at float64) {
			s.halves = append(s.halves, half{math.Cos(way), math.Sin(way), at})
		}
		add(way, wide)
		switch rng.IntN(4) {
		case 1:
			add(corner, 0)
		case 2:
			add(way+math.Pi, wide)
		case 3:
			add(way+math.Pi, wide)
			add(corner, 0)
		}
	}
	return made(side*cells, side*cells, 0.3+rng.Float64()*2, func(x, y int) [3]float64 {
		s := &shapes[y/side*cells+x/side]
		in := s.less
		for _, h := range s.halves {
			in /= 1 + math.Exp((float64(x%side-side/2)*h.nx+float64(y%side-side/2)*h.ny-h.at)/s.blur)
		}
		return grey(140 * (1 - in))
	})
}

// BenchmarkLearn learns how like a blot a speck is (see likeness): from 200 blots
// planted with each of the seeds 1 to 10 on the two tuned photographs and on five
// reduced copies of each, in other colours, against all specks that these have of their own, and
// those of six pictures drawn of edges, corners and lines. By stochastic
// gradients of the logistic loss, half of each batch blots, a quarter of it from the
// twenty-fifth of the others that are the likest so far (AdamW: I. Loshchilov, F.
// Hutter, ICLR 2019; dropout: N. Srivastava et al., JMLR 15, 2014; the numbers are our
// own choice).
func BenchmarkLearn(b *testing.B) {
	for range b.N {
		var yes, no []example
		for _, name := range tuned {
			pix, w, h := photos.Open(b, name, 1)
			whole := newShot(pix, w, h)
			for _, c := range []struct {
				by    float64
				order [3]int
				share float64
			}{{1, [3]int{0, 1, 2}, 1}, {0.85, [3]int{1, 2, 0}, 0.6}, {0.7, [3]int{2, 0, 1}, 1}, {0.6, [3]int{2, 1, 0}, 0.3}, {0.5, [3]int{0, 2, 1}, 1}, {0.4, [3]int{1, 0, 2}, 0}} {
				p := whole.smaller(c.by).recoloured(c.order, c.share)
				no = append(no, p.specks(b, nil)...)
				for seed := range uint64(10) {
					bad, list := p.plant(seed+1, 0, 200, 0, 0)
					yes = append(yes, bad.specks(b, list)...)
				}
			}
			fmt.Printf("%s: %d of blots, %d of others\n", name, len(yes), len(no))
		}
		for seed := range uint64(6) {
			no = append(no, drawn(seed).specks(b, nil)...)
		}
		n := learn(yes, no, 3000)
		if err := os.WriteFile(*learnTo, []byte(n.text()), 0o666); err != nil {
			b.Fatal(err)
		}
	}
}

// A layer is what its sums take of each number that goes in, and last what is added.
type layer struct {
	ins, outs  int
	w, g, m, v []float64 // weights, their gradients, these gradients' moments
}

func newLayer(rng *rand.Rand, ins, outs int) *layer {
	l := &layer{ins: ins, outs: outs}
	for _, p := range []*[]float64{&l.w, &l.g, &l.m, &l.v} {
		*p = make([]float64, (ins+1)*outs)
	}
	for i := range ins * outs {
		l.w[i] = (2*rng.Float64() - 1) / math.Sqrt(float64(ins))
	}
	return l
}

func (l *layer) sums(in, out []float64) {
	copy(out, l.w[l.ins*l.outs:])
	for i, v := range in {
		if v != 0 {
			for j, w := range l.w[i*l.outs:][:l.outs] {
				out[j] += v * w
			}
		}
	}
}

// back adds to the gradients g what a gradient of the sums says, and gives that of
// what went in.
func (l *layer) back(g, in, d, back []float64) {
	for i, v := range in {
		sum := 0.0
		w, g := l.w[i*l.outs:], g[i*l.outs:][:l.outs]
		for j := range g {
			g[j] += v * d[j]
			sum += w[j] * d[j]
		}
		if back != nil {
			back[i] = sum
		}
	}
	for j, v := range d {
		g[l.ins*l.outs+j] += v
	}
}

// step follows the gradients, the t-th time.
func (l *layer) step(t int, rate float64) {
	for i, g := range l.g {
		l.m[i] = 0.9*l.m[i] + 0.1*g
		l.v[i] = 0.999*l.v[i] + 0.001*g*g
		m, v := l.m[i]/(1-math.Pow(0.9, float64(t))), l.v[i]/(1-math.Pow(0.999, float64(t)))
		l.w[i] -= rate * (m/(math.Sqrt(v)+1e-8) + 1e-3*l.w[i])
	}
	clear(l.g)
}

// brain is a network that learns.
type brain struct {
	layers       [3]*layer
	mean, spread example
}

func (b *brain) normal(e *example, in []float64) {
	for i, v := range e {
		in[i] = float64((v - b.mean[i]) / b.spread[i])
	}
}

type thought struct{ in, first, second, last []float64 }

func newThought() thought {
	return thought{make([]float64, likeIn), make([]float64, likeFirst), make([]float64, likeSecond), make([]float64, 1)}
}

func (b *brain) of(e *example, t thought, drop *rand.Rand) float64 {
	b.normal(e, t.in)
	b.layers[0].sums(t.in, t.first)
	rectify(t.first, drop)
	b.layers[1].sums(t.first, t.second)
	rectify(t.second, drop)
	b.layers[2].sums(t.second, t.last)
	return t.last[0]
}

func rectify(v []float64, drop *rand.Rand) {
	for i := range v {
		v[i] = max(v[i], 0)
		if drop != nil {
			if v[i] /= 0.9; drop.Uint32()%10 == 0 {
				v[i] = 0
			}
		}
	}
}

// learn learns in so many steps.
func learn(yes, no []example, steps int) *brain {
	const batch, parts, top = 4096, 8, 2e-3
	rng := rand.New(rand.NewPCG(1, 15))
	b := &brain{layers: [3]*layer{newLayer(rng, likeIn, likeFirst), newLayer(rng, likeFirst, likeSecond), newLayer(rng, likeSecond, 1)}}
	for i := range likeIn {
		var s, q, n float64
		for _, list := range [][]example{yes, no} {
			for j := 0; j < len(list); j += max(1, len(list)/50000) {
				v := float64(list[j][i])
				s, q, n = s+v, q+v*v, n+1
			}
		}
		b.mean[i], b.spread[i] = float32(s/n), float32(math.Sqrt(q/n-s*s/n/n)+1e-3)
	}
	var likest []int
	for t := 1; t <= steps; t++ {
		if t%(steps/8) == 0 {
			likest = b.likest(no)
		}
		pick := make([]*example, batch)
		for i := range pick {
			switch {
			case i%2 == 0:
				pick[i] = &yes[rng.IntN(len(yes))]
			case i%4 == 1 || likest == nil:
				pick[i] = &no[rng.IntN(len(no))]
			default:
				pick[i] = &no[likest[rng.IntN(len(likest))]]
			}
		}
		var grads [parts][3][]float64
		var loss [parts]float64
		var wg sync.WaitGroup
		for part := range parts {
			seed := rng.Uint64()
			wg.Go(func() {
				drop := rand.New(rand.NewPCG(seed, 15))
				for i, l := range b.layers {
					grads[part][i] = make([]float64, len(l.g))
				}
				th := newThought()
				d0, d1 := make([]float64, likeFirst), make([]float64, likeSecond)
				for i := part * batch / parts; i < (part+1)*batch/parts; i++ {
					v, want := b.of(pick[i], th, drop), float64(1-i%2)
					p := 1 / (1 + math.Exp(-v))
					loss[part] -= math.Log(max(1e-12, 1-math.Abs(want-p))) / batch
					b.layers[2].back(grads[part][2], th.second, []float64{(p - want) / batch}, d1)
					behind(d1, th.second)
					b.layers[1].back(grads[part][1], th.first, d1, d0)
					behind(d0, th.first)
					b.layers[0].back(grads[part][0], th.in, d0, nil)
				}
			})
		}
		wg.Wait()
		sum := 0.0
		for part := range parts {
			sum += loss[part]
			for i, l := range b.layers {
				for j, g := range grads[part][i] {
					l.g[j] += g
				}
			}
		}
		// The rate climbs for three tenths of the way, then falls to nothing.
		rate := top * (0.5 + 0.5*math.Cos(math.Pi*(float64(t)/float64(steps)-0.3)/0.7))
		if s := float64(t) / float64(steps); s < 0.3 {
			rate = top * (0.52 - 0.48*math.Cos(math.Pi*s/0.3))
		}
		for _, l := range b.layers {
			l.step(t, rate)
		}
		if t%(steps/8) == 0 {
			fmt.Printf("step %d: loss %.4f\n", t, sum)
		}
	}
	return b
}

// behind takes away the gradient where a sum was rectified to nothing.
func behind(d, v []float64) {
	for i := range d {
		if v[i] <= 0 {
			d[i] = 0
		} else {
			d[i] /= 0.9
		}
	}
}

// likest are the twenty-fifth of a list that are the likest to blots.
func (b *brain) likest(list []example) []int {
	score := make([]float32, len(list))
	var wg sync.WaitGroup
	for part := range 8 {
		wg.Go(func() {
			th := newThought()
			for i := part * len(list) / 8; i < (part+1)*len(list)/8; i++ {
				score[i] = float32(b.of(&list[i], th, nil))
			}
		})
	}
	wg.Wait()
	sorted := slices.Clone(score)
	slices.Sort(sorted)
	least := sorted[len(sorted)-len(sorted)/25]
	var out []int
	for i, s := range score {
		if s >= least {
			out = append(out, i)
		}
	}
	return out
}

// text is the network in the form of like.txt.
func (b *brain) text() string {
	var s strings.Builder
	for n, l := range b.layers {
		for j := range l.outs {
			add := l.w[l.ins*l.outs+j]
			for i := range l.ins {
				v := l.w[i*l.outs+j]
				if n == 0 {
					v /= float64(b.spread[i])
					add -= v * float64(b.mean[i])
				}
				fmt.Fprintf(&s, "%.0f ", likeOne*v)
			}
			fmt.Fprintf(&s, "%.0f\n", likeOne*add)
		}
	}
	return s.String()
}
