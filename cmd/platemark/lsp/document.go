package lsp

import (
	"bytes"
	"context"
	"net/url"
	"path/filepath"
	"runtime"
	"strings"

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
			s.notify("textDocument/publishDiagnostics", publishParams{URI: t.uri, Diagnostics: []diagnostic{}})
			return
		}
		s.publish(t, s.check(d, t, plan))
	}
}

// check reads the text, and with plan set the heads of its files. Between two
// such looks at the files, what they showed is kept for the lines that still
// stand.
func (s *server) check(d *document, t *text, plan bool) (ds []lang.Diagnostic) {
	defer func() {
		if p := recover(); p != nil {
			s.log(1, "the check failed")
		}
	}()
	_, ds = lang.Parse(t.name(), t.src)
	if lang.HasErrors(ds) {
		return ds
	}
	if plan {
		d.planned, d.about = t.planner(), t
	}
	if d.about != nil {
		ds = append(ds, stillThere(d.planned, d.about, t)...)
		lang.Sort(ds)
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
		var m strings.Builder
		m.WriteString(d.Summary)
		if d.Detail != "" {
			m.WriteString("\n" + d.Detail)
		}
		for _, h := range d.Hints {
			m.WriteString("\nhint: " + h)
		}
		out = append(out, diagnostic{Range: t.ofSpan(d.Span), Severity: int(d.Severity) + 1, Code: d.Code, Source: "platemark", Message: m.String()})
	}
	version := t.version
	s.notify("textDocument/publishDiagnostics", publishParams{URI: t.uri, Version: &version, Diagnostics: out})
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
