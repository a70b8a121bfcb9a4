package plan

import (
	"fmt"
	"math/big"
	"strings"

	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/exact"
)

// tone binds a tone block. One for another paper than the print's does
// nothing; in a print block itself that is a mistake.
func (w *walker) tone(s *lang.Tone) {
	b := w.b
	if s.For != nil && (b.paper == nil || b.paper.Name.Value != s.For.Value) {
		return
	}
	var args ops.Args
	put := func(name string, r *big.Rat) { args = append(args, ops.Arg{Name: name, Value: r.RatString()}) }
	if s.Exposure != nil {
		put("exposure", s.Exposure.Value)
	}
	if s.Warmth != nil {
		put("warmth", s.Warmth.Value)
	}
	if s.Contrast != nil {
		put("contrast", share(*s.Contrast))
	}
	if s.Curve != nil {
		var v []string
		for _, p := range s.Curve {
			v = append(v, p.X.RatString(), p.Y.RatString())
		}
		args = append(args, ops.Arg{Name: "curve", Value: strings.Join(v, " ")})
	}
	if s.Local != nil {
		put("local", share(*s.Local))
		r, ok := w.length(*s.Radius)
		if !ok {
			return
		}
		put("local-radius", r)
	}
	if s.Chroma != nil {
		put("chroma", share(*s.Chroma))
	}
	if s.Muted != nil {
		put("muted", share(*s.Muted))
	}
	n := len(b.plan.Nodes)
	w.add(s.Span, "tone", args, s.Through, nil, w.cur)
	for i := n; i < len(b.plan.Nodes); i++ {
		for _, l := range s.Lines {
			b.atLine[l.Line] = i
		}
	}
}

// tint colours a grey picture in the space of the master, or in sRGB where the
// master is grey.
func (w *walker) tint(s *lang.Tint) {
	b := w.b
	p, _ := colour.Space("sRGB")
	if m := b.plan.Nodes[0].Pic.Profile; m != nil && m.Channels() == 3 && !m.HasTables() {
		p = m
	}
	w.add(s.Span, "tint", argsOf("hue", s.Hue.Value, "chroma", s.Chroma.Value, "profile", b.profile(p)), nil, nil, w.cur)
}

// edge binds border and wrap. Their width is whole pixels, half up.
func (w *walker) edge(s lang.Step) {
	b := w.b
	pic := b.plan.Nodes[w.cur.node].Pic
	if !w.sized(s.Where(), pic) {
		return
	}
	width := func(m lang.Measure) (int, bool) {
		r := m.Value
		if in, ok := m.Inches(); ok {
			r = mul(in, b.size.ppi)
		}
		px := exact.Nearest(r)
		if px < 1 {
			b.err(CodeSize, m.Span, "this is less than a pixel wide", "", "make it wider, or take it out")
			return 0, false
		}
		return px, true
	}
	var n int
	var ok bool
	switch s := s.(type) {
	case *lang.Border:
		px, fine := width(s.Width)
		if !fine {
			return
		}
		c, fine := w.neutral(pic, s.Colour)
		if !fine {
			return
		}
		n, ok = b.node(s.Span, w.stage, "border", argsOf("width", px, "colour", c), w.cur.node)
		if f := &b.plan.Face; !w.wrapped {
			two := quo(rat(int64(2*px)), b.size.ppi)
			f.W, f.H = add(f.W, two), add(f.H, two)
		}
	case *lang.Wrap:
		px, fine := width(s.Width)
		if !fine {
			return
		}
		args := argsOf("width", px, "way", s.Way.Value)
		if s.Colour != nil {
			c, fine := w.neutral(pic, *s.Colour)
			if !fine {
				return
			}
			args = append(args, ops.Arg{Name: "colour", Value: c})
		}
		n, ok = b.node(s.Span, w.stage, "wrap", args, w.cur.node)
		w.wrapped = true
		if f := &b.plan.Face; s.Way.Value == "picture" {
			// The sides are the picture's own: less of it stays in front.
			two := quo(rat(int64(2*px)), b.size.ppi)
			f.W, f.H = sub(f.W, two), sub(f.H, two)
		}
	}
	if ok {
		w.edged = s.Where().Line
		w.set(n, nil, w.cur.covers)
	}
}

// sized says whether the picture has the print's size, and complains if not.
func (w *walker) sized(at lang.Span, p ops.Pic) bool {
	b := w.b
	if p.W == b.size.w && p.H == b.size.h || w.edged != 0 {
		return true
	}
	b.err(CodeSize, at, fmt.Sprintf("the print is to be %d x %d px, but the picture here is %d x %d px", b.size.w, b.size.h, p.W, p.H),
		"Nothing between size and this line brings it to that size.", "add a line such as `enlarge with mitchell`, or `take` the enlarged picture before it")
	return false
}

// neutral is the code of a neutral colour of a lightness in a picture's own
// encoding: white and black are its ends, grey is found through the profile.
func (w *walker) neutral(p ops.Pic, c lang.Colour) (string, bool) {
	v := uint16(0)
	switch {
	case c.Word == "white":
		v = 65535
	case c.Word == "grey" && p.Profile.HasTables():
		w.b.err(CodePaper, c.Span, "a grey can't be mixed in the colours of a printer", "Paper white and the darkest black are the ends of its scale; a grey between is a matter of its tables.", "write colour white or colour black")
		return "", false
	case c.Word == "grey":
		v = p.Profile.Tone(0).Encode64(luminance(c.Lightness))
	}
	return strings.TrimSpace(strings.Repeat(fmt.Sprint(v)+" ", p.C)), true
}

// luminance is the relative luminance of a CIELAB lightness (CIE 15: the cube
// of (L + 16) / 116, below L = 8 linear), in exact fractions, rounded once.
func luminance(l *big.Rat) float64 {
	y := quo(mul(l, rat(27)), rat(24389))
	if l.Cmp(rat(8)) > 0 {
		t := quo(add(l, rat(16)), rat(116))
		y = mul(mul(t, t), t)
	}
	f, _ := y.Float64()
	return f
}
