package interp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/raster"
	"platemark/testdata/frozen"
)

// A Job is a recipe with its inputs open and each of its prints planned.
type Job struct {
	File   string // the recipe's path, "" for text from a log
	Folder string // what its paths are relative to
	Source []byte
	Recipe *lang.Recipe
	Plans  []*plan.Print
	Diags  []lang.Diagnostic

	// Masks are those that a print's steps work through, with LoadOptions.Masks.
	Masks map[*plan.Print][]MaskCover
	// Spots are the contrasts of a print's spots, with LoadOptions.Spots.
	Spots map[*plan.Print][]SpotLook

	Inputs *plan.Inputs
	// Elsewhere says which inputs were found by LoadOptions.LookIn, and where.
	Elsewhere []string
	// Others are the further recipes whose pieces lie on the sheet.
	Others []*Job
	// there are the prints that needn't be built again.
	there map[*plan.Print]standing
}

// LoadOptions say how to read a recipe.
type LoadOptions struct {
	// Prints are the names of the prints to plan; none means all.
	Prints []string
	// Upto, if not 0, plans up to the picture that this line makes.
	Upto int
	// Out is the folder for print files; "" means where the recipe says.
	Out string
	// Force allows to overwrite print files.
	Force bool
	// Resume accepts print files that exist if a log beside them has the same
	// mark and records their bytes; such prints aren't built again.
	Resume bool
	// NoOutputs skips the checks of what stands at the outputs.
	NoOutputs bool
	// Look is for planning alone: a print file that exists is a note.
	Look bool
	// Masks looks whether masks cover nothing or everything, before any picture is
	// made; with Shares it tells how much, too.
	Masks, Shares bool
	// Spots looks at what spots mend.
	Spots bool
	// NoSheets leaves sheets out, unless they are among Prints.
	NoSheets bool
	// NoPins skips the inputs block.
	NoPins bool
	// Heads reads no more of inputs that aren't pinned than it must: nothing may be
	// built from the plans, whose marks are no print's. A recipe with sheets, which
	// show marks, is read whole.
	Heads bool
	// open, if set, opens inputs instead of master.Open; with master.Glance they
	// aren't hashed, see Glance.
	open func(ctx context.Context, role master.Role, path, found string, white bool) (*master.Input, error)
	// cache holds what the order has open that the recipe is a part of.
	cache *inputCache
	// known, with master.Glance, are the digests of inputs that were hashed just
	// now.
	known map[plan.InputName]raster.Sum
	// others are the recipes whose pieces lie on the sheet too, number the recipe's own
	// among those of a sheet, from 2; 0 is the first.
	others []*Job
	number int
	// Ahead is how many workers decode the master while it is hashed, for a build of
	// whole prints; 0 and 1 are none.
	Ahead int
	// Found says where an input lies, if not where the recipe says.
	Found func(role master.Role, path string) string
	// LookIn are folders below which inputs that aren't where the recipe says are
	// found by their digests.
	LookIn []string
}

// Load reads, checks and plans a recipe. Problems come as diagnostics, in the
// order of the text; err is for a recipe that can't be opened at all. The
// caller closes the job.
func Load(ctx context.Context, file string, o LoadOptions) (*Job, error) {
	b, err := ReadRecipe(file)
	if err != nil {
		return nil, err
	}
	// A linked recipe stands where the link points: its paths are relative to
	// the file itself.
	return LoadText(ctx, file, filepath.Dir(disk.Target(file)), b, o)
}

// ReadRecipe reads a recipe's text.
func ReadRecipe(file string) ([]byte, error) {
	b, err := disk.Read(file, lang.MaxSource)
	if err == nil && bytes.HasPrefix(b, []byte("recipe ")) {
		return b, nil
	}
	var large *disk.SizeError
	if what := master.NotRecipe(file); what != "" {
		err = errors.New(what)
	} else if errors.As(err, &large) {
		err = fmt.Errorf("it has %d bytes; is it a recipe?", large.Size)
	}
	if err != nil {
		return nil, fmt.Errorf("the recipe %s can't be read: %w", file, disk.PlainError(err))
	}
	return b, nil
}

