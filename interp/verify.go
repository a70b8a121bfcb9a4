package interp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/interp/sign"
	"platemark/lang"
)

// Verdict is what verifying one log came to.
type Verdict struct {
	Log  string `json:"log"`
	File string `json:"file"` // the print's path
	Mark string `json:"mark"`
	// OK says that all is there and as recorded; State says what stands against
	// it: Wrong where something differs, else Absent where a file isn't there.
	OK    bool         `json:"ok"`
	State FindingState `json:"state"`
	Lines []Finding    `json:"findings"`
}

// FindingState says what a line of a verdict is.
type FindingState string

const (
	Fine   FindingState = "ok"
	Wrong  FindingState = "wrong"
	Absent FindingState = "absent"
	// Noted is what verifying didn't look at, and what it found beside.
	Noted FindingState = "note"
	// NoLog is a verdict's state only: the file isn't an audit log.
	NoLog FindingState = "no log"
)

// Finding is one line of a verdict.
type Finding struct {
	State FindingState `json:"state"`
	What  string       `json:"what"`
}

// Say adds a line, which counts against the verdict where it is Wrong or Absent.
func (v *Verdict) Say(is FindingState, format string, args ...any) {
	v.Lines = append(v.Lines, Finding{is, fmt.Sprintf(format, args...)})
	if is == Wrong || is == Absent && v.State != Wrong {
		v.OK, v.State = false, is
	}
}

// VerifyOptions say how to verify.
type VerifyOptions struct {
	// Strict counts a recipe that would now make another print as a difference.
	Strict bool
	// LookIn are folders in which inputs and prints are found by their digests
	// that aren't where they were.
	LookIn []string
	// Whose says who must have signed the log; nil asks for nobody.
	Whose *sign.Whose
}

// RecipeState says how the recipe beside a log stands to it.
type RecipeState int

const (
	RecipeSame    RecipeState = iota // the very text
	RecipeEdited                     // other text, same mark
	RecipeAnother                    // another print now
	RecipeMissing
	RecipeUnread // something stands there that can't be read
	RecipeBroken
)

// Verify checks a log without computing a picture: its chain, its inputs, its
// print file, and, with the inputs at hand, that the recorded recipe still
// comes to what the records say.
func Verify(ctx context.Context, path string, o VerifyOptions) (*Verdict, error) {
	v := &Verdict{Log: path, OK: true, State: Fine}
	l, err := audit.ReadLog(path)
	if err != nil {
		var le *audit.LogError
		if !errors.As(err, &le) {
			return nil, err
		}
		v.wrong(le)
		if le.Line == 0 {
			v.State = NoLog
		}
		return v, nil
	}
	v.Mark = l.File.Mark
	v.Say(Fine, "the chain of %d records holds", len(l.Lines))
	v.Signature("the log", Signature(l, o.Whose))
	if l.Run.Failure != "" {
		v.Say(Wrong, "this is the log of a build that failed: %s", l.Run.Failure)
		return v, nil
	}
	if mark := audit.NamedMark(filepath.Base(path), l.Run.Out); mark != "" && mark != l.File.Mark[:12] {
		v.Say(Wrong, "the log's name bears the mark %s, its line %d the mark %s: one of them was changed", mark, len(l.Lines)-1, l.File.Mark[:12])
	}
	v.File = filepath.Join(filepath.Dir(path), l.Run.Out)
	inputs := l.Seek()
	file := &audit.Sought{Places: []string{v.File}, Size: l.File.Size, Sum: l.File.SHA256}
	if err := audit.Find(ctx, append(slices.Clone(inputs), file), o.LookIn); err != nil {
		return nil, err
	}
	for i, in := range l.Inputs {
		v.found(fmt.Sprintf("the %s %s", in.Role, in.Path), inputs[i], "it lay at "+l.Run.Found[in.Path]+"; `--look-in FOLDER` finds it by its digest")
	}
	later := ""
	if file.At == "" && file.Is != nil {
		later = audit.LaterBuild(path, v.File, file.Is.String())
	}
	if later != "" {
		v.Say(Wrong, "the print file %s is another build's now: %s records it", l.Run.Out, later)
	} else {
		v.found("the print file "+l.Run.Out, file, "`platemark reprint` makes it again, `--look-in FOLDER` finds it by its digest")
	}
	if err := v.Planned(ctx, l, inputs); err != nil {
		return nil, err
	}
	v.recipes(ctx, l, o.Strict)
	if n := len(l.Steps); n > 0 {
		v.Say(Noted, "the pictures of %s were not computed again: `platemark reprint` does", lang.Count(n, "step"))
	}
	return v, nil
}

