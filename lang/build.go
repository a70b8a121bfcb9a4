package lang

import (
	"math/big"

	"github.com/alecthomas/participle/v2/lexer"
)

// builder turns what the grammar read into the tree; toks are the line's
// tokens, which carry the places.
type builder struct {
	toks []Token
	span Span
}

func given(t lexer.Token) bool { return t.Value != "" }

func (b *builder) tok(t lexer.Token) Token { return b.toks[t.Pos.Offset] }

func (b *builder) text(t lexer.Token) Text {
	k := b.tok(t)
	return Text{k.Span, k.Value}
}

// opt returns the text of an optional token, nil where it isn't given.
func (b *builder) opt(t lexer.Token) *Text {
	if !given(t) {
		return nil
	}
	x := b.text(t)
	return &x
}

// or returns the text of a token, or the default, whose span is zero.
func (b *builder) or(t lexer.Token, def string) Text {
	if !given(t) {
		return Text{Value: def}
	}
	return b.text(t)
}

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return new(big.Rat)
	}
	return r
}

func (b *builder) number(t lexer.Token) Number {
	k := b.tok(t)
	return Number{k.Span, rat(k.Value)}
}

func (b *builder) optNumber(t lexer.Token) *Number {
	if !given(t) {
		return nil
	}
	n := b.number(t)
	return &n
}

func join(a, z Span) Span { return Span{a.Line, a.Col, z.EndLine, z.EndCol} }

func (b *builder) measure(m gMeasure) Measure {
	k := b.tok(m.Number)
	out := Measure{Span: k.Span, Value: rat(k.Value)}
	if given(m.Unit) {
		u := b.tok(m.Unit)
		out.Unit, out.Span = u.Value, join(k.Span, u.Span)
	}
	return out
}

func (b *builder) optMeasure(m *gMeasure) *Measure {
	if m == nil {
		return nil
	}
	x := b.measure(*m)
	return &x
}

// orMeasure returns the measure, or the default in %.
func (b *builder) orMeasure(m *gMeasure, def int64) Measure {
	if m == nil {
		return Measure{Value: big.NewRat(def, 1), Unit: "%", Default: true}
	}
	return b.measure(*m)
}

// pair reads W x H; a first measure without unit takes the second's.
func (b *builder) pair(w, h gMeasure) (Measure, Measure) {
	x, y := b.measure(w), b.measure(h)
	if x.Unit == "" {
		x.Unit = y.Unit
	}
	return x, y
}

func (b *builder) point(p gPoint) Point {
	return Point{join(b.tok(p.Open).Span, b.tok(p.Close).Span), b.measure(p.X), b.measure(p.Y)}
}

func (b *builder) optPoint(p *gPoint) *Point {
	if p == nil {
		return nil
	}
	x := b.point(*p)
	return &x
}

func (b *builder) ratio(t lexer.Token) *Ratio {
	if !given(t) {
		return nil
	}
	k := b.tok(t)
	for i := 0; i < len(k.Value); i++ {
		if k.Value[i] == ':' {
			return &Ratio{k.Span, rat(k.Value[:i]), rat(k.Value[i+1:])}
		}
	}
	return &Ratio{k.Span, new(big.Rat), new(big.Rat)}
}

func (b *builder) element(g *gMask) *Element {
	e := &Element{Span: b.span}
	switch {
	case given(g.Invert):
		e.Shape = "invert"
		return e
	case g.Soften != nil:
		e.Shape, e.Radius = "soften", b.optMeasure(g.Soften)
		return e
	}
	e.Op = "add"
	if given(g.Op) {
		e.Op = g.Op.Value
	}
	var soft *gMeasure
	points := func(ps []gPoint) {
		for _, p := range ps {
			e.Points = append(e.Points, b.point(p))
		}
	}
	box := func(shape string, x *gBox) {
		e.Shape, soft = shape, x.Soft
		points([]gPoint{x.At})
		w, h := b.pair(x.Size.W, x.Size.H)
		e.Size = []Measure{w, h}
	}
	switch s := g.Shape; {
	case s.Stroke != nil:
		e.Shape, soft = "stroke", s.Stroke.Soft
		points(s.Stroke.Points)
		w := b.measure(s.Stroke.Width)
		e.Width = &w
	case s.Ellipse != nil:
		box("ellipse", s.Ellipse)
	case s.Rectangle != nil:
		box("rectangle", s.Rectangle)
	case s.Polygon != nil:
		e.Shape, soft = "polygon", s.Polygon.Soft
		points(s.Polygon.Points)
	case s.Gradient != nil:
		e.Shape = "gradient"
		points([]gPoint{s.Gradient.From, s.Gradient.To})
	case given(s.File):
		e.Shape, e.Path = "file", b.opt(s.File)
	case given(s.Mask):
		e.Shape, e.Mask = "mask", b.opt(s.Mask)
	}
	m := b.orMeasure(soft, 0)
	e.Soft = &m
	return e
}

