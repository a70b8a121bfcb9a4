package proof

import (
	"slices"
	"sync"

	"platemark/interp"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/colour"
)

// inRows calls do with stretches of n pixels from several goroutines.
func inRows(n, workers int, do func(from, till int)) {
	const stretch = 4096
	var wg sync.WaitGroup
	next := make(chan int)
	for range max(1, workers) {
		wg.Go(func() {
			for from := range next {
				do(from, min(from+stretch, n))
			}
		})
	}
	for from := 0; from < n; from += stretch {
		next <- from
	}
	close(next)
	wg.Wait()
}

// lab are the colours of a picture as meant, white at L* 100.
func (k *proofer) lab(m interp.Picture) []colour.Lab {
	lab := make([]colour.Lab, m.W*m.H)
	inRows(len(lab), k.o.Workers, func(a, z int) { k.toLab.Row(lab[a:z], m.Samples[a*m.C:z*m.C]) })
	return lab
}

// eye sees pictures as a paper shows them.
type eye struct {
	proof   *colour.Proof
	profile *colour.Profile // of the pictures
}

func newEye(p *proofPlan, src *colour.Profile) (*eye, error) {
	pr, err := colour.NewProof(src, p.profile, p.intent, p.black)
	return &eye{pr, src}, err
}

// sight is a picture as a paper shows it.
type sight struct {
	relative []colour.Lab // to an eye adapted to the paper
	paper    []colour.Lab // beside D50
	outside  []colour.Verdict
	delta    []float32 // CIEDE2000 from what was meant; figuresOf fills it
}

func (e *eye) look(m interp.Picture, workers int) *sight {
	n := m.W * m.H
	s := &sight{relative: make([]colour.Lab, n), paper: make([]colour.Lab, n), outside: make([]colour.Verdict, n)}
	c, inks := e.profile.Channels(), e.proof.Inks()
	inRows(n, workers, func(a, z int) {
		printed := make([]uint16, (z-a)*inks)
		src := m.Samples[a*c : z*c]
		e.proof.Print(printed, src)
		e.proof.Relative(s.relative[a:z], printed)
		e.proof.Paper(s.paper[a:z], printed)
		e.proof.Outside(s.outside[a:z], src)
	})
	return s
}

// relative is a picture as an eye sees it that is adapted to the paper.
func (e *eye) relative(m interp.Picture, workers int) []colour.Lab {
	lab := make([]colour.Lab, m.W*m.H)
	inRows(len(lab), workers, func(a, z int) {
		printed := make([]uint16, (z-a)*e.proof.Inks())
		e.proof.Print(printed, m.Samples[a*m.C:z*m.C])
		e.proof.Relative(lab[a:z], printed)
	})
	return lab
}

// share is the part of every n-th pixel that the paper can't show.
func (e *eye) share(m interp.Picture, n int) float64 {
	var some []uint16
	for i := 0; i < m.W*m.H; i += n {
		some = append(some, m.Samples[i*m.C:(i+1)*m.C]...)
	}
	outside := make([]colour.Verdict, len(some)/m.C)
	e.proof.Outside(outside, some)
	count := 0
	for _, o := range outside {
		if o != colour.Within {
			count++
		}
	}
	return float64(count) / float64(len(outside))
}

// ends are paper white and the black of the picture's black, beside D50.
func (e *eye) ends() (white, black colour.Lab) {
	c := e.profile.Channels()
	src := make([]uint16, 2*c)
	for i := range c {
		src[i] = 65535
	}
	printed := make([]uint16, 2*e.proof.Inks())
	e.proof.Print(printed, src)
	var lab [2]colour.Lab
	e.proof.Paper(lab[:], printed)
	return lab[0], lab[1]
}

// greys is the number of greys that are asked for casts, evenly spaced in codes.
const greys = 33

// grey is the largest chroma that greys of the picture take on as the paper
// shows them, behind a step that may be nil.
func (e *eye) grey(step ops.Step) float64 {
	c := e.profile.Channels()
	src := make([]uint16, greys*c)
	for i := range src {
		src[i] = uint16(i / c * 65535 / (greys - 1))
	}
	if step != nil {
		dst := make([]uint16, len(src))
		step.Worker().Row(dst, 0, []ops.Rows{oneRow(src)})
		src = dst
	}
	most := 0.0
	for _, l := range e.relative(interp.Picture{Pic: ops.Pic{W: greys, H: 1, C: c}, Samples: src}, 1) {
		most = max(most, l.Chroma())
	}
	return most
}

// greyCast is the largest chroma of greys behind tone step n with the given
// arguments, as the paper shows them: e sees the print's pictures, toned those
// that the step makes.
func greyCast(e, toned *eye, n plan.Node, args ops.Args) (float64, error) {
	args = slices.DeleteFunc(slices.Clone(args), func(a ops.Arg) bool {
		return a.Name == "local" || a.Name == "local-radius" || a.Name == "covers"
	})
	if len(args) == 0 {
		return e.grey(nil), nil
	}
	pic := n.Pic
	pic.W, pic.H = greys, 1
	o, _ := ops.Lookup(n.Op, n.Ver)
	step, err := o.New(args, []ops.Pic{pic}, ops.Env{})
	if err != nil {
		return 0, err
	}
	return toned.grey(step), nil
}

