package compare

import (
	"context"
	"fmt"
	"maps"
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
	// One is set where it speaks of one print only, as a log does.
	One bool

	rec    *lang.Recipe
	lines  plan.Lines
	others [][]byte // the texts of the further recipes of a sheet
	prints []*account
	masks  []*maskAccount
	files  map[plan.InputName]string // digests
	draft  string
	job    *interp.Job
}

// account is what a side says of one print.
type account struct {
	solved
	kind    string // "print" or "sheet"
	name    string
	line    int
	steps   []*statement
	size    []param
	sizeIs  string // its words
	sizeAt  int
	save    []param
	saveAt  int
	file    string
	edition string // its words
	vers    map[string]int
	drawn   map[int]ops.Args // what a plan or log made of masks, by line
	masks   []string         // the masks that it works through, with those inside them
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
		return openLog(ctx, arg)
	}
	b, err := interp.ReadRecipe(arg)
	if err != nil {
		return nil, err
	}
	return recipeSide(ctx, arg, arg, b)
}

func newSide(name string, text []byte, rec *lang.Recipe, draft string) *Side {
	return &Side{Name: name, Text: text, rec: rec, draft: draft, lines: plan.LinesOf(string(text)), files: map[plan.InputName]string{}}
}

// firstError is the first error of diagnostics, nil where there is none.
func firstError(ds []lang.Diagnostic) *lang.Diagnostic {
	if i := slices.IndexFunc(ds, func(d lang.Diagnostic) bool { return d.Severity == lang.Error }); i >= 0 {
		return &ds[i]
	}
	return nil
}

// recipeSide plans a recipe's text as if it stood at file.
func recipeSide(ctx context.Context, name, file string, text []byte) (*Side, error) {
	j, err := interp.LoadText(ctx, file, filepath.Dir(disk.Real(file)), text, interp.LoadOptions{NoOutputs: true, NoPins: true})
	if err != nil {
		return nil, err
	}
	if j.Inputs == nil {
		return nil, &interp.Problems{Source: text, Diags: j.Diags}
	}
	if ctx.Err() != nil {
		j.Close()
		return nil, context.Cause(ctx)
	}
	s := newSide(name, text, j.Recipe, j.Draft())
	s.job = j
	if d := firstError(j.Diags); d != nil {
		s.Notes = append(s.Notes, fmt.Sprintf("%s can't be planned whole (line %d: %s): compared by what it says", name, d.Span.Line, d.Summary))
	}
	if j.Recipe.Inputs != nil {
		for _, l := range j.Recipe.Inputs.Lines {
			for _, r := range []master.Role{master.RoleMaster, master.RolePicture, master.RoleMask, master.RoleProfile} {
				s.files[plan.InputName{Role: r, Path: l.Path.Value}] = strings.ToLower(l.SHA256.Value)
			}
		}
	}
	for _, in := range j.Inputs.Sorted() {
		s.files[plan.InputName{Role: in.Role, Path: in.Path}] = in.Sum.String()
	}
	for _, pr := range j.Recipe.Prints {
		var v solved
		if i := slices.IndexFunc(j.Plans, func(p *plan.Print) bool { return p.Name == pr.Name.Value }); i >= 0 {
			v = ofPlan(j.Plans[i])
		}
		s.prints = append(s.prints, s.account(pr, v))
	}
	s.maskAccounts()
	return s, nil
}

// OfPrint is one print of a recipe's text that stands at file or will be saved
// there.
func OfPrint(ctx context.Context, name, file string, text []byte, print string) (*Side, error) {
	s, err := recipeSide(ctx, name, file, text)
	if err != nil {
		return nil, err
	}
	s.One, s.prints = true, only(s.prints, func(a *account) bool { return a.name == print })
	return s, nil
}

