package interp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"platemark/interp/audit"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/ops/raster"
)

// Causes of a difference, as far as the log can tell.
const (
	otherInput   = "another input"
	otherProfile = "another profile"
	otherEngine  = "another engine"
	changedLog   = "a changed log"
)

// A Difference is a reprint that didn't come to what the log records. Nothing
// stands under the print's name then.
type Difference struct {
	What  string // what differs, from where on, by how much
	Cause string // otherInput, otherProfile, otherEngine or changedLog
	Why   string // what speaks for the cause
	// Line is the recipe line of the step that differs, 0 where it is none.
	Line int
}

func (d *Difference) Error() string {
	s := d.What + "; the likely cause is " + d.Cause
	if d.Why != "" {
		s += ": " + d.Why
	}
	return s
}

// causeIn is why records may differ where the recipe and the inputs are the
// recorded ones, by the engine that the log names.
func causeIn(l *audit.Log) (cause, why string) {
	is := audit.ThisEngine()
	if l.SameEngine() {
		return changedLog, "the log names an engine of the same name (" + is + "); if both are sound, a machine's memory or disk is faulty: run it again, and on another machine"
	}
	return otherEngine, "the log was made by " + l.MadeBy() + ", this is " + is + "; or the log was changed"
}

// stepName names a step by its recipe line.
func stepName(l *audit.Log, s audit.StepRecord) string {
	n, of := max(0, s.Recipe-1), ""
	if n >= len(l.Recipes()) {
		return "the step " + s.Operation
	}
	if n > 0 {
		of = fmt.Sprintf(" of recipe %d", s.Recipe)
	}
	lines := plan.LinesOf(l.Recipes()[n].Text)
	if s.Line < 1 || s.Line > len(lines) {
		return "the step " + s.Operation
	}
	return fmt.Sprintf("the step of line %d%s (%s), `%s`,", s.Line, of, s.Operation, lines.Words(s.Line))
}

// Locate finds every input of a log in its place or below folders. where says by
// the path as written where each lies, elsewhere in words which weren't in their
// places.
func Locate(ctx context.Context, l *audit.Log, folders []string) (where map[string]string, elsewhere []string, err error) {
	list := l.Seek()
	if err := audit.Find(ctx, list, folders); err != nil {
		return nil, nil, err
	}
	if err := missingInputs(l, list); err != nil {
		return nil, nil, err
	}
	where = map[string]string{}
	for i, in := range l.Inputs {
		s := list[i]
		if where[in.Path] = s.At; !slices.Contains(s.Places, s.At) {
			elsewhere = append(elsewhere, fmt.Sprintf("the %s %s was found at %s", in.Role, in.Path, s.At))
		}
	}
	return where, elsewhere, nil
}

// missingInputs tells of the inputs that weren't found; nil where all were. Where
// another file stands in the place of one, that is the difference.
func missingInputs(l *audit.Log, list []*audit.Sought) error {
	var gone, there []string
	d := &Difference{Why: "put the recorded file back, or say where it lies: --look-in FOLDER finds it by its digest"}
	for i, in := range l.Inputs {
		s, name := list[i], in.Role+" "+in.Path
		switch {
		case s.At != "":
			there = append(there, fmt.Sprintf("the %s is at %s", name, s.At))
		case s.Is != nil:
			d.Cause = otherInput
			if in.Role == string(master.RoleProfile) {
				d.Cause = otherProfile
			}
			bytes := fmt.Sprintf("%d bytes as recorded", s.IsSize)
			if s.IsSize != s.Size {
				bytes = fmt.Sprintf("%d bytes, recorded %d", s.IsSize, s.Size)
			}
			gone = append(gone, fmt.Sprintf("the %s isn't the recorded file: sha256 %s…, recorded %s… (%s)", name, s.Is.String()[:16], in.SHA256[:16], bytes))
		default:
			gone = append(gone, fmt.Sprintf("the %s (%d bytes, sha256 %s…) was not found, neither where it was nor by its digest", name, in.Size, in.SHA256[:16]))
		}
	}
	if gone == nil {
		return nil
	}
	d.What = strings.Join(append(gone, there...), ";\n  ")
	if d.Cause == "" {
		return errors.New(d.What + "\n--look-in FOLDER names more places")
	}
	return d
}

// differenceOf tells a record that the recorded recipe and inputs don't give.
func differenceOf(l *audit.Log, m *misfit) *Difference {
	d := &Difference{What: fmt.Sprintf("line %d of the log: %s", m.record, m.what), Line: m.line}
	d.Cause, d.Why = causeIn(l)
	if m.profile && !l.SameEngine() {
		d.Cause, d.Why = otherProfile, "a space that the recipe names has other bytes in this engine; "+d.Why
	}
	return d
}

