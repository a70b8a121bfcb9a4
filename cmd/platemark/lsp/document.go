package lsp

import (
	"bytes"
	"context"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"platemark/interp"
	"platemark/lang"
)

// document is an open recipe. Its texts are checked one after the other, and
// only the newest one that is due.
type document struct {
	text *text
	// due wakes the checker; plan says that the files are due too.
	due  chan struct{}
	plan bool
	gone bool
	// planned are the planner's problems with the text that they are about.
	planned []lang.Diagnostic
	about   *text
	// files are the states of the text's files then, by path. The checker
	// writes it, locked.
	files map[string]fileState
}

// fileState is what tells one state of a file from another; zero where there is
// none.
type fileState struct {
	size int64
	time time.Time
}

func stateOf(path string) fileState {
	if st, err := os.Stat(path); err == nil {
		return fileState{st.Size(), st.ModTime()}
	}
	return fileState{}
}

// states looks at the files that a recipe names.
func (t *text) states(rec *lang.Recipe) map[string]fileState {
	out := map[string]fileState{}
	if file := t.path(); file != "" {
		for _, f := range rec.Files() {
			p := filepath.Join(filepath.Dir(file), filepath.FromSlash(f.Value))
			out[p] = stateOf(p)
		}
	}
	return out
}

func (s *server) text(uri string) *text {
	s.mu.Lock()
	defer s.mu.Unlock()
	if d := s.docs[uri]; d != nil {
		return d.text
	}
	return nil
}

func (s *server) open(t *text) {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := s.docs[t.uri]
	if d == nil {
		d = &document{due: make(chan struct{}, 1)}
		s.docs[t.uri] = d
		s.checks.Add(1)
		go s.checker(d)
	}
	d.text = t
	d.wake(true)
}

func (s *server) change(p changeParams) {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := s.docs[p.Doc.URI]
	if d == nil {
		return
	}
	t := d.text
	for _, c := range p.Changes {
		t = newText(t.uri, p.Doc.Version, t.apply(c))
	}
	d.text = t
	d.wake(false)
}

func (s *server) saved(p saveParams) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if d := s.docs[p.Doc.URI]; d != nil {
		if p.Text != nil {
			d.text = newText(d.text.uri, d.text.version, []byte(*p.Text))
		}
		d.wake(true)
	}
}

func (s *server) close(uri string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if d := s.docs[uri]; d != nil {
		delete(s.docs, uri)
		d.gone = true
		d.wake(false)
	}
}

// lookAgain wakes the checker where a file of the text came, changed or went
// since it was last looked at.
func (s *server) lookAgain(t *text) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if d := s.docs[t.uri]; d != nil {
		for path, was := range d.files {
			if stateOf(path) != was {
				d.wake(false)
				return
			}
		}
	}
}

func (d *document) wake(plan bool) {
	d.plan = d.plan || plan
	select {
	case d.due <- struct{}{}:
	default:
	}
}

// checker checks a document until it is closed. The editor is told about the
// newest text only.
func (s *server) checker(d *document) {
	defer s.checks.Done()
	for {
		select {
		case <-d.due:
		case <-s.ended:
			return
		case <-s.conn.Done():
			return
		}
		s.mu.Lock()
		t, plan, gone := d.text, d.plan, d.gone
		d.plan = false
		s.mu.Unlock()
		if gone {
			s.tell(t.uri, nil, func() {
				s.notify("textDocument/publishDiagnostics", publishParams{URI: t.uri, Diagnostics: []diagnostic{}})
			})
			return
		}
		ds := s.check(d, t, plan)
		s.tell(t.uri, d, func() { s.publish(t, ds) })
	}
}

// tell says something of a document while d is what is open under its address,
// nil where nothing is: of one that was closed and opened again, the last word
// is the new one's.
func (s *server) tell(uri string, d *document, say func()) {
	s.told.Lock()
	defer s.told.Unlock()
	s.mu.Lock()
	now := s.docs[uri]
	s.mu.Unlock()
	if now == d {
		say()
	}
}