func (b *builder) step(g *gStep) Step {
	sp := b.span
	switch {
	case given(g.Turn):
		return &Turn{sp, b.text(g.Turn)}
	case given(g.Mirror):
		return &Mirror{sp}
	case g.Crop != nil:
		c := g.Crop
		return &Crop{sp, b.ratio(c.To), b.optPoint(c.At), b.optPoint(c.From), b.optPoint(c.Till)}
	case g.Convert != nil:
		c := g.Convert
		return &Convert{sp, b.opt(c.Space), b.opt(c.Name), b.opt(c.Profile), b.or(c.Intent, "relative"), b.or(c.BlackPoint, "on")}
	case g.Spot != nil && g.Spot.Over != nil:
		return &SpotPixels{sp, b.measure(*g.Spot.Over), b.opt(g.Spot.Through)}
	case g.Spot != nil:
		s := g.Spot
		return &SpotAt{sp, b.point(*s.At), b.measure(*s.Radius), b.orMeasure(s.Soft, 30), b.optPoint(s.From)}
	case g.Enlarge != nil:
		e := g.Enlarge
		return &Enlarge{sp, b.text(e.Kernel), b.opt(e.Light), b.opt(e.As)}
	case given(g.Take):
		return &Take{sp, b.text(g.Take)}
	case given(g.Follow):
		return &Follow{sp, b.text(g.Follow)}
	case g.Blend != nil:
		x := g.Blend
		return &Blend{sp, b.text(x.Top), b.text(x.Over), b.opt(x.Through), b.orMeasure(x.At, 100), b.opt(x.As)}
	case g.Sharpen != nil:
		s := g.Sharpen
		return &Sharpen{sp, b.measure(s.Radius), b.measure(s.Amount), b.or(s.Method, "unsharp"),
			b.orMeasure(s.Quiet, 0), b.orMeasure(s.Halo, 10), b.opt(s.Through), b.opt(s.As)}
	case g.Tone != nil:
		return &Tone{Span: sp, For: b.opt(g.Tone.For), Through: b.opt(g.Tone.Through)}
	case g.Mix != nil:
		return &Mix{sp, b.measure(g.Mix.Red), b.measure(g.Mix.Green), b.measure(g.Mix.Blue)}
	case g.Tint != nil:
		return &Tint{sp, b.measure(g.Tint.Hue), b.measure(g.Tint.Chroma)}
	}
	return nil
}

// colour reads a neutral colour; nil is white.
func (b *builder) colour(g *gColour) Colour {
	switch {
	case g == nil:
		return Colour{Word: "white", Lightness: big.NewRat(100, 1)}
	case given(g.Grey):
		w, n := b.tok(g.Grey), b.number(g.Light)
		return Colour{join(w.Span, n.Span), "grey", n.Value}
	}
	w := b.tok(g.Word)
	l := big.NewRat(100, 1)
	if w.Value == "black" {
		l = new(big.Rat)
	}
	return Colour{w.Span, w.Value, l}
}

// edge reads border and wrap.
func (b *builder) edge(g *gPrint) Step {
	if g.Border != nil {
		return &Border{b.span, b.measure(g.Border.Width), b.colour(g.Border.Colour)}
	}
	w := &Wrap{Span: b.span, Width: b.measure(g.Wrap.Width)}
	if g.Wrap.Colour != nil {
		c := b.colour(g.Wrap.Colour)
		w.Way, w.Colour = Text{Value: "colour"}, &c
		return w
	}
	w.Way = b.text(g.Wrap.Way)
	return w
}

// toneLine puts one line of a tone block into its tone.
func (b *builder) toneLine(t *Tone, g *gTone) {
	param := ""
	switch {
	case g.Exposure != nil:
		param, t.Exposure = "exposure", b.optMeasure(g.Exposure)
	case g.Warmth != nil:
		param, t.Warmth = "warmth", b.optMeasure(g.Warmth)
	case g.Contrast != nil:
		param, t.Contrast = "contrast", b.optMeasure(g.Contrast)
	case g.Curve != nil:
		param = "curve"
		for _, p := range g.Curve {
			q := b.point(p)
			t.Curve = append(t.Curve, CurvePoint{q.Span, q.X.Value, q.Y.Value})
		}
	case g.Local != nil:
		param, t.Local, t.Radius = "local", b.optMeasure(&g.Local.Contrast), b.optMeasure(&g.Local.Radius)
	case g.Chroma != nil:
		param, t.Chroma = "chroma", b.optMeasure(g.Chroma)
	case g.Muted != nil:
		param, t.Muted = "muted", b.optMeasure(g.Muted)
	}
	t.Lines = append(t.Lines, ToneLine{b.span, param})
}

func (b *builder) edition(g *gEdition) *Edition {
	return &Edition{b.span, b.number(g.Count), b.optNumber(g.Proofs)}
}

func (b *builder) size(g *gSize) *Size {
	s := &Size{Span: b.span, At: b.measure(g.At)}
	switch {
	case g.Within != nil:
		w, h := b.pair(g.Within.W, g.Within.H)
		s.Within, s.W, s.H = true, &w, &h
	case g.Second != nil:
		w, h := b.pair(*g.First, *g.Second)
		s.W, s.H = &w, &h
	case g.Way.Value == "wide":
		s.Wide, s.W = true, b.optMeasure(g.First)
	default:
		s.High, s.H = true, b.optMeasure(g.First)
	}
	return s
}

func (b *builder) save(g *gSave) *Save {
	s := &Save{Span: b.span}
	if given(g.JPEG) {
		s.Format, s.Path = "jpeg", b.text(g.Path)
		c := b.or(g.Chroma, "full")
		s.Quality, s.Chroma = b.optNumber(g.Quality), &c
		if s.Quality == nil {
			s.Quality = &Number{Value: big.NewRat(100, 1)}
		}
		return s
	}
	s.Format, s.Path, s.Bits = "tiff", b.text(g.TPath), b.optNumber(g.Bits)
	if s.Bits == nil {
		s.Bits = &Number{Value: big.NewRat(16, 1)}
	}
	return s
}