// openLog reads a log: its recipe's text, and what it records of the one
// print's steps and inputs.
func openLog(ctx context.Context, path string) (*Side, error) {
	l, err := audit.ReadLog(path)
	if err != nil {
		return nil, err
	}
	if l.Run.Failure != "" {
		return nil, l.Wrong(0, "this is the log of a build that failed; there is no print to compare")
	}
	rec, ds := lang.Parse(filepath.Base(path), []byte(l.Recipe.Text))
	if d := firstError(ds); d != nil {
		return nil, fmt.Errorf("%s: its recipe can't be read by this engine: line %d: %s", path, d.Span.Line, d.Summary)
	}
	s := newSide(path, []byte(l.Recipe.Text), rec, l.Head.Draft)
	s.One = true
	for _, in := range l.Inputs {
		s.files[plan.InputName{Role: master.Role(in.Role), Path: in.Path}] = in.SHA256
	}
	for _, r := range l.Others {
		s.others = append(s.others, []byte(r.Text))
	}
	pr := rec.Print(l.Recipe.Print)
	if pr == nil {
		return nil, l.Wrong(2, "its recipe has no print %s", l.Recipe.Print)
	}
	s.prints = []*account{s.account(pr, ofLog(l))}
	s.maskAccounts()
	// With the recorded inputs at hand the pictures can be built too; a
	// comparison of recipes doesn't need them.
	where, _, err := interp.Locate(ctx, l, []string{filepath.Dir(path)})
	if err != nil {
		return s, nil
	}
	j, err := interp.Recorded(ctx, l, where)
	if err != nil {
		return s, nil
	}
	s.job = j
	if len(j.Plans) == 1 && j.Plans[0].Mark.String() == l.File.Mark {
		s.prints[0].plan = j.Plans[0]
	}
	return s, nil
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
		return nil, fmt.Errorf("no round %d of %s is kept; `platemark rounds %s` lists them", n, file, disk.Typed(file))
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
		s.files[plan.InputName{Role: master.Role(in.Role), Path: in.Path}] = in.SHA256
	}
	return s, nil
}

// solved is what a plan or a log made of a print; nothing where there is none.
type solved struct {
	plan *plan.Print
	mark string // "" where the inputs aren't there to tell
	made []solvedStep
	w, h int      // of the picture as printed, px
	ppi  *big.Rat // nil where the size isn't known
}

type solvedStep struct {
	line int
	op   string
	ver  int
	args ops.Args
}

func ofPlan(p *plan.Print) solved {
	v := solved{plan: p, mark: p.Mark.String()}
	for _, n := range p.Nodes {
		if n.Input == nil && n.Recipe == 0 {
			v.made = append(v.made, solvedStep{n.Line, n.Op, n.Ver, n.Args})
		}
	}
	if z := p.Picture; p.Face.W != nil {
		v.w, v.h, v.ppi = z.W, z.H, z.PPI
	}
	return v
}

// ofLog takes recorded arguments in the order of their names, shapes and spots
// by number.
func ofLog(l *audit.Log) solved {
	v := solved{mark: l.File.Mark}
	for _, r := range l.Steps {
		if r.Recipe != 0 {
			continue // its line isn't of the first recipe
		}
		var a ops.Args
		for _, k := range slices.Sorted(maps.Keys(r.Args)) {
			a = append(a, ops.Arg{Name: k, Value: r.Args[k]})
		}
		v.made = append(v.made, solvedStep{r.Line, r.Operation, r.Version, a})
	}
	if r, err := ops.ParseRat(l.File.Args["ppi"]); err == nil && r.Sign() > 0 && len(l.Steps)+len(l.Inputs) > 0 {
		v.w, v.h = l.Printed()
		v.ppi = r
	}
	return v
}