// check reads the text, and with plan set, or where one of its files came,
// changed or went, the heads of its files. Between two such looks at the files,
// what they showed is kept for the lines that still stand.
func (s *server) check(d *document, t *text, plan bool) (ds []lang.Diagnostic) {
	defer func() {
		if p := recover(); p != nil {
			s.log(1, "the check failed")
		}
	}()
	rec, ds := lang.Parse(t.name(), t.src)
	if lang.HasErrors(ds) {
		return ds
	}
	if files := t.states(rec); plan || !maps.Equal(files, d.files) {
		s.mu.Lock()
		d.files = files
		s.mu.Unlock()
		d.planned, d.about = t.planner(), t
	}
	if d.about != nil {
		ds = lang.Tidy(append(ds, stillThere(d.planned, d.about, t)...))
	}
	return ds
}

// planner returns what only the planner can say: missing files, shapes,
// resolution.
func (t *text) planner() []lang.Diagnostic {
	file := t.path()
	if file == "" {
		return nil
	}
	j, err := interp.Glance(context.Background(), file, t.src)
	if err != nil {
		return nil
	}
	defer j.Close()
	var out []lang.Diagnostic
	for _, d := range j.Diags {
		if strings.HasPrefix(d.Code, "PM5") {
			d.File = t.name()
			out = append(out, d)
		}
	}
	return out
}

// stillThere keeps the problems whose lines stand unchanged at their place,
// counted from the first line or, where lines came or went before them, from
// the last.
func stillThere(ds []lang.Diagnostic, about, now *text) []lang.Diagnostic {
	if about == now || bytes.Equal(about.src, now.src) {
		return ds
	}
	by := len(now.rows) - len(about.rows)
	var out []lang.Diagnostic
	for _, d := range ds {
		for _, shift := range []int{0, by} {
			same := d.Span.Line+shift >= 1 && d.Span.EndLine+shift <= len(now.rows)
			for n := d.Span.Line; same && n <= d.Span.EndLine; n++ {
				same = about.row(n) == now.row(n+shift)
			}
			if same {
				d.Span.Line += shift
				d.Span.EndLine += shift
				out = append(out, d)
				break
			}
		}
	}
	return out
}

func (s *server) publish(t *text, ds []lang.Diagnostic) {
	out := make([]diagnostic, 0, len(ds))
	for _, d := range ds {
		out = append(out, t.diagnostic(d))
	}
	version := t.version
	s.notify("textDocument/publishDiagnostics", publishParams{URI: t.uri, Version: &version, Diagnostics: out})
}

// diagnostic is a problem as editors show it.
func (t *text) diagnostic(d lang.Diagnostic) diagnostic {
	m := d.Summary
	if d.Detail != "" {
		m += "\n" + d.Detail
	}
	for _, h := range d.Hints {
		m += "\nhint: " + h
	}
	return diagnostic{Range: t.ofSpan(d.Span), Severity: int(d.Severity) + 1, Code: d.Code, Source: "platemark", Message: m}
}

// path is where the document lies, "" where it lies in no folder.
func (t *text) path() string { return pathOf(t.uri, runtime.GOOS == "windows") }

// pathOf is the path of a file: address.
func pathOf(uri string, windows bool) string {
	u, err := url.Parse(uri)
	if err != nil || u.Scheme != "file" || u.Path == "" {
		return ""
	}
	p := u.Path
	if strings.ContainsRune(p, 0) {
		return ""
	}
	if windows {
		if len(p) > 2 && p[0] == '/' && p[2] == ':' { // /C:/prints
			p = p[1:]
		}
		if u.Host != "" {
			p = "//" + u.Host + p
		}
		return strings.ReplaceAll(p, "/", `\`)
	}
	if u.Host != "" && u.Host != "localhost" {
		return ""
	}
	return p
}

// name is what diagnostics call the document.
func (t *text) name() string {
	if p := t.path(); p != "" {
		return filepath.Base(p)
	}
	return "recipe"
}
