package compare

import (
	"context"
	"fmt"
	"math/big"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/interp/rounds"
	"platemark/lang"
	"platemark/ops"
)

// A Side is one of the two things that a comparison compares: a recipe, an
// audit log or a kept round.
type Side struct {
	Name string
	Text []byte
	// Notes say what couldn't be told of it, and why.
	Notes []string
	// One is set for a log: it speaks of one print only.
	One bool

	rec    *lang.Recipe
	prints []*account
	masks  []*maskAccount
	files  map[string]string // role and path -> digest
	draft  string
	job    *interp.Job
}

// account is what a side says of one print.
type account struct {
	name   string
	line   int
	mark   string // "" where the inputs aren't there to tell
	steps  []*statement
	size   []param
	sizeIs string // its words
	line2  int    // of the size
	save   []param
	saveAt int
	file   string
	edit   string // the edition's words
	vers   map[string]int
	drawn  map[int]ops.Args // what a plan or log made of masks, by line
	masks  []string         // the masks that it works through, with those inside them
	used   map[string]bool
	plan   *plan.Print
}

type maskAccount struct {
	name  string
	line  int
	shape []*statement
}

// Close gives back the inputs that the side holds open.
func (s *Side) Close() {
	if s.job != nil {
		s.job.Close()
	}
}

// Open reads a recipe, a log (*.audit.jsonl) or a round (FILE@2) for
// comparing. Its inputs may be missing: then only what it says is compared.
func Open(ctx context.Context, arg string) (*Side, error) {
	if file, n, ok := rounds.Cut(arg); ok {
		return openRound(ctx, arg, file, n)
	}
	if strings.HasSuffix(arg, ".jsonl") {
		return openLogSide(ctx, arg)
	}
	b, err := interp.ReadRecipe(arg)
	if err != nil {
		return nil, err
	}
	return recipeSide(ctx, arg, arg, b)
}

// recipeSide plans a recipe's text as if it stood at file.
func recipeSide(ctx context.Context, name, file string, text []byte) (*Side, error) {
	s := &Side{Name: name, Text: text, files: map[string]string{}}
	j, err := interp.LoadText(ctx, file, filepath.Dir(disk.Real(file)), text, interp.LoadOptions{NoOutputs: true, NoPins: true})
	if err != nil {
		return nil, err
	}
	if j.Inputs == nil {
		return nil, &interp.Problems{Source: text, Diags: j.Diags}
	}
	s.rec, s.job, s.draft = j.Recipe, j, j.Draft()
	if ctx.Err() != nil {
		j.Close()
		return nil, context.Cause(ctx)
	}
	if j.Failed() {
		for _, d := range j.Diags {
			if d.Severity == lang.Error {
				s.Notes = append(s.Notes, fmt.Sprintf("%s can't be planned whole (line %d: %s): compared by what it says", name, d.Span.Line, d.Summary))
				break
			}
		}
	}
	if j.Recipe.Inputs != nil {
		for _, l := range j.Recipe.Inputs.Lines {
			for _, r := range []master.Role{master.RoleMaster, master.RoleMask, master.RoleProfile} {
				s.files[string(r)+"\x00"+l.Path.Value] = strings.ToLower(l.SHA256.Value)
			}
		}
	}
	for _, in := range j.Inputs.Sorted() {
		s.files[string(in.Role)+"\x00"+in.Path] = in.Sum.String()
	}
	for _, pr := range j.Recipe.Prints {
		var p *plan.Print
		for _, q := range j.Plans {
			if q.Name == pr.Name.Value {
				p = q
			}
		}
		s.prints = append(s.prints, s.account(pr, p, nil))
	}
	s.maskAccounts()
	return s, nil
}

