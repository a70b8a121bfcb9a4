package desk

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"platemark/cmd/platemark/lsp"
	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/plan"
	"platemark/lang"
)

// reading is what a text of a recipe means, with all its prints planned.
type reading struct {
	version int
	text    lsp.Text
	source  []byte
	rec     *lang.Recipe // nil where the text can't be read at all
	diags   []lang.Diagnostic
	plans   []*plan.Print // whole prints; none where an error stands in the way
	shown   map[place]*plan.Print
}

// place is a line of a recipe, as the steps of one print.
type place struct {
	print string
	line  int
}

// read is the meaning of the present text, worked out once.
func (s *Server) read(ctx context.Context, r *recipe) (*reading, error) {
	r.mu.Lock()
	text, version, now := r.text(), r.version, r.reading
	r.mu.Unlock()
	if now != nil {
		return now, nil
	}
	rd := &reading{version: version, text: lsp.NewText(r.path, text), source: text, shown: map[place]*plan.Print{}}
	j, err := s.reader.Read(ctx, r.path, text, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		return nil, err
	}
	rd.rec, rd.diags = j.Recipe, j.Diags
	if !j.Failed() {
		rd.plans = j.Plans
	}
	files := rd.text.Files(j.Recipe)
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.version == version {
		if r.reading == nil {
			r.reading = rd
			s.watch(r, func() bool { return !maps.Equal(files, rd.text.Files(j.Recipe)) })
		}
		return r.reading, nil
	}
	return rd, nil
}

// stop is a line at which there is a picture to look at, or a line of a mask.
type stop struct {
	Line int  `json:"line"`
	End  int  `json:"end"`
	Mask bool `json:"mask,omitempty"`
	// spot lines that stand beside each other make one picture
	spot, save bool
}

// stops are the lines of a print in the order in which they work: prepare's,
// then its own with each followed block's in place, and save, for the whole
// print. The lines of its masks stand before them.
func stops(rec *lang.Recipe, print *lang.Print) (out []stop) {
	for _, m := range rec.Masks {
		for _, e := range m.Elements {
			out = append(out, stop{Line: e.Line, End: e.EndLine, Mask: true})
		}
	}
	var add func(list []lang.Step)
	add = func(list []lang.Step) {
		for _, st := range list {
			if f, ok := st.(*lang.Follow); ok {
				for _, b := range rec.Steps {
					if b.Name.Value == f.Name.Value {
						add(b.Steps)
					}
				}
			}
			_, spot := st.(*lang.SpotAt)
			at := st.Where()
			out = append(out, stop{Line: at.Line, End: at.EndLine, spot: spot})
		}
	}
	if m := rec.Master; m != nil {
		out = append(out, stop{Line: m.Line, End: m.EndLine})
	}
	if rec.Prepare != nil {
		add(rec.Prepare.Steps)
	}
	add(print.Steps)
	if print.Save != nil {
		out = append(out, stop{Line: print.Save.Line, End: print.Save.EndLine, save: true})
	}
	return out
}

// planOf is the plan of the picture that a stop makes.
func (s *Server) planOf(ctx context.Context, r *recipe, rd *reading, print string, at stop) (*plan.Print, error) {
	i := slices.IndexFunc(rd.plans, func(p *plan.Print) bool { return p.Name == print })
	if i < 0 {
		return nil, fmt.Errorf("print %s can't be planned as it stands", print)
	}
	if at.save || at.Mask {
		return rd.plans[i], nil
	}
	k := place{print, at.Line}
	s.plansMu.Lock()
	p := rd.shown[k]
	s.plansMu.Unlock()
	if p != nil {
		return p, nil
	}
	j, err := s.reader.Read(ctx, r.path, rd.source, interp.LoadOptions{Prints: []string{print}, Upto: at.Line, NoOutputs: true})
	if err != nil {
		return nil, err
	}
	if len(j.Plans) != 1 {
		return nil, fmt.Errorf("line %d makes no picture in print %s", at.Line, print)
	}
	s.plansMu.Lock()
	defer s.plansMu.Unlock()
	rd.shown[k] = j.Plans[0]
	return j.Plans[0], nil
}

