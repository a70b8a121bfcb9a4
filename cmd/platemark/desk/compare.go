package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"platemark/cmd/platemark/lsp"
	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/interp/proof"
	"platemark/interp/rounds"
	"platemark/lang"
)

// side is a picture to be laid beside another: a print of a text that stands at
// path, whole or up to a line.
type side struct {
	path  string
	text  []byte
	print string
	line  int    // 0: whole
	on    string // made on this paper instead of its own, "" as the text says
	seen  string // shown as this paper shows it, "" as it is
	name  string // in words, "" for a line of the recipe that is open
	note  string // why it isn't shown up to the line that was asked for
	old   int    // the kept round that it is of, 0 for none; what that pins counts no more
	mark  string // of the print as that round kept it
}

// compared puts beside the picture of a state what with names, instead of the
// line before: "round 2", "paper rag", "print large of other.recipe", or "screen",
// the picture itself as no paper shows it. With seen both are shown as that paper
// shows them, but for a side that is made on another. Why something can't be
// shown stands in the note.
func (s *Server) compared(ctx context.Context, st *state, file int, with, seen string) error {
	if st.Picture == nil || with == "" && seen == "" {
		return nil
	}
	r := s.recipes[file]
	rd, err := s.read(ctx, r)
	if err != nil {
		return err
	}
	if rd.version != st.Version {
		return errStale
	}
	at := func(line int) side {
		if i := nearest(st.Stops, line); st.Stops[i].save || st.Stops[i].Mask {
			line = 0
		}
		return side{path: r.path, text: rd.source, print: st.Print, line: line, seen: seen}
	}
	note := func(err error) {
		if err != nil {
			st.Note = strings.TrimSpace(st.Note + " " + plainly(err))
		}
	}
	plain := st.Picture
	if seen != "" {
		v, err := s.lookAt(ctx, at(st.Line), st.Line)
		if err != nil {
			note(err)
			return ctx.Err()
		}
		st.Picture = v
	}
	var other side
	switch {
	case with == "" && st.Before == nil:
		return nil
	case with == "":
		other = at(st.Before.Line)
	case with == "screen":
		if st.Before = nil; seen != "" {
			plain.Name = "as on no paper"
			st.Before = plain
		}
		return nil
	default:
		other = at(st.Line)
		st.Before = nil
		switch err := s.other(r, with, &other, rd); {
		case errors.Is(err, errAsked):
			return err
		case err != nil:
			note(err)
			return ctx.Err()
		}
	}
	line := 0
	if with == "" {
		line = st.Before.Line
	}
	st.Before = nil
	if other.note != "" {
		note(errors.New(other.note))
	}
	v, err := s.lookAt(ctx, other, cmp.Or(line, other.line))
	switch {
	case err != nil:
		note(err)
		return ctx.Err()
	case v.Key == st.Picture.Key:
		note(errors.New("both are the same picture, pixel for pixel"))
		return nil
	case other.line == 0 && other.mark != "" && v.mark != other.mark:
		note(fmt.Errorf("round %d is shown as it comes out now: its inputs, or platemark, aren't those of that day", other.old))
	}
	st.Before = v
	return nil
}

// plainly is an error in one sentence; of a recipe's problems the first.
func plainly(err error) string {
	var p *interp.Problems
	if errors.As(err, &p) {
		for _, d := range p.Diags {
			if d.Severity == lang.Error {
				return fmt.Sprintf("line %d: %s", d.Span.Line, d.Summary)
			}
		}
		return "it makes no picture there"
	}
	return err.Error()
}

// other makes of a side of the recipe r, read as rd, the one that with names, up to
// the line that stands for v's.
func (s *Server) other(r *recipe, with string, v *side, rd *reading) error {
	of := *v
	if err := s.named(r, with, v); err != nil || of.line == 0 {
		return err
	}
	if v.on == "" {
		v.line = corresponding(rd, of, v)
	}
	if v.line == 0 {
		v.note = fmt.Sprintf("%s has no line that stands for line %d: it is shown whole.", v.name, of.line)
	} else {
		v.name += fmt.Sprintf(", after line %d: %s", v.line, plan.LinesOf(string(v.text)).Words(v.line))
	}
	return nil
}

