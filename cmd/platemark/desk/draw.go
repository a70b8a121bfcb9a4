package desk

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"platemark/interp/plan"
	"platemark/lang"
)

// stroke is what a hand drew on the picture: places as shares of the frame's
// width and height, lengths as shares of its longer side.
type stroke struct {
	Kind   string       `json:"kind"` // spot, from, stroke, ellipse, polygon, gradient, crop, section
	Points [][2]float64 `json:"points"`
	Radius float64      `json:"radius"` // spot
	Width  float64      `json:"width"`  // stroke
	Size   [2]float64   `json:"size"`   // ellipse
	Soft   float64      `json:"soft"`   // of the half-width, 0 to 1
}

// thin is how far a stroke may be from the hand's way, as a share of the frame's
// longer side.
const thin = 0.0005

// frame writes places and lengths as a recipe has them.
type frame struct{ w, h float64 }

func frameOf(p *plan.Print) frame { return frame{float64(p.FrameW), float64(p.FrameH)} }

func (f frame) long() float64 { return math.Max(f.w, f.h) }

// percent writes a share with the decimals that tell half a pixel of size.
func percent(v, size float64) string {
	d := max(0, int(math.Ceil(math.Log10(size/50))))
	s := strconv.FormatFloat(100*v, 'f', d, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	return s + "%"
}

func (f frame) point(p [2]float64) string {
	return fmt.Sprintf("(%s, %s)", percent(p[0], f.w), percent(p[1], f.h))
}

func (f frame) points(list [][2]float64) string {
	var out []string
	for _, p := range list {
		out = append(out, f.point(p))
	}
	return strings.Join(out, ", ")
}

func (f frame) length(v float64) string { return percent(math.Max(v, 0.5/f.long()), f.long()) }

// thinned leaves out the points of a way that are within most of the way without
// them (D. H. Douglas and T. K. Peucker, The Canadian Cartographer 10(2), 1973).
func (f frame) thinned(way [][2]float64, most float64) [][2]float64 {
	if len(way) < 3 {
		return way
	}
	a, z := way[0], way[len(way)-1]
	far, at := 0.0, 0
	for i, p := range way[1 : len(way)-1] {
		if d := f.off(p, a, z); d > far {
			far, at = d, i+1
		}
	}
	if far <= most*f.long() {
		return [][2]float64{a, z}
	}
	return append(f.thinned(way[:at+1], most), f.thinned(way[at:], most)[1:]...)
}

// off is the distance of p from the line a to z, in frame pixels.
func (f frame) off(p, a, z [2]float64) float64 {
	px, py, zx, zy := (p[0]-a[0])*f.w, (p[1]-a[1])*f.h, (z[0]-a[0])*f.w, (z[1]-a[1])*f.h
	t := 0.0
	if n := zx*zx + zy*zy; n > 0 {
		t = math.Min(1, math.Max(0, (px*zx+py*zy)/n))
	}
	return math.Hypot(px-t*zx, py-t*zy)
}

// statement is the line of a recipe that says what was drawn.
func (f frame) statement(s stroke) (string, error) {
	need := map[string]int{"spot": 1, "stroke": 1, "ellipse": 1, "polygon": 3, "gradient": 2, "crop": 2}[s.Kind]
	if need == 0 || len(s.Points) < need {
		return "", errAsked
	}
	for _, p := range s.Points {
		if !(math.Abs(p[0]) < 10 && math.Abs(p[1]) < 10) {
			return "", errAsked
		}
	}
	p := s.Points
	switch s.Kind {
	case "spot":
		return fmt.Sprintf("spot at %s radius %s", f.point(p[0]), f.length(s.Radius)), nil
	case "stroke":
		return fmt.Sprintf("stroke along %s width %s soft %s", f.points(f.thinned(p, thin)), f.length(s.Width), percent(s.Soft, 50)), nil
	case "ellipse":
		return fmt.Sprintf("ellipse at %s size %s x %s soft %s", f.point(p[0]), f.length(s.Size[0]), f.length(s.Size[1]), percent(s.Soft, 50)), nil
	case "polygon":
		return fmt.Sprintf("polygon %s soft %s", f.points(p), percent(s.Soft, 50)), nil
	case "gradient":
		return fmt.Sprintf("gradient from %s to %s", f.point(p[0]), f.point(p[1])), nil
	}
	lo := [2]float64{math.Min(p[0][0], p[1][0]), math.Min(p[0][1], p[1][1])}
	hi := [2]float64{math.Max(p[0][0], p[1][0]), math.Max(p[0][1], p[1][1])}
	for i := range 2 {
		lo[i], hi[i] = math.Max(0, lo[i]), math.Min(1, hi[i])
	}
	return fmt.Sprintf("crop %s to %s", f.point(lo), f.point(hi)), nil
}

// drawing is what drawing asks of the text of a version, with the line of the
// recipe that the page marks.
type drawing struct {
	Version int
	Print   string
	Line    int
	Shape   stroke
}

var errNothing = errors.New("the recipe can't be drawn on until its errors are mended")

// drawn is a reading that can be drawn on, and the plan of its print.
func (s *Server) drawn(r *recipe, version int, print string) (*reading, *plan.Print, error) {
	rd, err := s.read(context.Background(), r)
	if err != nil {
		return nil, nil, err
	}
	if rd.version != version {
		return nil, nil, errStale
	}
	for _, p := range rd.plans {
		if p.Name == print {
			return rd, p, nil
		}
	}
	return nil, nil, errNothing
}

// draw puts what was drawn into the recipe, as one line; it returns the line.
func (s *Server) draw(r *recipe, q *drawing) (int, error) {
	rd, p, err := s.drawn(r, q.Version, q.Print)
	if err != nil {
		return 0, err
	}
	f := frameOf(p)
	switch q.Shape.Kind {
	case "from":
		return s.copyFrom(r, rd, f, q)
	case "section":
		e, text, err := s.section(rd, p, q)
		if err != nil {
			return 0, err
		}
		return s.rewrite(r, rd, e, text)
	}
	text, err := f.statement(q.Shape)
	if err != nil {
		return 0, err
	}
	src, rec, pr := rd.source, rd.rec, rd.rec.Print(q.Print)
	var e lang.Edit
	switch q.Shape.Kind {
	case "spot":
		e = lang.Put(src, lang.BlockName{Kind: "prepare"}, behindSpots(rec, q.Line), text)
	case "crop":
		for _, st := range pr.Steps {
			if c, ok := st.(*lang.Crop); ok {
				return s.rewrite(r, rd, lang.Replace(src, c.Span, text), text)
			}
		}
		e = lang.Put(src, lang.BlockName{Kind: "print", Name: pr.Name.Value}, pr.Size.EndLine, text)
	default:
		name, after := maskAt(rec, p, q.Line)
		if name == "" {
			name = unused(src, "drawn")
		}
		e = lang.Put(src, lang.BlockName{Kind: "mask", Name: name}, after, text)
	}
	return s.rewrite(r, rd, e, text)
}

// rewrite makes an edit of a reading's text and returns the line on which text
// stands then.
func (s *Server) rewrite(r *recipe, rd *reading, e lang.Edit, text string) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.version != rd.version {
		return 0, errStale
	}
	out := lang.Apply(rd.source, e)
	r.push(out, false)
	head := string(out[:e.From+max(0, strings.Index(e.Text, text))])
	return 1 + strings.Count(head, "\n"), nil
}