// account makes one print's account from the syntax tree, with what was solved.
func (s *Side) account(pr *lang.Print, v solved) *account {
	a := &account{solved: v, name: pr.Name.Value, line: pr.Line, vers: map[string]int{}, drawn: map[int]ops.Args{}}
	acc := &accountant{rec: s.rec, lines: s.lines, solver: solver{}, cur: -1}
	for _, n := range v.made {
		acc.solver.put(n.line, n.op, n.args)
		a.vers[n.op] = n.ver
		if n.op == "mask" {
			a.drawn[n.line] = n.args
		}
	}
	if a.kind = "print"; pr.Sheet != nil {
		a.kind = "sheet"
	}
	if pr.On != nil {
		acc.paper = pr.On.Value
	}
	if s.rec.Prepare != nil {
		acc.steps("prepare", s.rec.Prepare.Steps)
	}
	acc.link(0)
	from := len(acc.out)
	acc.steps("print "+a.name, pr.Steps)
	acc.sheet("sheet "+a.name, pr.Sheet)
	for i, text := range s.others {
		rec, _ := lang.Parse("", text)
		if rec == nil || rec.Print(a.name) == nil {
			continue
		}
		acc.lines = plan.LinesOf(string(text))
		acc.sheet(fmt.Sprintf("sheet %s of recipe %d", a.name, i+2), rec.Print(a.name).Sheet)
	}
	acc.link(from)
	a.steps = acc.out
	for _, st := range a.steps {
		s.uses(a, st.get("through").word)
	}
	if pr.Size != nil {
		a.sizeAt, a.sizeIs = pr.Size.Line, strings.TrimPrefix(s.lines.Words(pr.Size.Line), "size ")
		a.size = sizeParams(pr.Size, v)
	}
	if f := pr.Save; f != nil {
		a.saveAt, a.file = f.Line, f.Path.Value
		a.save = []param{{name: "format", v: wordOf(f.Format)}}
		if f.Format == "jpeg" {
			chroma := "full"
			if f.Chroma != nil {
				chroma = f.Chroma.Value
			}
			a.save = append(a.save, param{name: "quality", v: count(f.Quality, 100)}, param{name: "chroma", v: wordOf(chroma)})
		} else {
			a.save = append(a.save, param{name: "bits", v: count(f.Bits, 16)})
		}
	}
	if e := pr.Edition; e != nil {
		a.edition = s.lines.Words(e.Line)
	}
	return a
}

// uses adds a mask that a print works through, and those inside it.
func (s *Side) uses(a *account, mask string) {
	if mask == "" || slices.Contains(a.masks, mask) {
		return
	}
	a.masks = append(a.masks, mask)
	if m := s.rec.Mask(mask); m != nil {
		for _, e := range m.Elements {
			if e.Mask != nil {
				s.uses(a, e.Mask.Value)
			}
		}
	}
}

// sizeParams are what a size line says: its form, width, height and resolution.
func sizeParams(z *lang.Size, v solved) []param {
	form := "exact"
	switch {
	case z.Within:
		form = "within"
	case z.H == nil:
		form = "wide"
	case z.W == nil:
		form = "high"
	}
	out := []param{{name: "form", v: wordOf(form)}, {name: "width", v: number(z.W)}, {name: "height", v: number(z.H)}, {name: "resolution", v: number(&z.At)}}
	if v.ppi != nil {
		for i, px := range []int{v.w, v.h} {
			inches := big.NewRat(int64(px), 1)
			out[i+1].solved = inches.Quo(inches, v.ppi).RatString()
		}
		out[3].solved = v.ppi.RatString()
		// The form is solved by what comes out of it.
		out[0].solved = out[1].solved + " x " + out[2].solved
	}
	return out
}

// maskAccounts reads every mask, with the shapes in frame pixels that a plan or a
// log has.
func (s *Side) maskAccounts() {
	acc := &accountant{lines: s.lines}
	for _, m := range s.rec.Masks {
		ma := &maskAccount{name: m.Name.Value, line: m.Line}
		for _, e := range m.Elements {
			st := acc.statement(e.Shape, "mask "+ma.name, e.Line, paramsOf(e))
			st.drop("shape")
			switch e.Shape {
			case "invert", "soften":
				st.drop("op")
			case "ellipse", "rectangle", "polygon", "stroke":
				if e.Soft == nil {
					st.find("soft").v = numbers(numberValue, percent(0))
				}
			}
			ma.shape = append(ma.shape, st)
		}
		for _, a := range s.prints {
			args := a.drawn[m.Line]
			w, _ := args.Get("width")
			h, _ := args.Get("height")
			if shapes := args.All("shape"); len(shapes) == len(ma.shape) {
				for i, x := range shapes {
					ma.shape[i].solved = w + "x" + h + " " + x
				}
			}
		}
		s.masks = append(s.masks, ma)
	}
}
