package interp

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"os"
	"slices"

	"platemark/lang"
	"platemark/ops/raster"
)

// Causes of a difference, as far as the log can tell.
const (
	otherInput   = "another input"
	otherProfile = "another profile"
	otherEngine  = "another engine"
)

// A Difference is a reprint that didn't come to what the log records. Nothing
// stands under the print's name then.
type Difference struct {
	What  string // what differs, from where on, by how much
	Cause string // otherInput, otherProfile or otherEngine
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

// engines compares the log's engine with this one.
func (l *Log) engines() string {
	version, revision, toolchain, _ := Engine()
	was, is := l.madeBy(), engineName(version, revision, toolchain)
	if was == is {
		return "the log names an engine of the same name (" + is + "), so one of the two was changed, or a machine's memory or disk is faulty; run it again, and on another machine"
	}
	return "the log was made by " + was + ", this is " + is
}

// step names a step by its recipe line.
func (l *Log) step(s stepRecord) string {
	lines := recipeLines(l.Recipe.Text)
	if s.Line < 1 || s.Line > len(lines) {
		return "the step " + s.Operation
	}
	return fmt.Sprintf("the step of line %d (%s), `%s`,", s.Line, s.Operation, lines.words(s.Line))
}

// replaced tells of an input whose place holds another file now.
func replaced(ctx context.Context, places []string, in inputRecord) *Difference {
	for _, f := range places {
		sum, size, err := HashPath(ctx, f)
		if err != nil || sum.String() == in.SHA256 {
			continue
		}
		d := &Difference{Cause: otherInput, Why: "put the recorded file back, or say where it lies: --look-in FOLDER finds it by its digest"}
		if in.Role == string(RoleProfile) {
			d.Cause = otherProfile
		}
		bytes := fmt.Sprintf("%d bytes as recorded", size)
		if size != in.Size {
			bytes = fmt.Sprintf("%d bytes, recorded %d", size, in.Size)
		}
		d.What = fmt.Sprintf("the %s %s isn't the recorded file: sha256 %s…, recorded %s… (%s)", in.Role, in.Path, sum.String()[:16], in.SHA256[:16], bytes)
		return d
	}
	return nil
}

// anotherPlan tells why the recorded recipe and inputs came to another mark.
func anotherPlan(l *Log, p *Plan) *Difference {
	d := &Difference{Cause: otherEngine, Why: l.engines()}
	var now []stepRecord
	seen := map[raster.Sum]bool{}
	for _, n := range p.Nodes {
		if n.Input == nil && !seen[n.key] {
			seen[n.key] = true
			now = append(now, stepRecord{Line: n.Line, Operation: n.Op, Version: n.Ver, Args: argMap(n.Args), Width: n.Pic.W, Height: n.Pic.H, Profile: profileName(n)})
		}
	}
	for i := range min(len(l.Steps), len(now)) {
		a, g := l.Steps[i], now[i]
		if a.Operation == g.Operation && a.Version == g.Version && maps.Equal(a.Args, g.Args) && a.Profile == g.Profile && a.Width == g.Width && a.Height == g.Height {
			continue
		}
		d.Line = a.Line
		switch {
		case a.Operation != g.Operation || a.Version != g.Version:
			d.What = fmt.Sprintf("%s is %s version %d now, recorded %s version %d", l.step(a), g.Operation, g.Version, a.Operation, a.Version)
		case a.Args["profile"] != g.Args["profile"] || a.Profile != g.Profile:
			d.Cause = otherProfile
			d.Why = "a space that the recipe names has other bytes in this engine; " + d.Why
			d.What = fmt.Sprintf("%s has another profile: sha256 %s…, recorded %s…", l.step(a), briefSum(g.Profile), briefSum(a.Profile))
		case !maps.Equal(a.Args, g.Args):
			d.What = fmt.Sprintf("%s is planned with %s", l.step(a), differentArgs(a.Args, g.Args))
		default:
			d.What = fmt.Sprintf("%s makes %d x %d px now, recorded %d x %d px", l.step(a), g.Width, g.Height, a.Width, a.Height)
		}
		return d
	}
	switch {
	case len(l.Steps) != len(now):
		d.What = fmt.Sprintf("the recorded recipe has %s now, the log %d", lang.Count(len(now), "step"), len(l.Steps))
	case l.File.Encoder != encoderVersion:
		d.What = fmt.Sprintf("the file would be written by encoder version %d, the log has version %d", encoderVersion, l.File.Encoder)
	case !maps.Equal(l.File.Args, argMap(p.File.Args())):
		d.What = "the file would be written with " + differentArgs(l.File.Args, argMap(p.File.Args()))
	default:
		d.What = fmt.Sprintf("the recorded recipe and inputs give the mark %s, the log says %s", p.MarkShort(), l.File.Mark[:min(12, len(l.File.Mark))])
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
	d := &Difference{Cause: otherEngine, Why: want.engines()}
	for i := range min(len(want.Inputs), len(got.Inputs)) {
		a, g := want.Inputs[i], got.Inputs[i]
		if a.SHA256 == g.SHA256 && a.Picture != g.Picture {
			d.What = fmt.Sprintf("the %s %s has the recorded bytes but was decoded to other samples", a.Role, a.Path)
			return d
		}
	}
	for i := range min(len(want.Steps), len(got.Steps)) {
		a, g := want.Steps[i], got.Steps[i]
		if a.Operation != g.Operation || a.Version != g.Version {
			d.What, d.Line = fmt.Sprintf("%s is %s version %d now, recorded %s version %d", want.step(a), g.Operation, g.Version, a.Operation, a.Version), a.Line
			return d
		}
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
	case len(want.Steps) != len(got.Steps):
		d.What = fmt.Sprintf("the plan has %s now, the log %d", lang.Count(len(got.Steps), "step"), len(want.Steps))
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