// behindSpots is the line of prepare behind which a new spot goes: that of the
// spot on line, else of the last spot, else of the last turn of the frame, else 0.
func behindSpots(rec *lang.Recipe, line int) int {
	after := 0
	if rec.Prepare == nil {
		return 0
	}
	spots := false
	for _, st := range rec.Prepare.Steps {
		at := st.Where()
		switch st.(type) {
		case *lang.SpotAt:
			after, spots = at.EndLine, true
			if at.Line == line {
				return after
			}
		case *lang.Turn, *lang.Mirror:
			after = at.EndLine
		case *lang.SpotPixels, *lang.Crop:
			if !spots {
				after = at.EndLine
			}
		}
	}
	return after
}

// maskAt is the mask that a shape drawn with the ring on line belongs to: the one
// that the line is of, or that its step works through; "" where there is none. The
// shape goes behind line after.
func maskAt(rec *lang.Recipe, p *plan.Print, line int) (name string, after int) {
	for _, m := range rec.Masks {
		for _, e := range m.Elements {
			if e.Line <= line && line <= e.EndLine {
				return m.Name.Value, e.EndLine
			}
		}
	}
	for _, u := range p.Uses {
		for _, m := range rec.Masks {
			if u.At.Line == line && m.Name.Value == u.At.Value {
				return m.Name.Value, m.Elements[len(m.Elements)-1].EndLine
			}
		}
	}
	return "", 0
}

// copyFrom says where the spot on the ring's line takes its pixels from.
func (s *Server) copyFrom(r *recipe, rd *reading, f frame, q *drawing) (int, error) {
	for _, st := range stepsOf(rd.rec, rd.rec.Print(q.Print)) {
		sp, ok := st.(*lang.SpotAt)
		if !ok || sp.Line != q.Line || len(q.Shape.Points) != 1 {
			continue
		}
		if sp.From != nil {
			_, err := s.rewrite(r, rd, lang.Replace(rd.source, sp.From.Span, f.point(q.Shape.Points[0])), "")
			return sp.Line, err
		}
		end := lang.Span{Line: sp.EndLine, Col: sp.EndCol, EndLine: sp.EndLine, EndCol: sp.EndCol}
		_, err := s.rewrite(r, rd, lang.Replace(rd.source, end, " from "+f.point(q.Shape.Points[0])), "")
		return sp.Line, err
	}
	return 0, errors.New("the ring stands at no spot: choose the spot's line, then where it copies from")
}

// stepsOf are the steps that a print has, with those of blocks that are followed.
func stepsOf(rec *lang.Recipe, pr *lang.Print) (out []lang.Step) {
	if rec.Prepare != nil {
		out = append(out, rec.Prepare.Steps...)
	}
	for _, b := range rec.Steps {
		out = append(out, b.Steps...)
	}
	return append(out, pr.Steps...)
}

