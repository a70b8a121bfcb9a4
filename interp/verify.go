package interp

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"platemark/interp/disk"
	"platemark/lang"
)

// Verdict is what verifying one log came to.
type Verdict struct {
	Log   string    `json:"log"`
	File  string    `json:"file"` // the print's path
	Mark  string    `json:"mark"`
	OK    bool      `json:"ok"`
	Lines []Finding `json:"findings"`
}

// Finding is one line of a verdict.
type Finding struct {
	OK   bool   `json:"ok"`
	What string `json:"what"`
}

func (v *Verdict) say(ok bool, format string, args ...any) {
	v.Lines = append(v.Lines, Finding{ok, fmt.Sprintf(format, args...)})
	v.OK = v.OK && ok
}

// RecipeState says how the recipe beside a log stands to it.
type RecipeState int

const (
	RecipeSame    RecipeState = iota // the very text
	RecipeEdited                     // other text, same mark
	RecipeAnother                    // another print now
	RecipeMissing
	RecipeBroken
)

// Verify checks a log's chain, its inputs and its print file. With strict, a
// recipe that would now make another print counts as a difference too.
func Verify(ctx context.Context, path string, strict bool) (*Verdict, error) {
	v := &Verdict{Log: path, OK: true}
	l, err := ReadLog(path)
	if err != nil {
		var le *LogError
		if errors.As(err, &le) && le.Line > 0 {
			v.say(false, "line %d: %s", le.Line, le.What)
		} else if errors.As(err, &le) {
			v.say(false, "%s", le.What)
		} else {
			v.say(false, "%v", err)
		}
		return v, nil
	}
	v.Mark = l.File.Mark
	v.say(true, "the chain of %d records holds", len(l.Lines))
	folder := filepath.Dir(path)
	if l.Run.Failure != "" {
		v.say(false, "this is the log of a build that failed: %s", l.Run.Failure)
		return v, nil
	}
	for _, in := range l.Inputs {
		found := l.Run.Found[in.Path]
		where := filepath.Join(folder, filepath.FromSlash(found))
		sum, _, err := HashPath(ctx, where)
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		switch {
		case errors.Is(err, fs.ErrNotExist):
			v.say(false, "the %s %s is gone from %s (`reprint --look-in FOLDER` finds it by its digest)", in.Role, in.Path, found)
		case err != nil:
			v.say(false, "the %s %s can't be read: %v", in.Role, in.Path, err)
		case sum.String() != in.SHA256:
			v.say(false, "the %s %s was changed: sha256 %s…, recorded %s…", in.Role, in.Path, sum.String()[:16], in.SHA256[:16])
		default:
			v.say(true, "the %s %s is the recorded one", in.Role, in.Path)
		}
	}
	v.File = filepath.Join(folder, filepath.FromSlash(l.Run.Out))
	sum, size, err := HashPath(ctx, v.File)
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		v.say(false, "the print file %s is gone (`platemark reprint` makes it again)", l.Run.Out)
	case err != nil:
		v.say(false, "the print file %s can't be read: %v", l.Run.Out, err)
	case sum.String() != l.File.SHA256 && laterBuild(path, v.File, sum.String()) != "":
		v.say(false, "the print file %s is another build's now: %s records it", l.Run.Out, laterBuild(path, v.File, sum.String()))
	case sum.String() != l.File.SHA256:
		v.say(false, "the print file %s was changed: %d bytes, sha256 %s…, recorded %d bytes, %s…", l.Run.Out, size, sum.String()[:16], l.File.Size, l.File.SHA256[:16])
	default:
		v.say(true, "the print file %s is the recorded one: sha256 %s", l.Run.Out, sum)
	}
	state, lines := recipeState(ctx, l)
	switch state {
	case RecipeSame:
		v.say(true, "the recipe %s is the recorded one", l.Run.Recipe)
	case RecipeEdited:
		v.say(true, "the recipe %s was edited since, same mark: it still makes this print", l.Run.Recipe)
	case RecipeAnother:
		v.say(!strict, "the recipe %s was edited since and makes another print now:", l.Run.Recipe)
		for _, s := range lines {
			v.say(true, "    %s", s)
		}
	case RecipeMissing:
		v.say(!strict, "the recipe %s isn't there; the log holds its text", l.Run.Recipe)
	case RecipeBroken:
		v.say(!strict, "the recipe %s was edited since and has errors now: %s", l.Run.Recipe, strings.Join(lines, "; "))
	}
	return v, nil
}

// laterBuild is the name of another log beside a print file that records the
// file as it is, "" where there is none.
func laterBuild(log, file, sum string) string {
	for _, p := range disk.Beside(file+".", ".audit.jsonl") {
		if filepath.Base(p) == filepath.Base(log) {
			continue
		}
		if l, err := ReadLog(p); err == nil && l.File.SHA256 == sum {
			return filepath.Base(p)
		}
	}
	return ""
}

// recipeState compares the recipe beside a log with the recorded one.
func recipeState(ctx context.Context, l *Log) (RecipeState, []string) {
	if l.Run.Recipe == "" {
		return RecipeMissing, nil
	}
	path := filepath.Join(filepath.Dir(l.Path), filepath.FromSlash(l.Run.Recipe))
	b, err := disk.Read(path, maxRecipe)
	if err != nil {
		return RecipeMissing, nil
	}
	if string(b) == l.Recipe.Text {
		return RecipeSame, nil
	}
	lines := changedLines(l.Recipe.Text, string(b))
	j, err := Load(ctx, path, LoadOptions{Prints: []string{l.Recipe.Print}, NoOutputs: true})
	if err != nil { // the print has gone
		return RecipeAnother, append([]string{err.Error()}, lines...)
	}
	defer j.Close()
	if j.Failed() {
		for _, d := range j.Diags {
			if d.Severity == lang.Error {
				return RecipeBroken, []string{fmt.Sprintf("line %d: %s", d.Span.Line, d.Summary)}
			}
		}
	}
	if len(j.Plans) == 1 && j.Plans[0].Mark.String() == l.File.Mark {
		return RecipeEdited, lines
	}
	return RecipeAnother, lines
}

// changedLines lists the lines that one text has and the other hasn't, by the
// longest common subsequence.
func changedLines(old, new string) []string {
	a, b := splitLines(old), splitLines(new)
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
	t := make([][]int, len(x)+1)
	for i := range t {
		t[i] = make([]int, len(y)+1)
	}
	for i := len(x) - 1; i >= 0; i-- {
		for k := len(y) - 1; k >= 0; k-- {
			if x[i] == y[k] {
				t[i][k] = t[i+1][k+1] + 1
			} else {
				t[i][k] = max(t[i+1][k], t[i][k+1])
			}
		}
	}
	var out []string
	i, k := 0, 0
	for i < len(x) || k < len(y) {
		switch {
		case i < len(x) && k < len(y) && x[i] == y[k]:
			i, k = i+1, k+1
		case k == len(y) || i < len(x) && t[i+1][k] >= t[i][k+1]:
			out = append(out, fmt.Sprintf("recorded %d: %s", lo+i+1, strings.TrimSpace(x[i])))
			i++
		default:
			out = append(out, fmt.Sprintf("now %d:      %s", lo+k+1, strings.TrimSpace(y[k])))
			k++
		}
	}
	return out
}

func splitLines(s string) []string {
	return strings.Split(strings.TrimSuffix(strings.ReplaceAll(s, "\r\n", "\n"), "\n"), "\n")
}
