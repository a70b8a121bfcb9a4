package audit

import (
	"runtime"
	"runtime/debug"
	"slices"
	"time"
)

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

// ThisEngine names this program as MadeBy names another.
func ThisEngine() string {
	version, revision, toolchain, _ := Engine()
	return engineName(version, revision, toolchain)
}

// NewRun tells of a run that began at a time and ends now.
func NewRun(began time.Time, workers int) Run {
	r := Run{System: runtime.GOOS + "/" + runtime.GOARCH, Began: began.UTC().Format(time.RFC3339), Workers: workers,
		WallMS: time.Since(began).Milliseconds(), Found: map[string]string{}}
	r.Engine, r.Revision, r.Toolchain, r.Modules = Engine()
	cpu, peak := Usage()
	r.CPUMS, r.PeakKB = cpu.Milliseconds(), peak/1024
	return r
}

// MadeBy names the engine that wrote a log, and where.
func (l *Log) MadeBy() string {
	return engineName(l.Run.Engine, l.Run.Revision, l.Run.Toolchain)
}

// engineName names an engine as errors do.
func engineName(version, revision, toolchain string) string {
	s := "platemark " + version
	if revision != "" {
		s += ", revision " + revision[:min(12, len(revision))]
	}
	return s + ", " + toolchain
}

// SameEngine says whether the log names an engine of this one's name.
func (l *Log) SameEngine() bool {
	version, revision, toolchain, modules := Engine()
	r := l.Run
	return r.Engine == version && r.Revision == revision && r.Toolchain == toolchain && slices.Equal(r.Modules, modules)
}
