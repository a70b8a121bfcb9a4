package proof

import (
	"fmt"

	"platemark/interp"
	"platemark/interp/plan"
	"platemark/ops/colour"
)

// Shown is a print as if it were made on a paper of its recipe, to be looked at
// in parts as that paper will show it: with the colours that Make shows whole. It
// is immutable and safe for many goroutines.
type Shown struct {
	Plan  *plan.Print
	Out   int    // the node that the paper shows: without border, wrap and the printer's own colours
	Key   string // equal for pictures that look equal
	paper *proofPlan
}

// Bind binds a print of a job, whole or up to a line (0: whole), on a paper that
// its recipe names.
func Bind(j *interp.Job, print, paper string, upto int) (*Shown, error) {
	pr := j.Recipe.Print(print)
	if pr == nil {
		return nil, fmt.Errorf("no print is named %s", print)
	}
	if pr.Sheet != nil {
		return nil, fmt.Errorf("%s is a sheet of proofs already; choose a print that it shows", print)
	}
	papers, err := papersOf(j, pr, []string{paper})
	if err != nil {
		return nil, err
	}
	p, err := bind(j, pr, papers[0], upto)
	if err != nil {
		return nil, err
	}
	n := p.Nodes[p.out]
	if n.Pic.C != 1 && n.Pic.C != 3 {
		return nil, fmt.Errorf("print %s has %d channels; a paper is shown for grey and RGB pictures", print, n.Pic.C)
	}
	return &Shown{p.Print, p.out, fmt.Sprintf("%s-%s-%v-%v", n.Key, p.profile.Digest(), p.intent, p.black), p}, nil
}

// An Eye sees parts of a picture as one paper shows them.
type Eye struct {
	eye    *eye
	screen *colour.FromLab
}

// Eye prepares looking, which takes a while.
func (s *Shown) Eye() (*Eye, error) {
	e, err := newEye(s.paper, s.Plan.Nodes[s.Out].Pic.Profile)
	if err != nil {
		return nil, err
	}
	srgb, _ := colour.Space("sRGB")
	screen, err := colour.NewFromLab(srgb, colour.Relative)
	return &Eye{e, screen}, err
}

// Screen is a part of the picture in colours beside D50, paper white and black as
// they are: those colours, and their codes for an sRGB screen, three a pixel.
func (e *Eye) Screen(m interp.Picture, workers int) ([]colour.Lab, []uint8) {
	n := m.W * m.H
	lab, rgb := make([]colour.Lab, n), make([]uint16, 3*n)
	inRows(n, workers, func(a, z int) {
		printed := make([]uint16, (z-a)*e.eye.proof.Inks())
		e.eye.proof.Print(printed, m.Samples[a*m.C:z*m.C])
		e.eye.proof.Paper(lab[a:z], printed)
		e.screen.Row(rgb[3*a:3*z], lab[a:z])
	})
	return lab, interp.EightBits(m, rgb)
}

// White is the bare paper in codes for an sRGB screen.
func (e *Eye) White() (rgb [3]uint8) {
	white, _ := e.eye.ends()
	var c [3]uint16
	e.screen.Row(c[:], []colour.Lab{white})
	for i, v := range c {
		rgb[i] = uint8((int(v) + 128) / 257)
	}
	return rgb
}

// Outside says of each pixel of a part whether the paper can show it.
func (e *Eye) Outside(m interp.Picture, workers int) []colour.Verdict {
	out := make([]colour.Verdict, m.W*m.H)
	inRows(len(out), workers, func(a, z int) { e.eye.proof.Outside(out[a:z], m.Samples[a*m.C:z*m.C]) })
	return out
}

// Relative are the colours of a part as an eye sees them that is adapted to the
// paper, white at L* 100; of a nil Eye, as they are meant.
func (e *Eye) Relative(m interp.Picture, workers int) ([]colour.Lab, error) {
	if e != nil {
		return e.eye.relative(m, workers), nil
	}
	to, err := colour.NewToLab(m.Profile, colour.Relative)
	if err != nil {
		return nil, err
	}
	lab := make([]colour.Lab, m.W*m.H)
	inRows(len(lab), workers, func(a, z int) { to.Row(lab[a:z], m.Samples[a*m.C:z*m.C]) })
	return lab, nil
}
