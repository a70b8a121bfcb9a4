package interp

import (
	"context"
	"encoding/hex"
	"fmt"
	"maps"
	"path/filepath"
	"reflect"
	"strings"

	"platemark/interp/audit"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/raster"
)

// readable reads the recorded recipe and compares what needs no input: a
// *LogError says which record is wrong. Another error says that this engine
// can't tell, since the log is of another draft.
func readable(l *audit.Log) error {
	if err := speaks(l); err != nil {
		if l.Head.Language != 1 || l.SameEngine() {
			return l.Wrong(1, "%v", err)
		}
		return err
	}
	var first *lang.Print
	named, pins := map[plan.InputName]bool{}, map[string]string{}
	for i, r := range l.Recipes() {
		rec, ds := lang.Parse(filepath.Base(l.Path), []byte(r.Text))
		if bad := Errors(ds); bad != nil {
			return l.Wrong(2+i, "the recorded recipe has errors: its %s", bad[0])
		}
		pr := rec.Print(r.Print)
		switch {
		case rec.Version != l.Head.Language || rec.Draft != (l.Head.Draft != ""):
			return l.Wrong(1, "the log is of %s, and its recipe says another version", l.Language())
		case pr == nil:
			return l.Wrong(2+i, "the recorded recipe has no print %s", r.Print)
		case l.Others != nil && (pr.Sheet == nil || r.Print != l.Recipe.Print):
			return l.Wrong(2+i, "only sheets of one name are made of several recipes")
		}
		number := i + 1
		if i == 0 {
			number, first = 0, pr
		}
		set := plan.NewInputs(context.Background(), "", rec)
		for _, n := range set.Named() {
			path := plan.NameOf(number, n.Text.Value)
			named[plan.InputName{Role: n.Role, Path: path}] = true
			if pin, ok := set.Pins[n.Text.Value]; ok {
				pins[path] = pin
			}
		}
	}
	for i, in := range l.Inputs {
		if !named[plan.InputName{Role: master.Role(in.Role), Path: in.Path}] {
			return l.Wrong(l.InputLine(i), "the recorded recipe names no %s %s", in.Role, in.Path)
		}
		if pin, ok := pins[in.Path]; ok && pin != in.SHA256 {
			return l.Wrong(l.InputLine(i), "%s has the sha256 %s… here, and the recorded recipe pins %s…", in.Path, in.SHA256[:16], audit.BriefSum(pin))
		}
	}
	if l.File.Name != first.Save.Path.Value {
		return l.Wrong(len(l.Lines)-1, "the print file is %s here, and the recorded recipe saves %s", l.File.Name, first.Save.Path.Value)
	}
	return nil
}

// Fits fails if the recorded recipe, planned with the recorded inputs at where, by
// their paths as written, doesn't come to what a log records; no picture is
// computed.
func Fits(ctx context.Context, l *audit.Log, where map[string]string) error {
	if err := readable(l); err != nil {
		return err
	}
	return planAgain(ctx, l, where)
}

// planAgain plans the recorded recipe with the recorded inputs, found at where
// by their paths, and compares what it comes to with every record, but for the
// pictures themselves: a *LogError says which record is wrong.
func planAgain(ctx context.Context, l *audit.Log, where map[string]string) error {
	known := map[plan.InputName]raster.Sum{}
	for _, in := range l.Inputs {
		known[plan.InputName{Role: master.Role(in.Role), Path: in.Path}] = sumFrom(in.SHA256)
	}
	j, err := recorded(ctx, l, where, LoadOptions{open: master.Glance, known: known})
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		return l.Wrong(2, "the recorded recipe: %v", err)
	}
	defer j.Close()
	if j.Failed() {
		return l.Wrong(2, "the recorded recipe can't be planned with the recorded inputs: %s", strings.Join(j.Errors(), "; "))
	}
	if m := misfitOf(l, j); m != nil {
		return l.Wrong(m.record, "%s", m.what)
	}
	return nil
}

// A misfit is a record that isn't what its recipe and inputs come to.
type misfit struct {
	record  int // line of the log
	line    int // of the recipe, 0 where it is no step's
	what    string
	profile bool // what differs is a profile
}

// stepsOf is what a log says that the steps of its plan came to, by their keys.
func stepsOf(l *audit.Log, p *plan.Print) map[raster.Sum]plan.Result {
	of := map[raster.Sum]plan.Result{}
	for i, k := range p.Steps() {
		if i < len(l.Steps) {
			r := plan.ResultOf(p.Nodes[k], bandsOf(l.Steps[i]))
			if m := p.Lack(k); m != nil {
				r.Measured = l.Steps[i].Args[m.Param]
			}
			of[p.Nodes[k].Key] = r
		}
	}
	return of
}