// LoadText is Load of a text that stands at file, "" for none; its paths are
// relative to folder.
func LoadText(ctx context.Context, file, folder string, source []byte, o LoadOptions) (*Job, error) {
	j := &Job{File: file, Folder: folder, Source: source, Others: o.others, there: map[*plan.Print]standing{},
		Masks: map[*plan.Print][]MaskCover{}, Spots: map[*plan.Print][]SpotLook{}}
	j.Recipe, j.Diags = lang.Parse(filepath.Base(file), source)
	if j.Failed() {
		return j, nil
	}
	for _, name := range o.Prints {
		if j.Recipe.Print(name) == nil {
			var have []string
			for _, p := range j.Recipe.Prints {
				have = append(have, p.Name.Value)
			}
			return nil, fmt.Errorf("no print is named %s in %s; there is: %s", name, file, strings.Join(have, ", "))
		}
	}
	j.Inputs = plan.NewInputs(ctx, folder, j.Recipe)
	switch {
	case o.open != nil:
		j.Inputs.Open = o.open
	case o.Ahead > 1:
		j.Inputs.Open = func(ctx context.Context, role master.Role, path, found string, white bool) (*master.Input, error) {
			if role != master.RoleMaster {
				return master.Open(ctx, role, path, found, white)
			}
			return master.OpenAhead(ctx, role, path, found, white, o.Ahead, plan.MemoryLimit)
		}
	}
	j.Inputs.NoPins, j.Inputs.Found, j.Inputs.Known, j.Inputs.Number = o.NoPins, o.Found, o.known, o.number
	j.Inputs.Heads = o.Heads && !slices.ContainsFunc(j.Recipe.Prints, func(p *lang.Print) bool { return p.Sheet != nil })
	if len(o.LookIn) > 0 {
		where, elsewhere, err := seekInputs(ctx, folder, o.Out, j.Recipe, j.Inputs, o.LookIn)
		if err != nil {
			return nil, err
		}
		j.Elsewhere = elsewhere
		j.Inputs.Found = func(_ master.Role, p string) string { return where[p] }
	}
	for _, pr := range j.Recipe.Prints {
		if len(o.Prints) > 0 && !slices.Contains(o.Prints, pr.Name.Value) || len(o.Prints) == 0 && o.NoSheets && pr.Sheet != nil {
			continue
		}
		var others []*plan.Other
		for _, k := range j.Others {
			others = append(others, &plan.Other{Recipe: k.Recipe, Source: k.Source, Inputs: k.Inputs})
		}
		p, ds := plan.Bind(j.Recipe, source, pr, j.Inputs, o.Upto, others...)
		j.Diags = append(j.Diags, ds...)
		for i, k := range j.Others {
			k.Diags = append(k.Diags, others[i].Diags...)
			k.tidy()
		}
		if p != nil {
			j.Plans = append(j.Plans, p)
		}
	}
	if ctx.Err() != nil {
		j.Inputs.Close()
		return nil, context.Cause(ctx)
	}
	if o.Upto != 0 && len(j.Plans) == 0 && !j.Failed() && len(j.Inputs.Diags) == 0 {
		j.Inputs.Close()
		return nil, fmt.Errorf("line %d of %s makes no picture; name a line with a step, or a line of a mask that a print uses", o.Upto, file)
	}
	j.Inputs.CheckPapers()
	plan.MarkShared(j.Plans)
	j.Diags = append(j.Diags, j.Inputs.Diags...)
	if !j.Failed() && !o.NoOutputs {
		j.checkOutputs(ctx, o)
	}
	s := NewSession(0, nil)
	defer s.Close()
	if !j.Failed() && o.Masks {
		if err := j.coverMasks(ctx, s, o.Shares); err != nil {
			j.Close()
			return nil, err
		}
	}
	if !j.Failed() && o.Spots {
		if err := j.lookAtSpots(ctx, s); err != nil {
			j.Close()
			return nil, err
		}
	}
	j.tidy()
	return j, nil
}

// Close closes the inputs.
func (j *Job) Close() {
	if j.Inputs != nil {
		j.Inputs.Close()
	}
	for _, o := range j.Others {
		o.Close()
	}
}

// tidy sorts the diagnostics by place, drops those said twice (a fault in
// prepare shows in every print) and keeps no more than can be read.
func (j *Job) tidy() {
	for i := range j.Diags {
		j.Diags[i].File = filepath.Base(j.File)
	}
	j.Diags = lang.Tidy(j.Diags)
}

// OutPath is where a plan's print file goes.
func (j *Job) OutPath(p *plan.Print, out string) string {
	return outPath(j.Folder, p.File.Path, out)
}

// outPath is where a print file goes that a recipe in folder saves at path: with
// out, into that folder.
func outPath(folder, path, out string) string {
	if out != "" {
		return filepath.Join(out, filepath.Base(filepath.FromSlash(path)))
	}
	return disk.Join(folder, path)
}