// Signature looks for the signature beside a log. It counts as of the time that
// the log tells of.
func Signature(l *audit.Log, who *sign.Whose) sign.Verdict {
	began, _ := time.Parse(time.RFC3339, l.Run.Began) // else before all times
	return sign.Look(l.Path, sign.Log, bytes.NewReader(l.Bytes()), who, began)
}

// Signature says what the signature of what is verified came to.
func (v *Verdict) Signature(what string, s sign.Verdict) {
	is := Fine
	switch {
	case s.Err != nil && !s.Signed:
		is = Absent
	case s.Err != nil:
		is = Wrong
	case !s.Signed:
		is = Noted
	}
	v.Say(is, "%s", s.Of(what))
}

func (v *Verdict) wrong(e *audit.LogError) {
	if e.Line > 0 {
		v.Say(Wrong, "line %d: %s", e.Line, e.What)
	} else {
		v.Say(Wrong, "%s", e.What)
	}
}

// found says what became of a sought file; mend is what helps if it is absent.
func (v *Verdict) found(name string, s *audit.Sought, mend string) {
	switch {
	case s.At == "" && s.Is != nil:
		v.Say(Wrong, "%s was changed: %d bytes, sha256 %s…, recorded %d bytes, %s…", name, s.IsSize, s.Is.String()[:16], s.Size, s.Sum[:16])
	case s.At == "" && s.Err != nil:
		v.Say(Wrong, "%s can't be read: %v", name, s.Err)
	case s.At == "":
		v.Say(Absent, "%s isn't there (%s)", name, mend)
	case slices.Contains(s.Places, s.At):
		v.Say(Fine, "%s is the recorded one: sha256 %s…", name, s.Sum[:16])
	default:
		v.Say(Fine, "%s is the recorded one, and lies at %s", name, s.At)
	}
}

// Planned says whether the recorded recipe comes to what the records say.
func (v *Verdict) Planned(ctx context.Context, l *audit.Log, inputs []*audit.Sought) error {
	var le *audit.LogError
	err := readable(l)
	switch {
	case errors.As(err, &le):
		v.wrong(le)
		return nil
	case err != nil:
		v.Say(Noted, "line 1: %v; its plan was not made again", err)
		return nil
	}
	where := map[string]string{}
	for i, in := range l.Inputs {
		if inputs[i].At == "" {
			v.Say(Noted, "the recorded recipe was not planned again: that needs every input")
			return nil
		}
		where[in.Path] = inputs[i].At
	}
	err = planAgain(ctx, l, where)
	switch {
	case errors.As(err, &le):
		v.wrong(le)
	case err != nil:
		return err
	default:
		v.Say(Fine, "the recorded recipe, planned again, gives this mark, these steps and these records")
	}
	return nil
}

