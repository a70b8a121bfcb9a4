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
	n := len(b.plan.Nodes)
	w.add("tone", s, nil, w.cur)
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
	w.add("tint", s, argsOf("profile", b.profile(p)), w.cur)
}

// ways are those of a wrap, as the operation calls them.
var ways = map[string]string{"reflected": "mirror", "repeated": "stretch", "picture": "picture", "colour": "colour"}

// edge binds border and wrap. Their width is whole pixels, half up.
func (w *walker) edge(s lang.Step) {
	b := w.b
	pic := b.plan.Nodes[w.cur.node].Pic
	if !w.sized(s.Where(), pic) {
		return
	}
	var m lang.Measure
	var c *lang.Colour
	way := "" // of a wrap
	switch s := s.(type) {
	case *lang.Border:
		m, c = s.Width, &s.Colour
	case *lang.Wrap:
		m, c, way = s.Width, s.Colour, ways[s.Way.Value]
	}
	r := m.Value
	if in, ok := m.Inches(); ok {
		r = mul(in, b.size.ppi)
	}
	px := exact.Nearest(r)
	if px < 1 {
		b.err(CodeSize, m.Span, "this is less than a pixel wide", "", "make it wider, or take it out")
		return
	}
	args := argsOf("width", px)
	if way != "" {
		args = append(args, argsOf("way", way)...)
	}
	if c != nil {
		code, ok := w.neutral(pic, *c)
		if !ok {
			return
		}
		args = append(args, argsOf("colour", code)...)
	}
	n, ok := b.node(s.Where(), w.stage, s.Word(), args, w.cur.node)
	f, two := &b.plan.Face, quo(rat(2*px), b.size.ppi)
	switch {
	case way == "" && !w.wrapped:
		f.W, f.H = add(f.W, two), add(f.H, two)
	case way == "picture": // the sides are the picture's own: less of it stays in front
		f.W, f.H = sub(f.W, two), sub(f.H, two)
	}
	w.wrapped = w.wrapped || way != ""
	if ok {
		w.edged = s.Where().Line
		w.cur.node = n
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