// checkOutputs refuses, before any pixel: an output that is an input by any
// name, also one that only another print reads; outputs whose names fold
// together on some system, or meet by links; and files that exist.
func (j *Job) checkOutputs(ctx context.Context, o LoadOptions) {
	add := func(sev lang.Severity, at lang.Span, what, rule string, hints ...string) {
		j.Diags = append(j.Diags, lang.Diagnostic{Severity: sev, Code: plan.CodeOutput, Span: at, Summary: what, Detail: rule, Hints: hints})
	}
	say := func(at lang.Span, what, rule string, hints ...string) { add(lang.Error, at, what, rule, hints...) }
	seen := map[string]*plan.Print{}
	for _, p := range j.Plans {
		out := j.OutPath(p, o.Out)
		at := j.Recipe.Print(p.Name).Save.Path.Span
		real := disk.Fold(disk.Real(out))
		if q := seen[real]; q != nil {
			if disk.Fold(out) != disk.Fold(j.OutPath(q, o.Out)) {
				say(at, fmt.Sprintf("%q and %q are one file: a folder on the way is a link", p.File.Path, q.File.Path), "The second would overwrite the first.", "give one of them another name")
				continue
			}
			say(at, fmt.Sprintf("%q and %q are one file on some systems", p.File.Path, q.File.Path),
				"Capital letters and composed accents don't tell files apart everywhere: the second would overwrite the first.", "give one of them another name")
			continue
		}
		seen[real] = p
		if in := j.sameAsInput(out); in != nil {
			say(at, fmt.Sprintf("the print file %s would overwrite the %s %s", p.File.Path, in.Role, in.Text.Value),
				"Inputs are never written to, by whatever name.", "save the print under another name")
			continue
		}
		st, err := os.Lstat(out)
		if err != nil {
			continue
		}
		const away = "move it away or delete it, or build with --out FOLDER to write elsewhere"
		mend := func() string {
			if printAt(ctx, out) {
				return "build with --force to replace it, or with --out FOLDER to write elsewhere"
			}
			return away
		}
		switch {
		case st.IsDir():
			say(at, fmt.Sprintf("%s is a folder", out), "", "save the print under another name")
		case o.Force:
			// What it is to the order is said with the order.
			if err := disk.Replaceable(out); err != nil && !o.cache.holds(out) {
				say(at, err.Error(), "")
			} else if o.cache == nil && !printAt(ctx, out) {
				say(at, unknownFile(out), "--force replaces prints, which their logs make again; this file may be the only one.", away)
			}
		case o.Look:
			add(lang.Note, at, fmt.Sprintf("%s is there already", out), "Nothing is overwritten unasked.", mend())
		case o.Resume:
			s, ok, changed := j.standingAt(ctx, p, out)
			switch {
			case ok:
				j.there[p] = s
			case changed:
				say(at, fmt.Sprintf("%s is there, but its bytes aren't those that the log of this very print records", out), "Something changed the file, or cut it off.",
					"look at it, then build with --force to replace it")
			case logLost(ctx, out):
				say(at, fmt.Sprintf("%s exists already, and no log beside it records it", out), "Its log was lost, or the file isn't a print: nothing says how it was made, and nothing is overwritten unasked.",
					"put the log back from a backup, or "+mend())
			default:
				say(at, fmt.Sprintf("%s exists already and is no finished print of this recipe as it is now", out), "Nothing is overwritten unasked.", mend())
			}
		default:
			say(at, fmt.Sprintf("%s exists already", out), "Nothing is overwritten unasked.", mend())
		}
	}
}

// NotInput refuses to write at the place of a file that the recipe reads.
func (j *Job) NotInput(path string) error {
	if in := j.sameAsInput(path); in != nil {
		return fmt.Errorf("%s would overwrite the %s %s: inputs are never written to", path, in.Role, in.Text.Value)
	}
	return nil
}

// sameAsInput finds what the recipe names as an input, read or not, that is the
// same file as path: by links, by another way to its folder, or by a name that
// folds to its name.
func (j *Job) sameAsInput(path string) *plan.NamedInput {
	real := disk.Fold(disk.Real(path))
	for _, o := range j.Others {
		if in := o.sameAsInput(path); in != nil {
			return in
		}
	}
	for _, in := range j.Inputs.Named() {
		found := j.Inputs.Where(in.Role, in.Text.Value)
		if disk.Same(path, found) || real == disk.Fold(disk.Real(found)) {
			return &in
		}
	}
	return nil
}

// Language says which version of the language the job's recipe speaks.
func (j *Job) Language() string {
	return audit.LanguageName(j.Recipe.Version, j.Draft())
}

// Draft is the digest of the vectors that say which draft the recipe speaks, ""
// where it speaks none.
func (j *Job) Draft() string {
	if j.Recipe.Draft {
		return frozen.Digest()
	}
	return ""
}