// openLogSide reads a log: its recipe's text, and what it records of the one
// print's steps and inputs.
func openLogSide(ctx context.Context, path string) (*Side, error) {
	l, err := audit.ReadLog(path)
	if err != nil {
		return nil, err
	}
	if l.Run.Failure != "" {
		return nil, l.Wrong(0, "this is the log of a build that failed; there is no print to compare")
	}
	rec, ds := lang.Parse(filepath.Base(path), []byte(l.Recipe.Text))
	for _, d := range ds {
		if d.Severity == lang.Error {
			return nil, fmt.Errorf("%s: its recipe can't be read by this engine: line %d: %s", path, d.Span.Line, d.Summary)
		}
	}
	s := &Side{Name: path, Text: []byte(l.Recipe.Text), One: true, rec: rec, files: map[string]string{}, draft: l.Head.Draft}
	for _, in := range l.Inputs {
		s.files[in.Role+"\x00"+in.Path] = in.SHA256
	}
	pr := rec.Print(l.Recipe.Print)
	if pr == nil {
		return nil, l.Wrong(2, "its recipe has no print %s", l.Recipe.Print)
	}
	s.prints = []*account{s.account(pr, nil, l)}
	s.maskAccounts()
	// With the recorded inputs at hand the pictures can be built too; a
	// comparison of recipes doesn't need them.
	where, _, err := interp.Locate(ctx, l, []string{filepath.Dir(path)})
	if err != nil {
		return s, nil
	}
	j, err := interp.LoadText(ctx, "", filepath.Dir(path), s.Text, interp.LoadOptions{Prints: []string{l.Recipe.Print}, NoOutputs: true, NoPins: true,
		Found: func(_ master.Role, p string) string { return where[p] }})
	if err != nil {
		return s, nil
	}
	s.job = j
	if len(j.Plans) == 1 && j.Plans[0].Mark.String() == l.File.Mark {
		s.prints[0].plan = j.Plans[0]
	}
	return s, nil
}

// argsOf are recorded arguments in the order of their names, shapes and spots
// by number.
func argsOf(m map[string]string) ops.Args {
	var names []string
	for k := range m {
		names = append(names, k)
	}
	slices.Sort(names)
	var a ops.Args
	for _, k := range names {
		a = append(a, ops.Arg{Name: k, Value: m[k]})
	}
	return a
}

// account makes one print's account from the syntax tree, with what a plan or
// a log (at most one of them) solved.
func (s *Side) account(pr *lang.Print, p *plan.Print, l *audit.Log) *account {
	a := &account{name: pr.Name.Value, line: pr.Line, vers: map[string]int{}, plan: p, used: map[string]bool{}, drawn: map[int]ops.Args{}}
	sv := newSolver()
	put := func(line int, op string, ver int, args ops.Args) {
		sv.put(line, op, args)
		a.vers[op] = ver
		if op == "mask" {
			a.drawn[line] = args
		}
	}
	switch {
	case p != nil:
		a.mark = p.Mark.String()
		for _, n := range p.Nodes {
			if n.Input == nil {
				put(n.Line, n.Op, n.Ver, n.Args)
			}
		}
	case l != nil:
		a.mark = l.File.Mark
		for _, r := range l.Steps {
			put(r.Line, r.Operation, r.Version, argsOf(r.Args))
		}
	}
	prep := []lang.Step(nil)
	if s.rec.Prepare != nil {
		prep = s.rec.Prepare.Steps
	}
	lines := plan.LinesOf(string(s.Text))
	acc := &accountant{lines: lines, solver: sv, cur: -1, names: map[string]int{}}
	acc.uses = nameUses(s.rec.Expand(prep))
	if pr.On != nil {
		acc.paper = pr.On.Value
	}
	acc.steps("prepare", prep, s.rec)
	acc.names, acc.uses = map[string]int{}, nameUses(s.rec.Expand(pr.Steps))
	acc.steps("print "+a.name, pr.Steps, s.rec)
	a.steps = acc.out
	a.sizeAndSave(pr, p, l, acc)
	for _, st := range a.steps {
		if v, ok := st.get("through"); ok && v.set {
			s.uses(a, v.word)
		}
	}
	return a
}

func (s *Side) uses(a *account, mask string) {
	if a.used[mask] {
		return
	}
	a.used[mask] = true
	a.masks = append(a.masks, mask)
	if m := s.rec.Mask(mask); m != nil {
		for _, e := range m.Elements {
			if e.Mask != nil {
				s.uses(a, e.Mask.Value)
			}
		}
	}
}