// corresponding is the line of v that stands for that of the side of, 0 where none
// does. What isn't a step shows the picture of the stop before it.
func corresponding(rd *reading, of side, v *side) int {
	rec, _ := lang.Parse(filepath.Base(v.path), v.text)
	if rec == nil || rec.Print(v.print) == nil {
		return 0
	}
	list := stops(rd.rec, rd.rec.Print(of.print))
	for i := nearest(list, of.line); i >= 0; i-- {
		if m := rd.rec.Master; m != nil && list[i].Line == m.Line && rec.Master != nil {
			return rec.Master.Line
		}
		if n := compare.LineOf(rd.rec, of.text, of.print, list[i].Line, rec, v.text, v.print); n >= 0 {
			return n
		}
	}
	return 0
}

// named makes of a side the one that with names.
func (s *Server) named(r *recipe, with string, v *side) error {
	kind, rest, _ := strings.Cut(with, " ")
	v.name = with
	switch kind {
	case "paper":
		v.on, v.name = rest, "on paper "+rest
		if v.seen != "" {
			v.seen = rest
		}
		return nil
	case "round":
		n, err := strconv.Atoi(rest)
		if err != nil {
			return errAsked
		}
		kept, err := rounds.Read(r.path)
		if err != nil {
			return err
		}
		e := kept.Round(n)
		if e == nil {
			return fmt.Errorf("no round %d of this recipe is kept", n)
		}
		if v.text, err = kept.Object(e.Recipe); err != nil {
			return fmt.Errorf("round %d can't be shown: %w", n, err)
		}
		for _, p := range e.Prints {
			if p.Print == v.print {
				v.mark = p.Mark
			}
		}
		v.old = n
		return nil
	case "print":
		name, file, ok := strings.Cut(rest, " of ")
		if !ok {
			return errAsked
		}
		v.print = name
		v.path = filepath.Join(filepath.Dir(disk.Target(r.path)), file)
		var err error
		v.text, err = s.textBeside(r, file)
		return err
	}
	return errAsked
}

// textBeside is the text of a recipe of a name in the folder of r: as it is open,
// else as its file has it. No name and no link leads out of the folder.
func (s *Server) textBeside(r *recipe, name string) ([]byte, error) {
	none := fmt.Errorf("there is no recipe %s in the folder of this one", strconv.Quote(name))
	if !filepath.IsLocal(name) || name != filepath.Base(name) || filepath.Ext(name) != ".recipe" {
		return nil, none
	}
	folder := filepath.Dir(disk.Target(r.path))
	for _, o := range s.recipes {
		if disk.Target(o.path) == filepath.Join(folder, name) {
			o.mu.Lock()
			defer o.mu.Unlock()
			return o.text(), nil
		}
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, none
	}
	defer root.Close()
	if fi, err := root.Lstat(name); err != nil || !fi.Mode().IsRegular() || fi.Size() > lang.MaxSource {
		return nil, none
	}
	f, err := root.Open(name)
	if err != nil {
		return nil, none
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, lang.MaxSource))
}

// lookAt plans a side and makes it known to tiles.
func (s *Server) lookAt(ctx context.Context, v side, line int) (*looked, error) {
	of := func(err error) error {
		if err == nil || v.name == "" {
			return err
		}
		return fmt.Errorf("%s can't be shown: %s", v.name, plainly(err))
	}
	rec, ds := lang.Parse(filepath.Base(v.path), v.text)
	if rec == nil || lang.HasErrors(ds) {
		return nil, of(&interp.Problems{Source: v.text, Diags: ds})
	}
	if rec.Print(v.print) == nil {
		return nil, of(fmt.Errorf("it has no print %s", v.print))
	}
	j, err := s.reader.Read(ctx, v.path, v.text, interp.LoadOptions{Prints: []string{v.print}, Upto: v.line, NoOutputs: true, NoPins: v.old > 0})
	if err != nil {
		return nil, of(err)
	}
	if len(j.Plans) != 1 || j.Failed() {
		return nil, of(&interp.Problems{Source: v.text, Diags: j.Diags})
	}
	p := j.Plans[0]
	var shown *proof.Shown
	if v.on != "" || v.seen != "" {
		if shown, err = proof.Bind(j, v.print, cmp.Or(v.on, v.seen), v.line); err != nil {
			return nil, of(err)
		}
		p = shown.Plan
	}
	key := ""
	if v.seen != "" {
		q := *p
		q.Out, p, key = shown.Out, &q, shown.Key
		if err := s.see(key, shown); err != nil {
			return nil, of(err)
		}
	}
	l := s.look(&reading{source: v.text, text: lsp.NewText(v.path, v.text), rec: j.Recipe}, p, stop{Line: line})
	l.Name, l.mark = v.name, j.Plans[0].Mark.String()
	if v.seen != "" {
		l.Key, l.Paper, l.Mask = key, v.seen, &maskOf{unprintable, "what " + v.seen + " can't show"}
		s.plansMu.Lock()
		l.White = fmt.Sprintf("#%x", s.eyes[key].White())
		s.plansMu.Unlock()
		s.remember(key, p)
	}
	return l, nil
}

