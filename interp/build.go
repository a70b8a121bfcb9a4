package interp

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/interp/sign"
	"platemark/ops/raster"
)

// BuildOptions say how to build. Workers and BandRows never change a byte.
type BuildOptions struct {
	Workers  int
	BandRows int
	Out      string
	Force    bool
	// Sign, if set, signs the logs; a reprint signs nothing.
	Sign *sign.Key
	// Keeping, if set, is where pictures are kept for later builds, and found. A
	// reprint computes everything.
	Keeping *Keeping
	// Progress, if set, is called from several goroutines.
	Progress func(stage string, done, due int64)
	// Before, if set, is asked before a print is made, and in an order of one that
	// is there already; with an error the print fails.
	Before func(ctx context.Context, s *Session, j *Job, p *plan.Print) error
}

// before asks whether a print may be made.
func (o BuildOptions) before(ctx context.Context, s *Session, j *Job, p *plan.Print) error {
	if o.Before == nil {
		return nil
	}
	return o.Before(ctx, s, j, p)
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
	// Signature says whether the log is signed, and by whom.
	Signature sign.Verdict
}

// A making is one print in the making.
type making struct {
	*Session
	job   *Job
	plan  *plan.Print
	out   string // the print file's path
	force bool
	key   *sign.Key     // that signs the log, or nil
	later []*plan.Print // still to come, for what is worth keeping
	want  *audit.Log    // of a reprint: what the records are compared with
	began time.Time
}

// Build makes every print that the job planned. It returns what was finished,
// also beside an error.
func Build(ctx context.Context, j *Job, o BuildOptions) ([]Built, error) {
	if j.Failed() {
		return nil, errors.New("the recipe has errors")
	}
	if j.Inputs.Heads {
		return nil, errors.New("internal: the recipe was planned by the heads of its inputs")
	}
	s := newSession(o)
	defer s.Close()
	var out []Built
	for i, p := range j.Plans {
		m := &making{Session: s, job: j, plan: p, out: j.OutPath(p, o.Out), force: o.Force, key: o.Sign, later: j.Plans[i+1:]}
		var built *Built
		err := o.before(ctx, s, j, p)
		if err == nil {
			built, err = m.print(ctx)
		}
		if err != nil {
			return out, fmt.Errorf("print %s: %w", p.Name, err)
		}
		out = append(out, *built)
		s.Release(m.later)
	}
	return out, nil
}

// warnings are what was found in the samples of the inputs of a print.
func warnings(p *plan.Print, list []plan.Result) (out []string) {
	for i, r := range list {
		for _, w := range r.Report {
			if w = p.Nodes[i].Input.Path + ": " + w; !slices.Contains(out, w) {
				out = append(out, w)
			}
		}
	}
	return out
}

// beside says of a reprint that the file goes beside its log, so that no other log
// is written.
func (m *making) beside() bool {
	return m.want != nil && filepath.Dir(disk.Real(m.want.Path)) == filepath.Dir(disk.Real(m.out))
}

// print makes the print. The records of a reprint are compared before the file
// gets its name. Beside its log its steps' are computed only if the rest differs.
func (m *making) print(ctx context.Context) (*Built, error) {
	m.began = time.Now()
	// What comes into being meanwhile isn't replaced either.
	force := m.force && disk.Absent(m.out) != nil
	if force && !m.beside() && !printAt(ctx, m.out) {
		return nil, unknownError(m.out)
	}
	likely, most := m.plan.File.Room(m.plan.Nodes[m.plan.Out].Pic)
	f, err := disk.Create(m.out, likely, most, force)
	if err != nil {
		return nil, err
	}
	built, c, err := m.picture(ctx, f, !m.beside())
	if err == nil && m.beside() && !sameRecords(m.want, c) {
		// The fingerprints of the steps tell which came out different.
		if err = f.Truncate(0); err == nil {
			_, err = f.Seek(0, io.SeekStart)
		}
		if err == nil {
			built, c, err = m.picture(ctx, f, true)
		}
	}
	if err == nil && m.want == nil {
		err = m.olderLogs(built)
	}
	if err != nil {
		f.Abandon()
		m.failed(err)
		return nil, err
	}
	if m.want != nil {
		err = compare(ctx, m.want, c, f.File, built.Size)
	}
	if err == nil {
		built.Wall = time.Since(m.began)
		err = m.log(c, built)
	}
	if err != nil {
		f.Abandon()
		return nil, err
	}
	if err := f.Commit(built.Size); err != nil {
		if (m.want == nil || built.Log != m.want.Path) && !f.Named() {
			os.Remove(built.Log)
			os.Remove(built.Log + sign.Suffix)
		}
		return nil, err
	}
	return built, nil
}

// log writes the log of a print that is there but for its name: a print without
// its log is worth less than a log that `verify` finds without its print.
func (m *making) log(c *audit.Chain, built *Built) error {
	if m.beside() {
		built.Log = m.want.Path
		return nil
	}
	c.Close(m.run(""))
	built.Log = audit.NextLogName(m.out, m.plan.Mark.String())
	if text := c.Bytes(); len(text) > 1<<20 {
		if _, err := audit.ParseLog(built.Log, text); err != nil { // it would be of no use
			return fmt.Errorf("the log of this print can't be written: %w", err)
		}
	}
	if err := disk.Write(built.Log, c.Bytes(), false); err != nil || m.key == nil {
		return err
	}
	if err := m.key.SignFile(built.Log, sign.Log); err != nil {
		os.Remove(built.Log)
		return fmt.Errorf("the log of this print can't be signed: %w", err)
	}
	built.Signature = sign.Verdict{Signed: true, Key: m.key.Fingerprint()}
	return nil
}

