package retouch

import (
	"fmt"
	"math"

	"platemark/interp/inspect"
	"platemark/lang"
)

// disc is a spot in px of the frame.
type disc struct {
	x, y, r float64
	hard    bool // filled to its edge
}

// rim is what a fringe line says: its radius in px of the frame, and its hues in
// whole degrees, from one upwards to the other.
type rim struct {
	radius, from, to int
	all              bool // every hue
}

// mend is what mends a find: spots, or a fringe line.
type mend struct {
	discs []disc
	rim   *rim
}

// spotMost is a spot's largest radius as a share of the frame's longer side;
// above, it is written in px (lang: `spot`).
const spotMost = 0.01

// fringeEdge is how much wider than a fringe its line's radius is, px: the edge that
// it lies at. Of planted fringes 4 to 6 px wide the least is left at 4 to 5 more (our
// own trials).
const fringeEdge = 4

// hueEdge is how far around the hues of a fringe its line reaches, degrees: where the
// fringe is weak they differ from where it was measured (our own trials).
const hueEdge = 15

// mends says what mends a find of the picture that is looked over.
func (l *Look) mends(f inspect.Find) (m mend) {
	scale := math.Sqrt(l.frame.sx * l.frame.sy)
	if f.Kind == inspect.Fringe {
		radius := min(int(math.Ceil(f.Width*scale))+fringeEdge, 60)
		from, to := int(math.Floor(f.HueFrom))-hueEdge, int(math.Ceil(f.HueTo))+hueEdge
		return mend{rim: &rim{radius: radius, from: (from + 360) % 360, to: to % 360, all: math.Mod(f.HueTo-f.HueFrom+360, 360) >= 360-2*hueEdge}}
	}
	slack := 0.0
	if len(f.Spots) > 1 { // neighbours touch, and mustn't overlap as they are written
		slack = 0.02
	}
	for _, s := range f.Spots {
		x, y := l.frame.at(s.Point)
		x, y = min(max(x, 0), l.frame.w), min(max(y, 0), l.frame.h)
		m.discs = append(m.discs, disc{x, y, float64(s.Radius*scale) - slack, f.Kind == inspect.Hair})
	}
	return m
}

// lines are the recipe's lines of a mend.
func (m mend) lines(f frame) (out []string) {
	for _, d := range m.discs {
		line := "spot " + d.where(f)
		if d.hard {
			line += " soft 0%"
		}
		out = append(out, line)
	}
	if m.rim != nil {
		out = append(out, m.rim.line())
	}
	return out
}

// where is the place and the radius of a spot line, finely where it touches others.
func (d disc) where(f frame) string {
	to, decimals := 0.1, 1
	if d.hard {
		to, decimals = 0.01, 2
	}
	radius := number(d.r, decimals) + " px"
	if d.r <= spotMost*f.long() {
		radius = f.percent(d.r, f.long(), to)
	}
	return fmt.Sprintf("at (%s, %s) radius %s", f.percent(d.x, f.w, to), f.percent(d.y, f.h, to), radius)
}

func (r rim) line() string {
	if r.all {
		return fmt.Sprintf("fringe radius %d px", r.radius)
	}
	return fmt.Sprintf("fringe radius %d px hue %d deg to %d deg", r.radius, r.from, r.to)
}

// width is how many degrees of hue a rim has.
func (r rim) width() int { return (r.to - r.from + 360) % 360 }

// behind is how many degrees a rim's hues begin behind those of another.
func (r rim) behind(o rim) int { return (r.from - o.from + 360) % 360 }

// holds says whether a fringe line for r mends o too.
func (r rim) holds(o rim) bool {
	return r.radius >= o.radius && (r.all || !o.all && o.behind(r)+o.width() <= r.width())
}