// problem is a diagnostic with the mend that is offered in its line.
type problem struct {
	Severity string    `json:"severity"`
	Code     string    `json:"code"`
	Line     int       `json:"line"`
	At       lsp.Range `json:"at"`
	What     string    `json:"what"`
	Detail   string    `json:"detail,omitempty"`
	Hints    []string  `json:"hints,omitempty"`
	Mend     *mend     `json:"mend,omitempty"`
}

type mend struct {
	At    lsp.Range `json:"at"`
	Text  string    `json:"text"`
	Words string    `json:"words"`
}

func (rd *reading) problems() []problem {
	out := []problem{}
	for _, d := range rd.diags {
		p := problem{Severity: d.Severity.String(), Code: d.Code, Line: d.Span.Line, At: rd.text.Range(d.Span), What: d.Summary, Detail: d.Detail, Hints: d.Hints}
		if d.Fix != nil {
			p.Mend = &mend{rd.text.Range(d.Fix.Span), d.Fix.Text, d.Hints[0]}
		}
		out = append(out, p)
	}
	return out
}

// looked is a picture to look at: its size, where it lies on the frame, and what
// it is called.
type looked struct {
	Key    string     `json:"key"`
	W      int        `json:"w"`
	H      int        `json:"h"`
	Covers [4]float64 `json:"covers"` // in frame pixels
	Frame  [2]int     `json:"frame"`
	Edge   int        `json:"edge"` // border and wrap, in pixels of the picture
	PPI    float64    `json:"ppi"`  // of the print; its width of pixels:
	Across float64    `json:"across"`
	Line   int        `json:"line"`
	Words  string     `json:"words"`
	Mask   *maskOf    `json:"mask,omitempty"`
	// What isn't a line of the open recipe has a name; what is seen on a paper has
	// its name and the codes of its white on the screen.
	Name  string `json:"name,omitempty"`
	Paper string `json:"paper,omitempty"`
	White string `json:"white,omitempty"`
	mark  string
}

type maskOf struct {
	Key  string `json:"key"`
	Name string `json:"name"`
}

// look describes a plan's picture and makes it known to tiles.
func (s *Server) look(rd *reading, p *plan.Print, at stop) *looked {
	n := p.Nodes[p.Out]
	l := p.Lies(p.Out)
	v := &looked{Key: n.Key.String(), W: n.Pic.W, H: n.Pic.H, Frame: [2]int{l.FrameW, l.FrameH}, Edge: l.Edge, Line: at.Line,
		Words: plan.LinesOf(string(rd.source)).Words(at.Line), Across: float64(p.Picture.W)}
	v.Covers = [4]float64{flt(l.Covers.X0), flt(l.Covers.Y0), flt(l.Covers.X1), flt(l.Covers.Y1)}
	v.PPI = flt(p.Face.PPI)
	named := func(line int) string {
		for _, m := range rd.rec.Masks {
			if m.Line <= line && line <= m.EndLine || m.Line == line {
				return m.Name.Value
			}
		}
		return ""
	}
	if at.Mask {
		name := named(at.Line)
		for _, m := range p.Nodes {
			if m.Op == "mask" && named(m.Line) == name {
				v.Mask = &maskOf{m.Key.String(), name}
			}
		}
	}
	for _, u := range p.Uses {
		if u.Step == n.Key && !at.Mask {
			v.Mask = &maskOf{u.Mask.String(), u.At.Value}
		}
	}
	s.remember(v.Key, p)
	return v
}

// state is what the page shows of a recipe.
type state struct {
	Files    []string  `json:"files"`
	File     int       `json:"file"`
	Title    string    `json:"title"`
	Version  int       `json:"version"`
	Text     string    `json:"text"`
	Saved    bool      `json:"saved"`
	Restored bool      `json:"restored"`
	Gone     bool      `json:"gone"`
	Clash    *clash    `json:"clash,omitempty"`
	Undo     bool      `json:"undo"`
	Redo     bool      `json:"redo"`
	Problems []problem `json:"problems"`
	Prints   []string  `json:"prints"`
	Print    string    `json:"print"`
	Stops    []stop    `json:"stops"`
	Line     int       `json:"line"` // of the stop shown
	Picture  *looked   `json:"picture,omitempty"`
	Before   *looked   `json:"before,omitempty"`
	Beside   int       `json:"beside"` // the line that was asked for to be compared with
	Marks    *marks    `json:"marks,omitempty"`
	Shape    float64   `json:"shape"`          // of the print, width to height; 0 where its size doesn't say
	Why      string    `json:"why,omitempty"`  // there is no picture
	Note     string    `json:"note,omitempty"` // on what it is compared with
}