// picture computes the print into f and writes the determined records; without
// steps it takes what these say of steps from the log of a reprint.
func (m *making) picture(ctx context.Context, f *disk.File, steps bool) (*Built, *audit.Chain, error) {
	p := m.plan
	defer m.Keeping.drop()
	for _, i := range p.Shared {
		if err := m.Prepare(ctx, p, i); err != nil {
			return nil, nil, err
		}
		m.dropInputs(m.later)
	}
	results := map[raster.Sum]plan.Result{}
	g, of, err := m.graph(ctx, p, p.Out, results)
	if err != nil {
		return nil, nil, err
	}
	for i := range g.Nodes {
		g.Nodes[i].Digest = g.Nodes[i].Digest && steps
	}
	pic := p.Nodes[p.Out].Pic
	w := bufio.NewWriterSize(f, 1<<16)
	var sums [][]uint32
	s, done, err := newFileSink(w, p.File, pic)
	if err == nil {
		sums, err = engine.Run(ctx, g, s, m.engineOptions("print "+p.Name))
	}
	if err == nil {
		err = done()
	}
	if err != nil {
		var large *TooLarge
		if errors.As(err, &large) {
			m.fitting(ctx, p, large)
		}
		return nil, nil, err
	}
	if err := w.Flush(); err != nil {
		return nil, nil, disk.PlainError(err)
	}
	m.record(p, of, sums, results)
	if !steps {
		for key, r := range stepsOf(m.want, p) {
			r.Measured = m.measured[key]
			results[key] = r
		}
	}
	list := make([]plan.Result, len(p.Nodes))
	for i, n := range p.Nodes {
		r, ok := results[n.Key]
		if !ok {
			return nil, nil, fmt.Errorf("internal: the step of line %d has no digest", n.Line)
		}
		list[i] = r
	}
	if err := m.unchanged(p); err != nil {
		return nil, nil, err
	}
	m.Keeping.finish(p, results)
	c := plan.Records(p, m.job.Recipe.Version, m.job.Recipe.Draft, m.job.Source, list, s.n, s.digest())
	return &Built{Print: p.Name, File: m.out, Size: s.n, Sum: s.digest(), Mark: p.Mark, W: pic.W, H: pic.H, Warnings: warnings(p, list)}, c, nil
}

// olderLogs compares with every log of the same mark beside the file: same
// mark, same file. A log of another draft speaks of other pictures.
func (m *making) olderLogs(built *Built) error {
	mark := m.plan.Mark.String()
	for _, l := range audit.Beside(m.out, mark) {
		if l.File.Mark != mark || l.Head.Draft != m.job.Draft() {
			continue
		}
		if l.File.SHA256 != built.Sum.String() {
			return fmt.Errorf("this print has the mark %s, as the log %s, yet its bytes differ (sha256 %s…, then %s…): the same mark must give the same file; don't deliver it, and report this with both logs",
				m.plan.MarkShort(), filepath.Base(l.Path), built.Sum.String()[:16], l.File.SHA256[:16])
		}
		built.Repeat = true
	}
	return nil
}

// failed leaves a log of a build that failed, under another name. A build that
// was stopped on purpose leaves none.
func (m *making) failed(why error) {
	if errors.Is(why, context.Canceled) {
		return
	}
	c := &audit.Chain{}
	head := audit.LogRecord{Record: "log", Prev: c.Prev(), Format: audit.LogFormat, Language: m.job.Recipe.Version, Draft: m.job.Draft()}
	c.Add(head)
	plan.RecordRecipes(c, m.plan, m.job.Source)
	for _, in := range m.plan.Inputs {
		c.Add(audit.InputRecord{Record: "input", Prev: c.Prev(), Role: string(in.Role), Path: in.Path, Size: in.Size, SHA256: in.Sum.String()})
	}
	c.Close(m.run(why.Error()))
	base := m.out + "." + m.plan.MarkShort()
	for i := 1; i < 1000; i++ {
		if disk.Write(fmt.Sprintf("%s.failed-%d.jsonl", base, i), c.Bytes(), false) == nil {
			return
		}
	}
}

// run is the run record's content: paths relative to the log's folder, so that
// no private folder name goes out with a print.
func (m *making) run(failure string) audit.Run {
	folder := filepath.Dir(m.out)
	r := audit.NewRun(m.began, m.Workers)
	r.Out, r.Failure = filepath.Base(m.out), failure
	if m.job.File != "" {
		r.Recipe = relative(folder, m.job.File)
	}
	for _, o := range m.job.Others {
		r.Others = append(r.Others, "")
		if o.File != "" {
			r.Others[len(r.Others)-1] = relative(folder, o.File)
		}
	}
	for key, k := range m.kept {
		if k.taken && m.plan.NodeOf(key) >= 0 {
			r.Taken = append(r.Taken, k.results[key].Sum.String())
		}
	}
	slices.Sort(r.Taken)
	for _, in := range m.plan.Inputs {
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