// recipes says how the recipes beside the log stand to it.
func (v *Verdict) recipes(ctx context.Context, l *audit.Log, strict bool) {
	against, missing := Noted, Noted
	if strict {
		against, missing = Wrong, Absent
	}
	names := append([]string{l.Run.Recipe}, l.Run.Others...)
	state, lines := recipeState(ctx, l, names)
	for i, name := range names {
		switch state[i] {
		case RecipeSame:
			v.Say(Fine, "the recipe %s is the recorded one", name)
		case RecipeEdited:
			v.Say(Fine, "the recipe %s was edited since, same mark: it still makes this print", name)
		case RecipeAnother:
			v.Say(against, "the recipe %s was edited since and makes another print now:", name)
			for _, s := range lines[i] {
				v.Say(Noted, "    %s", s)
			}
		case RecipeMissing:
			v.Say(missing, "the recipe %s isn't there; the log holds its text", name)
		case RecipeUnread:
			v.Say(against, "the recipe %s can't be read: %s; the log holds its text", name, lines[i][0])
		case RecipeBroken:
			v.Say(against, "the recipe %s was edited since and has errors now: %s", name, strings.Join(lines[i], "; "))
		}
	}
}

// recipeState compares the recipes of these names, beside a log, with the recorded
// ones. Of those that were edited it says what they make together.
func recipeState(ctx context.Context, l *audit.Log, names []string) ([]RecipeState, [][]string) {
	states, lines := make([]RecipeState, len(names)), make([][]string, len(names))
	var now []recipeText
	edited := false
	for i, r := range l.Recipes() {
		t := recipeText{folder: filepath.Dir(l.Path), source: []byte(r.Text)}
		states[i] = RecipeMissing
		if at := l.There(names[i]); at != "" {
			b, err := ReadRecipe(at)
			if err != nil {
				states[i], lines[i] = RecipeUnread, []string{errors.Unwrap(err).Error()}
			} else {
				t, states[i] = recipeText{at, filepath.Dir(disk.Target(at)), b}, RecipeSame
			}
		}
		if string(t.source) != r.Text {
			states[i], lines[i], edited = RecipeEdited, changedLines(r.Text, string(t.source)), true
		}
		now = append(now, t)
	}
	if !edited {
		return states, lines
	}
	j, err := loadTexts(ctx, now, LoadOptions{Prints: []string{l.Recipe.Print}, NoOutputs: true})
	makes, why := RecipeAnother, []string(nil)
	if err != nil { // the print has gone
		why = []string{err.Error()}
	} else {
		defer j.Close()
		if bad := j.Errors(); bad != nil {
			makes, why = RecipeBroken, bad[:1]
		} else if len(j.Plans) == 1 && j.Plans[0].Mark.String() == l.File.Mark {
			makes = RecipeEdited
		}
	}
	for i, s := range states {
		if s == RecipeEdited {
			if makes == RecipeBroken { // what changed says no more than the error
				lines[i] = nil
			}
			states[i], lines[i] = makes, append(slices.Clone(why), lines[i]...)
		}
	}
	return states, lines
}

// changedLines lists the lines that one text has and the other hasn't, by the
// longest common subsequence.
func changedLines(old, new string) []string {
	a, b := plan.LinesOf(old), plan.LinesOf(new)
	// Common ends first, so that the table stays small.
	lo := 0
	for lo < len(a) && lo < len(b) && a[lo] == b[lo] {
		lo++
	}
	ea, eb := len(a), len(b)
	for ea > lo && eb > lo && a[ea-1] == b[eb-1] {
		ea, eb = ea-1, eb-1
	}
	x, y := a[lo:ea], b[lo:eb]
	if len(x)*len(y) > 4_000_000 {
		return []string{fmt.Sprintf("lines %d to %d (recorded) are lines %d to %d now", lo+1, ea, lo+1, eb)}
	}
	cost := func(i, k int) int {
		if x[i] == y[k] {
			return 0
		}
		return len(x) + len(y) + 1 // more than leaving all out
	}
	var out []string
	for i, k := range Align(len(x), len(y), cost, func(int, int) int { return 1 }) {
		switch {
		case k < 0:
			out = append(out, fmt.Sprintf("recorded %d: %s", lo+i+1, strings.TrimSpace(x[i])))
		case i < 0:
			out = append(out, fmt.Sprintf("now %d:      %s", lo+k+1, strings.TrimSpace(y[k])))
		}
	}
	return out
}