type clash struct {
	Digest string `json:"digest"`
	Text   string `json:"text"`
}

// state is the recipe as it stands, with the picture that print makes at or
// before line; without a print that it has, the first; with line 0 its end. Beside
// it lies the picture of line beside, with 0 that of the line that works before.
// Marks are those of line mark, with 0 of the line shown.
func (s *Server) state(ctx context.Context, file int, print string, line, beside, mark int) (*state, error) {
	r := s.recipes[file]
	rd, err := s.read(ctx, r)
	if err != nil {
		return nil, err
	}
	st := &state{File: file, Version: rd.version, Text: string(rd.source), Problems: rd.problems(), Prints: []string{}, Stops: []stop{}}
	for _, r := range s.recipes {
		st.Files = append(st.Files, filepath.Base(r.path))
	}
	st.Title = strings.TrimSuffix(st.Files[file], ".recipe")
	r.mu.Lock()
	st.Saved, st.Restored, st.Gone, st.Undo, st.Redo = r.saved(), r.restored, r.gone, r.at > 0, r.at < len(r.past)-1
	if r.clash {
		st.Clash = &clash{audit.SumOf(r.other), string(r.other)}
	}
	r.mu.Unlock()
	if rd.rec == nil {
		st.Why = "the recipe can't be read as it stands"
		return st, nil
	}
	if rd.rec.Title != nil {
		st.Title = rd.rec.Title.Value
	}
	for _, p := range rd.rec.Prints {
		st.Prints = append(st.Prints, p.Name.Value)
	}
	pr := rd.rec.Print(print)
	if pr == nil && len(rd.rec.Prints) > 0 {
		pr = rd.rec.Prints[0]
	}
	if pr == nil {
		st.Why = "the recipe has no print yet"
		return st, nil
	}
	st.Print, st.Stops, st.Shape = pr.Name.Value, stops(rd.rec, pr), shape(pr)
	i := nearest(st.Stops, line)
	if i < 0 || len(rd.plans) == 0 {
		st.Why = "the picture waits until the errors are mended"
		return st, nil
	}
	st.Line = st.Stops[i].Line
	st.Marks = rd.marksAt(pr, cmp.Or(mark, st.Line))
	p, err := s.planOf(ctx, r, rd, st.Print, st.Stops[i])
	if err != nil {
		st.Why = err.Error()
		return st, ctx.Err()
	}
	st.Picture = s.look(rd, p, st.Stops[i])
	b := before(st.Stops, i)
	if beside > 0 {
		b = nearest(st.Stops, beside)
		st.Beside = st.Stops[b].Line
	}
	if b >= 0 {
		if q, err := s.planOf(ctx, r, rd, st.Print, st.Stops[b]); err == nil && q.Nodes[q.Out].Key != p.Nodes[p.Out].Key {
			st.Before = s.look(rd, q, st.Stops[b])
		}
	}
	return st, ctx.Err()
}

// nearest is the stop that a line is of, or else the last one above it; with
// line 0 the last of all.
func nearest(list []stop, line int) int {
	at := len(list) - 1
	if line == 0 {
		return at
	}
	best := -1
	for i, s := range list {
		if s.Line <= line && line <= s.End {
			return i
		}
		if s.Line <= line && (best < 0 || s.Line >= list[best].Line) {
			best = i
		}
	}
	if best < 0 && at >= 0 {
		best = at
	}
	return best
}

// before is the stop whose picture stop i worked on, -1 where there is none.
func before(list []stop, i int) int {
	if list[i].Mask {
		return -1
	}
	b := i - 1
	for b >= 0 && list[i].spot && list[b].spot {
		b--
	}
	if b < 0 || list[b].Mask {
		return -1
	}
	return b
}
