package interp

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/interp/sign"
	"platemark/lang"
	"platemark/testdata/frozen"
)

// ReprintOptions say where to look and where to write.
type ReprintOptions struct {
	BuildOptions
	LookIn []string
	Whose  *sign.Whose // who must have signed the log; nil asks for nobody
	// Found, if set, says where each input lies, by the path as written, so that
	// none is looked for. Named is how the new log names these places, where they
	// are for this run only, and Recipes where it says that each recipe lies.
	Found, Named map[string]string
	Recipes      []string
}

// Reprint finds a log's inputs by their digests, runs the recorded recipe
// under its version, compares every record, and gives the file its name only
// if all are equal.
func Reprint(ctx context.Context, path string, o ReprintOptions) (*Built, error) {
	l, err := audit.ReadLog(path)
	if err != nil {
		return nil, err
	}
	return ReprintLog(ctx, l, o)
}

// ReprintLog is Reprint of a log that was read.
func ReprintLog(ctx context.Context, l *audit.Log, o ReprintOptions) (*Built, error) {
	if l.Run.Failure != "" {
		return nil, l.Wrong(0, "this is the log of a build that failed; there is no print to make again")
	}
	signature := Signature(l, o.Whose)
	if signature.Err != nil {
		return nil, l.Wrong(0, "%s", signature.Of("the log"))
	}
	if err := speaks(l); err != nil {
		return nil, err
	}
	folder, where := filepath.Dir(l.Path), o.Found
	var elsewhere []string
	if where == nil {
		var err error
		if where, elsewhere, err = Locate(ctx, l, append(slices.Clone(o.LookIn), folder)); err != nil {
			return nil, err
		}
	}
	j, err := LoadLog(ctx, l, where)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	// The file goes beside its log under its recorded name, or to --out.
	out := o.Out
	if out == "" {
		out = folder
	}
	target := filepath.Join(out, l.Run.Out)
	if err := j.NotInput(target); err != nil {
		return nil, err
	}
	if !o.Force {
		if err := disk.Absent(target); err != nil {
			return nil, fmt.Errorf("%w; reprint with --out FOLDER, or --force to replace it", err)
		}
	}
	o.Keeping = nil
	s := newSession(o.BuildOptions)
	defer s.Close()
	for _, in := range j.Plans[0].Inputs {
		in.Found = cmp.Or(o.Named[in.Path], in.Found)
	}
	// The run record names the recipes as before, if they are still there.
	for i, k := range append([]*Job{j}, j.Others...) {
		if o.Recipes != nil {
			k.File = o.Recipes[i]
		} else {
			k.File = l.There(append([]string{l.Run.Recipe}, l.Run.Others...)[i])
		}
	}
	built, err := (&making{Session: s, job: j, plan: j.Plans[0], out: target, force: o.Force, want: l}).print(ctx)
	if err != nil {
		return nil, err
	}
	built.Elsewhere, built.Signature = elsewhere, signature
	return built, nil
}

// LoadLog plans the recorded recipe of a log with its inputs, found at where by
// their paths. It fails where a record isn't what the plan comes to.
func LoadLog(ctx context.Context, l *audit.Log, where map[string]string) (*Job, error) {
	if err := speaks(l); err != nil {
		return nil, err
	}
	j, err := Recorded(ctx, l, where)
	if err != nil {
		return nil, fmt.Errorf("the recorded recipe: %w", err)
	}
	if j.Failed() {
		err = fmt.Errorf("the recorded recipe can't be planned: %s", strings.Join(j.Errors(), "; "))
	} else if m := misfitOf(l, j); m != nil {
		err = differenceOf(l, m)
	}
	if err != nil {
		j.Close()
		return nil, err
	}
	return j, nil
}

// speaks says whether this engine knows the log's language.
func speaks(l *audit.Log) error {
	if l.Head.Language != 1 {
		return fmt.Errorf("the log is of language version %d; this engine knows version 1: reprint with the engine that made it (%s) or a later one", l.Head.Language, l.MadeBy())
	}
	if l.Head.Draft != "" && l.Head.Draft != frozen.Digest() {
		return fmt.Errorf("the log is of another draft of version 1 (vector list %s…, this engine's is %s…): the engine that made it gives the same bytes, this one may not; reprint with that engine (%s)",
			l.Head.Draft[:min(16, len(l.Head.Draft))], frozen.Digest()[:16], l.MadeBy())
	}
	return nil
}

// Pin writes the inputs block of a recipe: the digest of every file it names.
// A pinned file whose digest changed is an error unless renew names it; then
// its line is renewed. Files that aren't in their places are looked for below the
// folders lookIn; elsewhere says in words where they lie. A recipe that was changed
// meanwhile stays as it is.
func Pin(ctx context.Context, file string, renew, lookIn []string) (pinned []lang.Pin, elsewhere []string, err error) {
	source, err := ReadRecipe(file)
	if err != nil {
		return nil, nil, err
	}
	rec, ds := lang.Parse(filepath.Base(file), source)
	if lang.HasErrors(ds) {
		return nil, nil, &Problems{source, ds}
	}
	folder := filepath.Dir(disk.Real(file))
	set := plan.NewInputs(ctx, folder, rec)
	if len(lookIn) > 0 {
		var where map[string]string
		if where, elsewhere, err = seekInputs(ctx, folder, "", rec, set, lookIn); err != nil {
			return nil, nil, err
		}
		set.Found = func(_ master.Role, p string) string { return where[p] }
	}
	var missing []string
	known := map[string]bool{}
	done := map[string]bool{}
	for _, n := range set.Named() {
		known[n.Text.Value] = true
		if done[n.Text.Value] {
			continue
		}
		done[n.Text.Value] = true
		sum, _, err := master.HashPath(ctx, set.Where(n.Role, n.Text.Value))
		if err != nil {
			if ctx.Err() != nil {
				return nil, nil, context.Cause(ctx)
			}
			missing = append(missing, fmt.Sprintf("%s (line %d): %v", n.Text.Value, n.Text.Line, disk.PlainError(err)))
			continue
		}
		if old, ok := set.Pins[n.Text.Value]; ok && old != sum.String() && !slices.Contains(renew, n.Text.Value) {
			return nil, nil, fmt.Errorf("%s isn't the file that was pinned (sha256 %s…, pinned %s…): put the old one back, or, if the change is wanted: platemark pin --renew %s %s",
				n.Text.Value, sum.String()[:16], old[:min(16, len(old))], disk.Typed(n.Text.Value), disk.Typed(file))
		}
		pinned = append(pinned, lang.Pin{Path: n.Text.Value, SHA256: sum.String()})
	}
	for _, r := range renew {
		if !known[r] {
			return nil, nil, fmt.Errorf("the recipe names no file %s; write the path as the recipe does", r)
		}
	}
	if len(missing) > 0 {
		return nil, nil, fmt.Errorf("can't pin: %s", strings.Join(missing, "; "))
	}
	text, err := lang.SetInputs(source, pinned)
	if err != nil {
		return nil, nil, err
	}
	return pinned, elsewhere, disk.Rewrite(file, source, text)
}

// Problems are diagnostics as an error.
type Problems struct {
	Source []byte
	Diags  []lang.Diagnostic
}

func (p *Problems) Error() string {
	return "the recipe has " + lang.Count(len(Errors(p.Diags)), "error")
}

// Errors lists the errors among diagnostics: line and summary.
func Errors(ds []lang.Diagnostic) (list []string) {
	for _, d := range ds {
		if d.Severity == lang.Error {
			list = append(list, fmt.Sprintf("line %d: %s", d.Span.Line, d.Summary))
		}
	}
	return list
}