// marks is what is drawn over the picture of the line that the ring stands at.
type marks struct {
	Kind    string       `json:"kind"`
	Line    int          `json:"line"`
	Points  [][2]float64 `json:"points"`  // shares of the frame
	Lengths []float64    `json:"lengths"` // shares of its longer side: radius, width, or width and height
	at      []lang.Point
	sized   []lang.Measure
}

// marksAt are those of a line, nil where it has no place on the frame. Only what
// is written in % can be moved by hand, and pieces of sheets.
func (rd *reading) marksAt(pr *lang.Print, line int) *marks {
	rec, m := rd.rec, (*marks)(nil)
	long := 0.0 // in, of the frame at the size of a sheet's piece
	for _, k := range rec.Masks {
		for _, e := range k.Elements {
			if e.Line == line && len(e.Points) > 0 {
				m = &marks{Kind: e.Shape, at: e.Points, sized: e.Size}
				if e.Width != nil {
					m.sized = []lang.Measure{*e.Width}
				}
			}
		}
	}
	for _, x := range rec.Prints {
		if x.Sheet == nil {
			continue
		}
		for _, k := range x.Sheet.Pieces {
			if k.Line == line && k.At != nil {
				m = &marks{Kind: "section", at: []lang.Point{*k.At}, sized: k.Size}
				long = rd.frameLong(k.Of.Value)
			}
		}
	}
	for _, st := range stepsOf(rec, pr) {
		if st.Where().Line != line {
			continue
		}
		switch st := st.(type) {
		case *lang.SpotAt:
			m = &marks{Kind: "spot", at: []lang.Point{st.At}, sized: []lang.Measure{st.Radius}}
			if st.From != nil {
				m.at = append(m.at, *st.From)
			}
		case *lang.Crop:
			if st.From != nil {
				m = &marks{Kind: "crop", at: []lang.Point{*st.From, *st.Till}}
			}
		}
	}
	if m == nil {
		return nil
	}
	m.Line = line
	for _, p := range m.at {
		if p.X.Unit != "%" || p.Y.Unit != "%" {
			return nil
		}
		m.Points = append(m.Points, [2]float64{ofPercent(p.X), ofPercent(p.Y)})
	}
	for _, l := range m.sized {
		in, ok := l.Inches()
		switch {
		case l.Unit == "%":
			m.Lengths = append(m.Lengths, ofPercent(l))
		case ok && long > 0:
			m.Lengths = append(m.Lengths, flt(in)/long)
		default:
			return nil
		}
	}
	return m
}

// frameLong is how long the frame's longer side is where a print shows it, in; 0
// where that print can't be planned.
func (rd *reading) frameLong(print string) float64 {
	for _, p := range rd.plans {
		if p.Name == print {
			return frameOf(p).long() / flt(p.Covers.W()) * float64(p.Picture.W) / flt(p.Picture.PPI)
		}
	}
	return 0
}

func ofPercent(m lang.Measure) float64 { return flt(m.Value) / 100 }

// shift moves a point of a line, or scales its lengths.
type shift struct {
	Version int
	Print   string
	Line    int
	Point   int        // from 0
	To      [2]float64 // where the point goes
	By      float64    // not 0: what the lengths are multiplied by
}

// shift changes the numbers of one line, and nothing else of it.
func (s *Server) shift(r *recipe, q *shift) error {
	rd, p, err := s.drawn(r, q.Version, q.Print)
	if err != nil {
		return err
	}
	f, m := frameOf(p), rd.marksAt(rd.rec.Print(q.Print), q.Line)
	if m == nil || q.Point < 0 || q.Point >= len(m.at) || !(q.By >= 0 && q.By < 10) {
		return errors.New("what stands on this line can't be moved by hand: write its numbers")
	}
	var edits []lang.Edit
	if q.By == 0 {
		edits = append(edits, lang.Replace(rd.source, m.at[q.Point].Span, f.point(q.To)))
	} else {
		for _, l := range m.sized {
			text, was := f.length(ofPercent(l)*q.By), lang.Replace(rd.source, l.Span, "")
			if l.Unit != "%" {
				text = strconv.FormatFloat(math.Max(0.01, math.Round(100*q.By*flt(l.Value))/100), 'f', -1, 64)
			}
			// 2 x 3 in has one unit for both.
			if l.Unit != "%" && strings.HasSuffix(string(rd.source[was.From:was.To]), l.Unit) {
				text += " " + l.Unit
			}
			edits = append(edits, lang.Replace(rd.source, l.Span, text))
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.version != rd.version {
		return errStale
	}
	r.push(lang.Apply(rd.source, edits...), false)
	return nil
}

// shape is the print's width to its height where its size says both, else 0.
func shape(pr *lang.Print) float64 {
	if pr.Size == nil || pr.Size.W == nil || pr.Size.H == nil || pr.Size.Within {
		return 0
	}
	side := func(m *lang.Measure) float64 {
		if in, ok := m.Inches(); ok {
			return flt(in)
		}
		return flt(m.Value)
	}
	return side(pr.Size.W) / side(pr.Size.H)
}
