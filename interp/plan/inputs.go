package plan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops/codec"
	"platemark/ops/raster"
)

// Inputs opens each file that a recipe names once, whatever number of prints
// use it.
type Inputs struct {
	ctx    context.Context
	folder string
	Pins   map[string]string // path as written -> hexadecimal SHA-256
	rec    *lang.Recipe
	// Found, if set, says where the file for a path lies instead: a reprint
	// found it by its digest.
	Found func(role master.Role, path string) string
	// NoPins skips the check against the inputs block, for `pin --renew` and
	// for reading a recipe whose inputs changed.
	NoPins bool
	// Heads opens what isn't pinned by master.Glance.
	Heads bool
	// Open opens a file, master.Open unless set otherwise; Known are digests
	// taken before.
	Open  func(ctx context.Context, role master.Role, path, found string, white bool) (*master.Input, error)
	Known map[InputName]raster.Sum // by their names in logs

	// Number is that of the recipe among those of a sheet, from 2; 0 is the first or
	// only one.
	Number int

	open  map[InputName]*master.Input
	Diags []lang.Diagnostic
	bound shared
}

// InputName is an input as a recipe names it.
type InputName struct {
	Role master.Role
	Path string
}

// NewInputs opens nothing yet; folder is what the recipe's paths are relative to.
func NewInputs(ctx context.Context, folder string, rec *lang.Recipe) *Inputs {
	s := &Inputs{ctx: ctx, folder: folder, rec: rec, Open: master.Open, Pins: map[string]string{}, open: map[InputName]*master.Input{}}
	if rec.Inputs != nil {
		for _, l := range rec.Inputs.Lines {
			s.Pins[l.Path.Value] = strings.ToLower(l.SHA256.Value)
		}
	}
	return s
}

// NameOf is what logs call the file that a recipe names so, of the recipe's number
// on a sheet of several: "recipe 2: salt.tif", the path as it is written for 0.
func NameOf(number int, path string) string {
	if number == 0 {
		return path
	}
	return fmt.Sprintf("recipe %d: %s", number, path)
}

// Get is the open input, or nil where it can't be used; the reason is then in
// Diags, once.
func (s *Inputs) Get(role master.Role, at lang.Text) *master.Input {
	k := InputName{role, at.Value}
	if in, ok := s.open[k]; ok {
		return in
	}
	s.open[k] = nil
	where := s.Where(role, at.Value)
	pin, pinned := s.Pins[at.Value]
	open := s.Open
	if s.Heads && !pinned {
		open = master.Glance
	}
	in, err := open(s.ctx, role, at.Value, where, role == master.RoleMaster && s.rec.Master.OnWhite)
	if err != nil {
		s.failed(role, at, where, err)
		return nil
	}
	if sum, ok := s.Known[InputName{role, NameOf(s.Number, at.Value)}]; ok {
		in.Sum = sum
	}
	if !s.NoPins && pinned && pin != in.Sum.String() {
		s.Diags = append(s.Diags, lang.Diagnostic{Severity: lang.Error, Code: CodeChanged, Span: at.Span,
			Summary: fmt.Sprintf("%s isn't the file that was pinned", at.Value),
			Detail:  fmt.Sprintf("Pinned: sha256 %s…; found: %s…. A print from it would be another print.", pin[:min(16, len(pin))], in.Sum.String()[:16]),
			Hints:   []string{"put the old file back, or, if the change is wanted: platemark pin --renew " + disk.Typed(at.Value) + " RECIPE"}})
		in.Close()
		return nil
	}
	if s.Number != 0 {
		in.Path = NameOf(s.Number, at.Value)
	}
	s.open[k] = in
	for _, w := range in.Warnings() {
		s.Diags = append(s.Diags, lang.Diagnostic{Severity: lang.Warning, Code: CodeInput, Span: at.Span, Summary: at.Value + ": " + w})
	}
	return in
}

// Where is where the file for a path lies.
func (s *Inputs) Where(role master.Role, path string) string {
	if s.Found != nil {
		if f := s.Found(role, path); f != "" {
			return f
		}
	}
	return disk.Join(s.folder, path)
}

