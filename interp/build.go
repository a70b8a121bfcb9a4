package interp

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/ops/raster"
)

// BuildOptions say how to build. Workers and BandRows never change a byte.
type BuildOptions struct {
	Workers  int
	BandRows int
	Out      string
	Force    bool
	// Progress, if set, is called from several goroutines.
	Progress func(stage string, done, due int64)
}

// Built is one finished print.
type Built struct {
	Print  string
	File   string // path
	Log    string
	Size   int64
	Sum    raster.Sum
	Mark   raster.Sum
	W, H   int
	Wall   time.Duration
	Repeat bool // the same file as an older log records
	// Warnings are what was found in the samples of the inputs.
	Warnings []string
	// Elsewhere says of a reprint where inputs lay that weren't in their places.
	Elsewhere []string
}

// A builder makes the prints of a job; what prints share is made once.
type builder struct {
	*Session
	job   *Job
	o     BuildOptions
	began time.Time
	// later are the plans still to come, for what is worth keeping.
	later []*plan.Print
}

func newBuilder(j *Job, o BuildOptions) *builder {
	b := &builder{Session: NewSession(o.Workers, o.Progress), job: j, o: o}
	b.BandRows = o.BandRows
	return b
}

// Build makes every print that the job planned. It returns what was finished,
// also beside an error.
func Build(ctx context.Context, j *Job, o BuildOptions) ([]Built, error) {
	if j.Failed() {
		return nil, errors.New("the recipe has errors")
	}
	b := newBuilder(j, o)
	defer b.Close()
	var out []Built
	for i, p := range j.Plans {
		b.later = j.Plans[i+1:]
		built, err := b.print(ctx, p, j.OutPath(p, o.Out), nil)
		if err != nil {
			return out, fmt.Errorf("print %s: %w", p.Name, err)
		}
		out = append(out, *built)
		b.release(b.later)
	}
	return out, nil
}

// warnings are what was found in the samples of the inputs of one print.
func (b *builder) warnings(p *plan.Print) (out []string) {
	for _, n := range p.Nodes {
		if n.Input == nil || b.inputs[plan.FileOf(n.Input)] == nil {
			continue
		}
		for _, w := range b.inputs[plan.FileOf(n.Input)].report {
			if w = n.Input.Path + ": " + w; !slices.Contains(out, w) {
				out = append(out, w)
			}
		}
	}
	return out
}

// print makes one print. With want set (a reprint) the records are compared
// with that log's before the file gets its name.
func (b *builder) print(ctx context.Context, p *plan.Print, out string, want *audit.Log) (*Built, error) {
	b.began = time.Now()
	likely, most := p.File.Room(p.Nodes[p.Out].Pic)
	f, err := disk.Create(out, likely, most, b.o.Force)
	if err != nil {
		return nil, err
	}
	built, c, err := b.picture(ctx, p, f)
	if err == nil && want == nil {
		err = b.olderLogs(p, out, built)
	}
	if err != nil {
		f.Abandon()
		b.failed(p, out, err)
		return nil, err
	}
	if want != nil {
		err = compare(ctx, want, c, f.File, built.Size)
	}
	if err == nil {
		built.Print, built.File = p.Name, out
		built.Warnings = b.warnings(p)
		built.Wall = time.Since(b.began)
		err = b.log(p, c, built, want)
	}
	if err != nil {
		f.Abandon()
		return nil, err
	}
	if err := f.Commit(built.Size); err != nil {
		if (want == nil || built.Log != want.Path) && !f.Named() {
			os.Remove(built.Log)
		}
		return nil, err
	}
	return built, nil
}

// log writes the log of a print that is there but for its name: a print without
// its log is worth less than a log that `verify` finds without its print.
func (b *builder) log(p *plan.Print, c *audit.Chain, built *Built, want *audit.Log) error {
	c.Close(b.run(p, filepath.Dir(built.File), filepath.Base(built.File), ""))
	built.Log = audit.NextLogName(built.File, p.Mark.String())
	if text := c.Bytes(); len(text) > 1<<20 {
		if _, err := audit.ParseLog(built.Log, text); err != nil { // it would be of no use
			return fmt.Errorf("the log of this print can't be written: %w", err)
		}
	}
	if want != nil && filepath.Dir(disk.Real(want.Path)) == filepath.Dir(disk.Real(built.File)) {
		built.Log = want.Path // it lies beside the file already
		return nil
	}
	return disk.Write(built.Log, c.Bytes(), false)
}