// sizeAndSave reads what stands around the steps.
func (a *account) sizeAndSave(pr *lang.Print, p *plan.Print, l *audit.Log, acc *accountant) {
	var w, h, ppi *big.Rat
	switch {
	case p != nil && p.Face.W != nil:
		z := p.Picture
		w, h, ppi = over(fraction(int64(z.W)), z.PPI), over(fraction(int64(z.H)), z.PPI), z.PPI
	case l != nil:
		if v, err := ops.ParseRat(l.File.Args["ppi"]); err == nil && v.Sign() > 0 && len(l.Steps)+len(l.Inputs) > 0 {
			pw, ph := l.Printed()
			w, h, ppi = over(fraction(int64(pw)), v), over(fraction(int64(ph)), v), v
		}
	}
	solved := func(r *big.Rat) string {
		if r == nil {
			return ""
		}
		return r.RatString()
	}
	if z := pr.Size; z != nil {
		a.line2, a.sizeIs = z.Line, strings.TrimPrefix(acc.lines.Words(z.Line), "size ")
		form := "exact"
		switch {
		case z.Within:
			form = "within"
		case z.H == nil:
			form = "wide"
		case z.W == nil:
			form = "high"
		}
		side := func(m *lang.Measure) value {
			if m == nil {
				return value{kind: numberValue}
			}
			return measureValue(*m)
		}
		both := ""
		if w != nil {
			both = w.RatString() + " x " + h.RatString()
		}
		// The form is solved by what comes out of it.
		a.size = []param{{"form", wordOf(form), both}, {"width", side(z.W), solved(w)}, {"height", side(z.H), solved(h)}, {"resolution", measureValue(z.At), solved(ppi)}}
	}
	if v := pr.Save; v != nil {
		a.saveAt, a.file = v.Line, v.Path.Value
		a.save = []param{{name: "format", v: wordOf(v.Format)}}
		count := func(n *lang.Number, usual int64) value {
			if n == nil {
				return countValue(usual)
			}
			return value{kind: numberValue, nums: []amount{amountOf(n.Value, "")}, set: true}
		}
		if v.Format == "jpeg" {
			c := wordOf("full")
			if v.Chroma != nil {
				c.word = v.Chroma.Value
			}
			a.save = append(a.save, param{name: "quality", v: count(v.Quality, 100)}, param{name: "chroma", v: c})
		} else {
			a.save = append(a.save, param{name: "bits", v: count(v.Bits, 16)})
		}
	}
	if e := pr.Edition; e != nil {
		a.edit = acc.lines.Words(e.Line)
	}
}

// maskAccounts reads every mask, with the solved shapes of the prints.
func (s *Side) maskAccounts() {
	lines := plan.LinesOf(string(s.Text))
	acc := &accountant{lines: lines, solver: newSolver()}
	for _, m := range s.rec.Masks {
		ma := &maskAccount{name: m.Name.Value, line: m.Line}
		for _, e := range m.Elements {
			st := &statement{kind: e.Shape, block: "mask " + ma.name, line: e.Line, text: acc.lines.Words(e.Line), params: paramsOf(e)}
			st.params = without(st.params, "shape")
			if e.Shape == "invert" || e.Shape == "soften" {
				st.params = without(st.params, "op")
			}
			switch e.Shape {
			case "ellipse", "rectangle", "polygon", "stroke":
				if e.Soft == nil {
					for i := range st.params {
						if st.params[i].name == "soft" {
							st.params[i].v = value{kind: numberValue, nums: []amount{amountOf(fraction(0), "%")}, set: true}
						}
					}
				}
			}
			ma.shape = append(ma.shape, st)
		}
		s.masks = append(s.masks, ma)
	}
	s.solveMasks()
}

// solveMasks takes the shapes in frame pixels from a plan or a log's steps.
func (s *Side) solveMasks() {
	for _, a := range s.prints {
		for _, m := range s.masks {
			args := a.drawn[m.line]
			w, _ := args.Get("width")
			h, _ := args.Get("height")
			if shapes := args.All("shape"); len(shapes) == len(m.shape) {
				for i, x := range shapes {
					m.shape[i].solved = w + "x" + h + " " + x
				}
			}
		}
	}
}

// openRound reads a kept round of a recipe: its text, and the marks that its
// prints had.
func openRound(ctx context.Context, name, file string, n int) (*Side, error) {
	r, err := rounds.Read(file)
	if err != nil {
		return nil, err
	}
	e := r.Round(n)
	if e == nil {
		return nil, fmt.Errorf("no round %d of %s is kept; `platemark rounds %s` lists them", n, file, file)
	}
	text, err := r.Object(e.Recipe)
	if err != nil {
		return nil, err
	}
	s, err := recipeSide(ctx, name, file, text)
	if err != nil {
		return nil, err
	}
	for _, a := range s.prints {
		for _, p := range e.Prints {
			if p.Print != a.name {
				continue
			}
			if a.mark != "" && a.mark != p.Mark {
				s.Notes = append(s.Notes, fmt.Sprintf("the inputs or the engine aren't those of round %d any more: print %s is compared by what was kept", n, a.name))
				a.plan = nil
			}
			a.mark = p.Mark
		}
	}
	for _, in := range e.Inputs {
		s.files[in.Role+"\x00"+in.Path] = in.SHA256
	}
	return s, nil
}