func (s *Inputs) failed(role master.Role, at lang.Text, where string, err error) {
	d := lang.Diagnostic{Severity: lang.Error, Code: CodeInput, Span: at.Span}
	var ce *codec.Error
	var ke *master.KindError
	switch {
	case errors.As(err, &ke):
		d.Summary = fmt.Sprintf("%s can't be a %s: %s", at.Value, role, ke.Detail)
		d.Hints = []string{ke.Hint}
	case errors.As(err, &ce):
		d.Summary = fmt.Sprintf("%s can't be read as a picture: %v", at.Value, err)
	case s.ctx.Err() != nil:
		return // whoever asked says that it was stopped
	case disk.Absent(where) != nil:
		d.Summary = fmt.Sprintf("the %s %s can't be used: %v", role, at.Value, err)
	default:
		d.Summary = fmt.Sprintf("the %s %s can't be opened: %v", role, at.Value, err)
		d.Detail = "Tried: " + where + ". Paths are relative to the recipe's folder."
		if near := alike(where); near != "" {
			why := "its accents are stored in another way; rename it to what the recipe says"
			if strings.EqualFold(near, filepath.Base(where)) {
				why = "capital letters count"
			}
			d.Hints = append(d.Hints, fmt.Sprintf("there is a file %s: %s", near, why))
		} else if s.Pins[at.Value] != "" {
			d.Hints = append(d.Hints, "it is pinned: if it was moved or renamed, build finds it by its digest below --look-in FOLDER")
		}
	}
	s.Diags = append(s.Diags, d)
}

// alike finds a file in the same folder whose name differs in case or in how accents
// are composed only.
func alike(path string) string {
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return ""
	}
	for _, e := range list {
		if disk.Fold(e.Name()) == disk.Fold(filepath.Base(path)) && e.Name() != filepath.Base(path) {
			return e.Name()
		}
	}
	return ""
}

// Named lists every file that the recipe names, in its order, once each.
func (s *Inputs) Named() []NamedInput {
	var out []NamedInput
	seen := map[InputName]bool{}
	put := func(role master.Role, t lang.Text) {
		if k := (InputName{role, t.Value}); !seen[k] {
			seen[k] = true
			out = append(out, NamedInput{role, t})
		}
	}
	if s.rec.Master != nil {
		put(master.RoleMaster, s.rec.Master.Path)
	}
	for _, p := range s.rec.Pictures {
		put(master.RolePicture, p.Path)
	}
	for _, m := range s.rec.Masks {
		for _, e := range m.Elements {
			if e.Path != nil {
				put(master.RoleMask, *e.Path)
			}
		}
	}
	for _, p := range s.rec.Papers {
		if p.Profile != nil {
			put(master.RoleProfile, *p.Profile)
		}
	}
	steps := func(l []lang.Step) {
		for _, x := range l {
			if c, ok := x.(*lang.Convert); ok && c.Profile != nil {
				put(master.RoleProfile, *c.Profile)
			}
		}
	}
	if s.rec.Prepare != nil {
		steps(s.rec.Prepare.Steps)
	}
	for _, b := range s.rec.Steps {
		steps(b.Steps)
	}
	for _, p := range s.rec.Prints {
		steps(p.Steps)
	}
	return out
}

// NamedInput is a file's name where the recipe writes it first.
type NamedInput struct {
	Role master.Role
	Text lang.Text
}

// Close closes all.
func (s *Inputs) Close() {
	for _, in := range s.open {
		if in != nil {
			in.Close()
		}
	}
}

// Sorted lists the open inputs by role and path.
func (s *Inputs) Sorted() []*master.Input {
	var out []*master.Input
	for _, in := range s.open {
		if in != nil {
			out = append(out, in)
		}
	}
	slices.SortFunc(out, func(a, b *master.Input) int {
		return cmp.Or(cmp.Compare(a.Role, b.Role), cmp.Compare(a.Path, b.Path))
	})
	return out
}

// InputFile is an input by its bytes: recipes may name one file differently.
type InputFile struct {
	Role  master.Role
	Sum   raster.Sum
	White bool
}

// FileOf is an input by its bytes.
func FileOf(in *master.Input) InputFile { return InputFile{in.Role, in.Sum, in.White} }