// misfitOf finds the first record that a job's only plan doesn't give. It computes
// no picture: the records are written again with the log's own digests of bands
// and measured arguments.
func misfitOf(l *audit.Log, j *Job) *misfit {
	p := j.Plans[0]
	of := stepsOf(l, p)
	results := make([]plan.Result, len(p.Nodes))
	for k, n := range p.Nodes {
		results[k] = of[n.Key]
		if n.Input == nil {
			continue
		}
		for _, in := range l.Inputs {
			if in.Role == string(n.Input.Role) && in.Path == n.Input.Path {
				results[k].Sum = sumFrom(in.Picture)
			}
		}
	}
	c := plan.Records(p, j.Recipe.Version, j.Recipe.Draft, j.Source, results, l.File.Size, sumFrom(l.File.SHA256))
	now, err := c.Log()
	if err != nil {
		return &misfit{record: 1, what: err.Error()}
	}
	for i, in := range l.Inputs {
		if i == len(now.Inputs) {
			return &misfit{record: l.InputLine(i), what: fmt.Sprintf("the print doesn't need the %s %s", in.Role, in.Path)}
		}
		if what := differs(in, now.Inputs[i]); what != "" {
			return &misfit{record: l.InputLine(i), what: fmt.Sprintf("the %s %s: %s", in.Role, in.Path, what)}
		}
	}
	next := l.InputLine(len(l.Inputs))
	if n := len(l.Inputs); n < len(now.Inputs) {
		return &misfit{record: next, what: fmt.Sprintf("the record of the %s %s is missing before this line", now.Inputs[n].Role, now.Inputs[n].Path)}
	}
	for i, s := range l.Steps {
		if i == len(now.Steps) {
			return &misfit{record: next + i, line: s.Line, what: fmt.Sprintf("%s is not one of the recorded recipe, which has %d", stepName(l, s), i)}
		}
		if m := stepMisfit(l, s, now.Steps[i]); m != nil {
			m.record = next + i
			return m
		}
		if lack := p.Lack(p.Steps()[i]); lack != nil {
			m := &misfit{record: next + i, line: s.Line}
			v, ok := s.Args[lack.Param]
			if !ok {
				m.what = fmt.Sprintf("%s has nothing for %s, which is measured", stepName(l, s), lack.Param)
				return m
			}
			if _, err := lack.Bind(v); err != nil {
				m.what = fmt.Sprintf("%s was measured wrongly: %v", stepName(l, s), err)
				return m
			}
		}
	}
	next += len(l.Steps)
	if n := len(l.Steps); n < len(now.Steps) {
		return &misfit{record: next, what: fmt.Sprintf("the recorded recipe has %s, the log %d", lang.Count(len(now.Steps), "step"), n)}
	}
	f, g := l.File, now.File
	switch {
	case f.Encoder != g.Encoder:
		return &misfit{record: next, what: fmt.Sprintf("the file would be written by encoder version %d, the log has version %d", g.Encoder, f.Encoder)}
	case !maps.Equal(f.Args, g.Args):
		return &misfit{record: next, what: "the file would be written with " + differentArgs(f.Args, g.Args)}
	case f.Mark != g.Mark:
		return &misfit{record: next, what: fmt.Sprintf("the recorded recipe and inputs give the mark %s, the log says %s", g.Mark[:12], f.Mark[:12])}
	}
	if what := differs(f, g); what != "" {
		return &misfit{record: next, what: "the print file: " + what}
	}
	return nil
}

// stepMisfit holds a recorded step against the one that the plan has now.
func stepMisfit(l *audit.Log, a, g audit.StepRecord) *misfit {
	m := &misfit{line: a.Line}
	switch {
	case a.Line != g.Line:
		m.what = fmt.Sprintf("%s would be a step of line %d", stepName(l, a), g.Line)
	case a.Operation != g.Operation || a.Version != g.Version:
		m.what = fmt.Sprintf("%s is %s version %d now, recorded %s version %d", stepName(l, a), g.Operation, g.Version, a.Operation, a.Version)
	case a.Args["profile"] != g.Args["profile"] || a.Profile != g.Profile:
		m.profile = true
		m.what = fmt.Sprintf("%s has another profile: sha256 %s…, recorded %s…", stepName(l, a), audit.BriefSum(g.Profile), audit.BriefSum(a.Profile))
	case !maps.Equal(a.Args, g.Args):
		m.what = fmt.Sprintf("%s is planned with %s", stepName(l, a), differentArgs(a.Args, g.Args))
	case a.Width != g.Width || a.Height != g.Height:
		m.what = fmt.Sprintf("%s makes %d x %d px now, recorded %d x %d px", stepName(l, a), g.Width, g.Height, a.Width, a.Height)
	case len(a.Bands) != (g.Height+raster.BandRows-1)/raster.BandRows:
		m.what = fmt.Sprintf("%s has %d digests of bands, and %d rows", stepName(l, a), len(a.Bands), g.Height)
	default:
		what := differs(a, g)
		if what == "" {
			return nil
		}
		m.what = stepName(l, a) + " " + what
	}
	return m
}

// differs names the first field in which a record isn't the one that the plan
// gives now, "" where there is none.
func differs(was, is any) string {
	a, b := reflect.ValueOf(was), reflect.ValueOf(is)
	for i := range a.NumField() {
		name, _, _ := strings.Cut(a.Type().Field(i).Tag.Get("json"), ",")
		x, y := a.Field(i).Interface(), b.Field(i).Interface()
		if name == "prev" || reflect.DeepEqual(x, y) {
			continue
		}
		if a.Field(i).Kind() == reflect.Slice {
			return "has other " + name
		}
		return fmt.Sprintf("has the %s %s, and the recorded recipe gives %s", name, audit.BriefSum(fmt.Sprint(x)), audit.BriefSum(fmt.Sprint(y)))
	}
	return ""
}

func bandsOf(s audit.StepRecord) []raster.Sum {
	var bands []raster.Sum
	for _, b := range s.Bands {
		bands = append(bands, sumFrom(b))
	}
	return bands
}

// sumFrom is a digest from its checked text.
func sumFrom(s string) (sum raster.Sum) {
	hex.Decode(sum[:], []byte(s)) // of another length for an input without a picture
	return sum
}
