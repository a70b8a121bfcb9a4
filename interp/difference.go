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

	"platemark/interp/master"
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

// madeBy names the engine that wrote a log, and where.
func (l *Log) madeBy() string {
	return engineName(l.Run.Engine, l.Run.Revision, l.Run.Toolchain)
}

func engineName(version, revision, toolchain string) string {
	s := "platemark " + version
	if revision != "" {
		s += ", revision " + revision[:min(12, len(revision))]
	}
	return s + ", " + toolchain
}

// sameEngine says whether the log names an engine of this one's name.
func (l *Log) sameEngine() bool {
	version, revision, toolchain, modules := Engine()
	r := l.Run
	return r.Engine == version && r.Revision == revision && r.Toolchain == toolchain && slices.Equal(r.Modules, modules)
}

// cause is why records may differ where the recipe and the inputs are the
// recorded ones, by the engine that the log names.
func (l *Log) cause() (cause, why string) {
	version, revision, toolchain, _ := Engine()
	is := engineName(version, revision, toolchain)
	if l.sameEngine() {
		return changedLog, "the log names an engine of the same name (" + is + "); if both are sound, a machine's memory or disk is faulty: run it again, and on another machine"
	}
	return otherEngine, "the log was made by " + l.madeBy() + ", this is " + is + "; or the log was changed"
}

// step names a step by its recipe line.
func (l *Log) step(s stepRecord) string {
	lines := recipeLines(l.Recipe.Text)
	if s.Line < 1 || s.Line > len(lines) {
		return "the step " + s.Operation
	}
	return fmt.Sprintf("the step of line %d (%s), `%s`,", s.Line, s.Operation, lines.words(s.Line))
}

// missing tells of the inputs that weren't found; nil where all were. Where
// another file stands in the place of one, that is the difference.
func (l *Log) missing(list []*sought) error {
	var gone, there []string
	d := &Difference{Why: "put the recorded file back, or say where it lies: --look-in FOLDER finds it by its digest"}
	for i, in := range l.Inputs {
		s, name := list[i], in.Role+" "+in.Path
		switch {
		case s.at != "":
			there = append(there, fmt.Sprintf("the %s is at %s", name, s.at))
		case s.is != nil:
			d.Cause = otherInput
			if in.Role == string(master.RoleProfile) {
				d.Cause = otherProfile
			}
			bytes := fmt.Sprintf("%d bytes as recorded", s.isSize)
			if s.isSize != s.size {
				bytes = fmt.Sprintf("%d bytes, recorded %d", s.isSize, s.size)
			}
			gone = append(gone, fmt.Sprintf("the %s isn't the recorded file: sha256 %s…, recorded %s… (%s)", name, s.is.String()[:16], in.SHA256[:16], bytes))
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

// difference tells a record that the recorded recipe and inputs don't give.
func (l *Log) difference(m *misfit) *Difference {
	d := &Difference{What: fmt.Sprintf("line %d of the log: %s", m.record, m.what), Line: m.line}
	d.Cause, d.Why = l.cause()
	if m.profile && !l.sameEngine() {
		d.Cause, d.Why = otherProfile, "a space that the recipe names has other bytes in this engine; "+d.Why
	}
	return d
}

func briefSum(sum string) string { return sum[:min(16, len(sum))] }

// differentArgs says the first argument that differs.
func differentArgs(was, is map[string]string) string {
	names := slices.Sorted(maps.Keys(was))
	for n := range is {
		if _, ok := was[n]; !ok {
			names = append(names, n)
		}
	}
	slices.Sort(names)
	say := func(m map[string]string, n string) string {
		if v, ok := m[n]; ok {
			return v
		}
		return "nothing"
	}
	for _, n := range names {
		if say(was, n) != say(is, n) {
			return fmt.Sprintf("%s %s, recorded %s", n, say(is, n), say(was, n))
		}
	}
	return "the recorded arguments"
}

// compare holds the new records against the recorded ones. The first that
// differs is told by its step and rows; made is the new print file, not yet
// named, of size bytes.
func compare(ctx context.Context, want *Log, c *chain, made *os.File, size int64) error {
	n := len(want.Lines) - 1 // without the run record
	if len(c.lines) == n && slices.EqualFunc(c.lines, want.Lines[:n], bytes.Equal) {
		return nil
	}
	got := &Log{Lines: c.lines}
	if err := got.fillDetermined(); err != nil {
		return err
	}
	d := &Difference{}
	d.Cause, d.Why = want.cause()
	for i := range min(len(want.Inputs), len(got.Inputs)) {
		a, g := want.Inputs[i], got.Inputs[i]
		if a.SHA256 == g.SHA256 && a.Picture != g.Picture {
			d.What = fmt.Sprintf("the %s %s has the recorded bytes but was decoded to other samples", a.Role, a.Path)
			return d
		}
	}
	for i := range min(len(want.Steps), len(got.Steps)) {
		a, g := want.Steps[i], got.Steps[i]
		if a.Picture == g.Picture {
			continue
		}
		d.Line = a.Line
		d.What = fmt.Sprintf("%s came out different: %s", want.step(a), differentRows(a, g))
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
		d.What = fmt.Sprintf("every picture is identical, but the print file differs (sha256 %s…, recorded %s…): another encoder", briefSum(got.File.SHA256), briefSum(want.File.SHA256))
		if more := atThePrint(ctx, want, made, size); more != "" {
			d.What += "; " + more
		}
	default:
		d.What = "the log would have another number of records"
		for i := range min(n, len(c.lines)) {
			if !bytes.Equal(c.lines[i], want.Lines[i]) {
				d.What = fmt.Sprintf("the print file is identical, but record %d of the log would read differently", i+1)
				break
			}
		}
	}
	return d
}

// differentRows names the rows under the band digests that differ: a log holds
// no finer digests.
func differentRows(a, g stepRecord) string {
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