// unprintable is the mask of what a paper can't show.
const unprintable = "unprintable"

// see makes known how a paper shows a picture, and forgets it of pictures that
// aren't known any more.
func (s *Server) see(key string, shown *proof.Shown) error {
	s.plansMu.Lock()
	defer s.plansMu.Unlock()
	if s.eyes[key] != nil {
		return nil
	}
	e, err := shown.Eye()
	if err != nil {
		return err
	}
	maps.DeleteFunc(s.eyes, func(k string, _ *proof.Eye) bool { return s.plans[k] == nil })
	s.eyes[key] = e
	return nil
}

// eye is how a paper shows a picture, nil where none does.
func (s *Server) eye(key string) *proof.Eye {
	s.plansMu.Lock()
	defer s.plansMu.Unlock()
	return s.eyes[key]
}

// choice is something that can be compared with.
type choice struct {
	Value string `json:"value"`
	Words string `json:"words"`
	Group string `json:"group"`
}

// choices are what a print can be compared with, but for the recipe's own lines,
// and the recipe's papers, the print's own first.
func (s *Server) choices(ctx context.Context, file int, print string) (list []choice, papers []string, err error) {
	r := s.recipes[file]
	rd, err := s.read(ctx, r)
	if err != nil || rd.rec == nil {
		return nil, nil, err
	}
	kept, err := rounds.Read(r.path)
	if err != nil {
		list = append(list, choice{"", "the rounds can't be read: " + err.Error(), "kept rounds"})
	}
	seen := map[int]bool{}
	for _, e := range slices.Backward(kept.Lines) {
		if e.Record == "round" && !seen[e.Number] {
			seen[e.Number] = true
			day, _, _ := strings.Cut(e.At, "T")
			list = append(list, choice{fmt.Sprintf("round %d", e.Number), strings.TrimSpace(fmt.Sprintf("round %d, %s  %s", e.Number, day, e.Note)), "kept rounds"})
		}
	}
	for _, p := range rd.rec.Papers {
		if pr := rd.rec.Print(print); pr != nil && pr.On != nil && pr.On.Value == p.Name.Value {
			papers = slices.Insert(papers, 0, p.Name.Value)
		} else {
			papers = append(papers, p.Name.Value)
		}
		list = append(list, choice{"paper " + p.Name.Value, "on paper " + p.Name.Value, "papers"})
	}
	if len(papers) > 0 {
		list = append(list, choice{"screen", "itself, as on no paper", "papers"})
	}
	own := filepath.Base(disk.Target(r.path))
	entries, err := os.ReadDir(filepath.Dir(disk.Target(r.path)))
	for _, e := range entries {
		text, err := s.textBeside(r, e.Name())
		if err != nil {
			continue
		}
		rec, _ := lang.Parse(e.Name(), text)
		if rec == nil {
			continue
		}
		for _, p := range rec.Prints {
			if e.Name() != own || p.Name.Value != print {
				v := fmt.Sprintf("print %s of %s", p.Name.Value, e.Name())
				list = append(list, choice{v, v, "prints of this folder"})
			}
		}
	}
	return list, papers, err
}
