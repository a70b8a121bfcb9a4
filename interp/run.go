package interp

import (
	"crypto/sha256"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"sync/atomic"
	"time"

	"platemark/interp/disk"
	"platemark/ops/raster"
	"platemark/testdata/frozen"
)

// now is the clock of run records, which no determined result reads.
var now = time.Now

// counter adds rows from several goroutines and reports the sum.
type counter struct {
	n    atomic.Int64
	tell func(int64)
}

func newCounter(tell func(int64)) *counter { return &counter{tell: tell} }

func (c *counter) add(rows int) { c.tell(c.n.Add(int64(rows))) }

func sumOf(b []byte) string { return raster.Sum(sha256.Sum256(b)).String() }

func draftDigest(j *Job) string {
	if j.Recipe.Draft {
		return frozen.Digest()
	}
	return ""
}

// Engine describes this program: module version, source revision, toolchain
// and the sums of every module in it.
func Engine() (version, revision, toolchain string, modules []string) {
	version, toolchain = "unknown", runtime.Version()
	bi, ok := debug.ReadBuildInfo()
	if !ok {
		return
	}
	version = bi.Main.Version
	for _, s := range bi.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = s.Value + revision
		case "vcs.modified":
			if s.Value == "true" {
				revision += "+changed"
			}
		}
	}
	for _, m := range bi.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		modules = append(modules, m.Path+" "+m.Version+" "+m.Sum)
	}
	return
}

// run is the run record's content: paths relative to the log's folder, so that
// no private folder name goes out with a print.
func (b *builder) run(p *Plan, folder, out, failure string) Run {
	r := Run{System: runtime.GOOS + "/" + runtime.GOARCH, Began: b.began.UTC().Format(time.RFC3339), Workers: b.o.Workers,
		WallMS: now().Sub(b.began).Milliseconds(), Found: map[string]string{}, Failure: failure, Out: out}
	r.Engine, r.Revision, r.Toolchain, r.Modules = Engine()
	cpu, peak := usage()
	r.CPUMS, r.PeakKB = cpu.Milliseconds(), peak/1024
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