// joined is a rim that mends both; ok is false where their hues are apart.
func (r rim) joined(o rim) (both rim, ok bool) {
	switch {
	case r.all || o.all:
		return rim{radius: max(r.radius, o.radius), all: true}, true
	case o.behind(r) <= r.width()+hueGap:
		w := max(r.width(), o.behind(r)+o.width())
		return rim{radius: max(r.radius, o.radius), from: r.from, to: (r.from + w) % 360}, w < 360
	case r.behind(o) <= o.width()+hueGap:
		return o.joined(r)
	}
	return r, false
}

// hueGap is the distance of hues that one fringe line may bridge: it fades over
// 15 degrees anyway.
const hueGap = 15

// apart is the distance of two discs' middles.
func (d disc) apart(o disc) float64 { return math.Hypot(d.x-o.x, d.y-o.y) }

// covers says whether a spot mends another: all of it but what fades.
func (d disc) covers(o disc) bool { return d.apart(o)+0.7*o.r <= d.r+0.5 }

// meets says whether two spots overlap; within so many px they may by the rounding
// of their lines.
func (d disc) meets(o disc, within float64) bool { return d.apart(o) < d.r+o.r+within }

// around is the smallest disc that holds both.
func (d disc) around(o disc) disc {
	a := d.apart(o)
	switch {
	case a+o.r <= d.r:
		return disc{d.x, d.y, d.r, d.hard || o.hard}
	case a+d.r <= o.r:
		return disc{o.x, o.y, o.r, d.hard || o.hard}
	}
	r := (a + d.r + o.r) / 2
	t := (r - d.r) / a
	return disc{d.x + float64(t*(o.x-d.x)), d.y + float64(t*(o.y-d.y)), r, d.hard || o.hard}
}

// there is what the prepare block mends already.
type there struct {
	spots []thereSpot
	rims  []thereRim
}

type thereSpot struct {
	disc
	line int  // 0 of a new one
	from bool // it says where it is filled from
	of   int  // the number of the find that it is new for
}

type thereRim struct {
	rim
	line int
}

// there reads the prepare block's own spots and fringe lines, those through a
// mask aside.
func (l *Look) there(rec *lang.Recipe) (t there) {
	if rec.Prepare == nil {
		return t
	}
	cropped := false
	px := func(m lang.Measure, side float64) (float64, bool) {
		v := flt(m.Value)
		if m.Unit == "%" {
			return v / 100 * side, true
		}
		return v, !cropped && m.Unit == "px"
	}
	for _, s := range rec.Prepare.Steps {
		switch s := s.(type) {
		case *lang.Crop:
			cropped = true
		case *lang.SpotAt:
			x, fits := px(s.At.X, l.frame.w)
			y, also := px(s.At.Y, l.frame.h)
			r, too := px(s.Radius, l.frame.long())
			if fits && also && too {
				t.spots = append(t.spots, thereSpot{disc{x, y, r, s.Soft.Value.Sign() == 0}, s.Line, s.From != nil, 0})
			}
		case *lang.Fringe:
			if s.Through != nil {
				continue
			}
			r := rim{radius: int(flt(s.Radius.Value)), all: s.HueFrom == nil}
			if !r.all {
				r.from, r.to = int(math.Ceil(flt(s.HueFrom.Value)))%360, int(flt(s.HueTo.Value))%360
			}
			t.rims = append(t.rims, thereRim{r, s.Line})
		}
	}
	return t
}

// has is the line of the recipe that mends all of it, 0 where none does.
func (t there) has(m mend) (line int) {
	if m.rim != nil {
		for _, r := range t.rims {
			if r.holds(*m.rim) {
				return r.line
			}
		}
		return 0
	}
	for _, d := range m.discs {
		at := t.over(d)
		if at == 0 {
			return 0
		}
		if line == 0 {
			line = at
		}
	}
	return line
}

// over is the line of a spot that mends a disc, 0 where none does.
func (t there) over(d disc) int {
	for _, s := range t.spots {
		if s.covers(d) {
			return s.line
		}
	}
	return 0
}

// isSpot says whether a line of prepare is `spot` followed by a word.
func isSpot(l *lang.Line, then string) bool {
	return l.Tokens[0].Value == "spot" && len(l.Tokens) > 1 && l.Tokens[1].Value == then
}