// differentArgs says the first argument that differs.
func differentArgs(was, is map[string]string) string {
	all := map[string]string{}
	maps.Copy(all, was)
	maps.Copy(all, is)
	say := func(m map[string]string, n string) string {
		if v, ok := m[n]; ok {
			return v
		}
		return "nothing"
	}
	for _, n := range slices.Sorted(maps.Keys(all)) {
		if say(was, n) != say(is, n) {
			return fmt.Sprintf("%s %s, recorded %s", n, say(is, n), say(was, n))
		}
	}
	return "the recorded arguments"
}

// sameRecords says whether a log has the very records of c before its run.
func sameRecords(want *audit.Log, c *audit.Chain) bool {
	return slices.EqualFunc(c.Lines, want.Lines[:len(want.Lines)-1], bytes.Equal)
}

// compare holds the new records against the recorded ones. The first that
// differs is told by its step and rows; made is the new print file, not yet
// named, of size bytes.
func compare(ctx context.Context, want *audit.Log, c *audit.Chain, made *os.File, size int64) error {
	n := len(want.Lines) - 1 // without the run record
	if sameRecords(want, c) {
		return nil
	}
	got, err := c.Log()
	if err != nil {
		return err
	}
	d := &Difference{}
	d.Cause, d.Why = causeIn(want)
	for i := range min(len(want.Inputs), len(got.Inputs)) {
		a, g := want.Inputs[i], got.Inputs[i]
		if a.SHA256 == g.SHA256 && a.Picture != g.Picture {
			d.What = fmt.Sprintf("the %s %s has the recorded bytes but was decoded to other samples", a.Role, a.Path)
			return d
		}
	}
	for i := range min(len(want.Steps), len(got.Steps)) {
		a, g := want.Steps[i], got.Steps[i]
		if a.Picture == g.Picture && maps.Equal(a.Args, g.Args) {
			continue
		}
		d.Line = a.Line
		if !maps.Equal(a.Args, g.Args) {
			d.What = fmt.Sprintf("%s measured %s; every input and every picture before it is identical", stepName(want, a), differentArgs(a.Args, g.Args))
			return d
		}
		d.What = fmt.Sprintf("%s came out different: %s", stepName(want, a), differentRows(a, g))
		d.What += "; every input and every picture before it is identical"
		if a.Profile != g.Profile {
			d.Cause = otherProfile
		}
		if more := atThePrint(ctx, want, made, size); more != "" {
			d.What += "; " + more
		}
		return d
	}
	switch {
	case want.File.SHA256 != got.File.SHA256:
		d.What = fmt.Sprintf("every picture is identical, but the print file differs (sha256 %s…, recorded %s…): another encoder", audit.BriefSum(got.File.SHA256), audit.BriefSum(want.File.SHA256))
		if more := atThePrint(ctx, want, made, size); more != "" {
			d.What += "; " + more
		}
	default:
		d.What = "the log would have another number of records"
		for i := range min(n, len(c.Lines)) {
			if !bytes.Equal(c.Lines[i], want.Lines[i]) {
				d.What = fmt.Sprintf("the print file is identical, but record %d of the log would read differently", i+1)
				break
			}
		}
	}
	return d
}

// differentRows names the rows under the band digests that differ: a log holds
// no finer digests.
func differentRows(a, g audit.StepRecord) string {
	if a.Width != g.Width || a.Height != g.Height {
		return fmt.Sprintf("%d x %d px, recorded %d x %d px", g.Width, g.Height, a.Width, a.Height)
	}
	first, last, n := -1, -1, 0
	for i := range min(len(a.Bands), len(g.Bands)) {
		if a.Bands[i] != g.Bands[i] {
			if first < 0 {
				first = i
			}
			last = i
			n++
		}
	}
	if first < 0 {
		return "its profile differs, its samples don't"
	}
	y0, y1 := first*raster.BandRows, min((first+1)*raster.BandRows, a.Height)-1
	rows := 0
	for i := range a.Bands {
		if i < len(g.Bands) && a.Bands[i] != g.Bands[i] {
			rows += min((i+1)*raster.BandRows, a.Height) - i*raster.BandRows
		}
	}
	return fmt.Sprintf("the first row that differs is one of rows %d to %d, and at most %d of its %d rows differ, in %d of its %d bands of %d, the last up to row %d",
		y0, y1, rows, a.Height, n, len(a.Bands), raster.BandRows, min((last+1)*raster.BandRows, a.Height)-1)
}