type oneRow []uint16

func (r oneRow) Row(int) []uint16 { return r }

// onScreen is a picture, or a part of one, in these colours.
func (k *proofer) onScreen(m interp.Picture, lab []colour.Lab) interp.ViewPicture {
	rgb := make([]uint16, 3*len(lab))
	inRows(len(lab), k.o.Workers, func(a, z int) { k.screen.Row(rgb[3*a:3*z], lab[a:z]) })
	return interp.ViewPicture{Print: k.plans[0].Name, FullW: k.pic.W, FullH: k.pic.H, W: m.W, H: m.H, RGB: interp.EightBits(m, rgb)}
}

// Distances is CIEDE2000 by pixel.
func Distances(a, b []colour.Lab, workers int) []float32 {
	d := make([]float32, len(a))
	inRows(len(a), workers, func(from, till int) { copy(d[from:till], interp.LabDistances(a[from:till], b[from:till])) })
	return d
}

// figuresOf compares a picture as meant with the same on a paper.
func figuresOf(meant []colour.Lab, s *sight, workers int) (f Figures) {
	s.delta = Distances(meant, s.relative, workers)
	f.Figures = interp.FiguresOf(s.delta)
	var n [colour.TooColourful + 1]float64
	for _, o := range s.outside {
		n[o]++
	}
	all := float64(max(1, len(s.outside)))
	f.TooDark, f.TooColourful = n[colour.TooDark]/all, n[colour.TooColourful]/all
	f.Share = (n[colour.TooDark] + n[colour.TooColourful]) / all
	f.Highlights, f.Shadows = lostSteps(meant, s.relative)
	return f
}

// Steps counts steps of lightness.
type Steps struct{ Lost, Of int }

const (
	shadowEnd      = 20 // L*, where shadows end
	highlightStart = 80 // L*, where highlights begin
	stepKept       = 0.25
)

// ladder is the mean lightness on the paper of each whole step of lightness as
// meant, and the number of pixels.
func ladder(meant, shown []colour.Lab) (mean [101]float64, n [101]int) {
	for i, m := range meant {
		k := int(min(max(m.L, 0), 100) + 0.5)
		mean[k] += shown[i].L
		n[k]++
	}
	for k := range mean {
		if n[k] > 0 {
			mean[k] /= float64(n[k])
		}
	}
	return mean, n
}

// rises are, for each pair of neighbouring steps that the picture has in at
// least so many pixels, what is left of a step of one: of highlights (L* 80 and
// more as meant) and of shadows (L* 20 and less).
func rises(meant, shown []colour.Lab, least int) (light, dark []float64) {
	mean, n := ladder(meant, shown)
	between := func(lo, hi int) (list []float64) {
		last := -1
		for k := lo; k <= hi; k++ {
			if n[k] < least {
				continue
			}
			if last >= 0 {
				list = append(list, (mean[k]-mean[last])/float64(k-last))
			}
			last = k
		}
		return list
	}
	return between(highlightStart, 100), between(0, shadowEnd)
}

// stepThere is the number of pixels from which a picture has a step.
func stepThere(pixels int) int { return max(8, pixels/10000) }

// lostSteps counts the steps of lightness that a paper swallows: of two
// neighbouring whole steps of L* that the picture has (a step is there from one
// pixel in 10000 on, and from 8), less than a quarter of the rise is left. The
// definition is ours.
func lostSteps(meant, shown []colour.Lab) (highlights, shadows Steps) {
	count := func(rises []float64) (s Steps) {
		for _, rise := range rises {
			if s.Of++; rise < stepKept {
				s.Lost++
			}
		}
		return s
	}
	light, dark := rises(meant, shown, stepThere(len(meant)))
	return count(light), count(dark)
}

// Band is what becomes of a stretch of values, From to Till as meant: a tenth
// of the pixels come out below Low, half below Mid, a tenth above High.
type Band struct {
	From, Till     float64
	Low, Mid, High float64
	Pixels         int
}

// bands says what becomes of lightness and chroma.
func bands(meant, shown []colour.Lab) (lightness, chroma []Band) {
	by := func(width float64, count int, value func(colour.Lab) float64) (out []Band) {
		lists := make([][]float32, count)
		for i, m := range meant {
			k := int(max(0, value(m)) / width)
			if k < count {
				lists[k] = append(lists[k], float32(value(shown[i])))
			}
		}
		for k, l := range lists {
			if len(l) < max(8, len(meant)/20000) {
				continue
			}
			slices.Sort(l)
			at := func(share float64) float64 { return float64(l[int(share*float64(len(l)-1))]) }
			out = append(out, Band{float64(k) * width, float64(k+1) * width, at(0.1), at(0.5), at(0.9), len(l)})
		}
		return out
	}
	return by(2.5, 41, func(l colour.Lab) float64 { return l.L }), by(4, 33, colour.Lab.Chroma)
}