// picture computes the print into f and writes the determined records.
func (b *builder) picture(ctx context.Context, p *plan.Print, f *disk.File) (*Built, *audit.Chain, error) {
	if p.Shared {
		if err := b.Prepare(ctx, p); err != nil {
			return nil, nil, err
		}
		b.dropInputs(b.later)
	}
	results := map[raster.Sum]plan.Result{}
	g, of, err := b.graph(ctx, p, p.Out, results)
	if err != nil {
		return nil, nil, err
	}
	pic := p.Nodes[p.Out].Pic
	w := bufio.NewWriterSize(f, 1<<16)
	var sums [][]uint32
	s, done, err := newFileSink(w, p.File, pic)
	if err == nil {
		sums, err = engine.Run(ctx, g, s, b.engineOptions("print "+p.Name))
	}
	if err == nil {
		err = done()
	}
	if err != nil {
		var large *TooLarge
		if errors.As(err, &large) {
			b.fitting(ctx, p, large)
		}
		return nil, nil, err
	}
	if err := w.Flush(); err != nil {
		return nil, nil, disk.PlainError(err)
	}
	b.record(p, of, sums, results)
	list := make([]plan.Result, len(p.Nodes))
	for i, n := range p.Nodes {
		r, ok := results[n.Key]
		if !ok {
			return nil, nil, fmt.Errorf("internal: the step of line %d has no digest", n.Line)
		}
		list[i] = r
	}
	for _, in := range p.Inputs {
		if err := in.Unchanged(); err != nil {
			return nil, nil, err
		}
	}
	c := plan.Records(p, b.job.Recipe.Version, b.job.Recipe.Draft, b.job.Source, list, s.n, s.digest())
	return &Built{Size: s.n, Sum: s.digest(), Mark: p.Mark, W: pic.W, H: pic.H}, c, nil
}

// olderLogs compares with every log of the same mark beside the file: same
// mark, same file. A log of another draft speaks of other pictures.
func (b *builder) olderLogs(p *plan.Print, out string, built *Built) error {
	for _, l := range audit.Beside(out, p.Mark.String()) {
		if l.File.Mark != p.Mark.String() || l.Head.Draft != b.job.Draft() {
			continue
		}
		if l.File.SHA256 != built.Sum.String() {
			return fmt.Errorf("this print has the mark %s, as the log %s, yet its bytes differ (sha256 %s…, then %s…): the same mark must give the same file; don't deliver it, and report this with both logs",
				p.MarkShort(), filepath.Base(l.Path), built.Sum.String()[:16], l.File.SHA256[:16])
		}
		built.Repeat = true
	}
	return nil
}

// failed leaves a log of a build that failed, under another name. A build that
// was stopped on purpose leaves none.
func (b *builder) failed(p *plan.Print, out string, why error) {
	if errors.Is(why, context.Canceled) {
		return
	}
	c := &audit.Chain{}
	head := audit.LogRecord{Record: "log", Prev: c.Prev(), Format: audit.LogFormat, Language: b.job.Recipe.Version, Draft: b.job.Draft()}
	c.Add(head)
	c.Add(audit.RecipeRecord{Record: "recipe", Prev: c.Prev(), Print: p.Name, SHA256: audit.SumOf(b.job.Source), Text: string(b.job.Source)})
	for _, in := range p.Inputs {
		c.Add(audit.InputRecord{Record: "input", Prev: c.Prev(), Role: string(in.Role), Path: in.Path, Size: in.Size, SHA256: in.Sum.String()})
	}
	c.Close(b.run(p, filepath.Dir(out), filepath.Base(out), why.Error()))
	base := out + "." + p.MarkShort()
	for i := 1; i < 1000; i++ {
		if disk.Write(fmt.Sprintf("%s.failed-%d.jsonl", base, i), c.Bytes(), false) == nil {
			return
		}
	}
}

// run is the run record's content: paths relative to the log's folder, so that
// no private folder name goes out with a print.
func (b *builder) run(p *plan.Print, folder, out, failure string) audit.Run {
	r := audit.NewRun(b.began, b.Workers)
	r.Out, r.Failure = out, failure
	if b.job.File != "" {
		r.Recipe = relative(folder, b.job.File)
	}
	for _, in := range p.Inputs {
		r.Found[in.Path] = relative(folder, in.Found)
	}
	return r
}

// relative is path as seen from folder, with forward slashes; the whole path
// where it lies on another drive.
func relative(folder, path string) string {
	folder, path = disk.Real(folder), disk.Real(path)
	if r, err := filepath.Rel(folder, path); err == nil {
		path = r
	}
	return filepath.ToSlash(path)
}
