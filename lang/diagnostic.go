package lang

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"
)

// Severity orders problems: an error stops the run, a warning and a note don't.
type Severity int

const (
	Error Severity = iota
	Warning
	Note
)

func (s Severity) String() string { return [...]string{"error", "warning", "note"}[s] }

// Diagnostic is one problem, as data. Code is stable for good.
type Diagnostic struct {
	Severity Severity
	Code     string
	File     string
	Span     Span
	Summary  string   // what is wrong, in the trade's words, one line
	Detail   string   // what was found and the rule, may be empty
	Hints    []string // how to mend it, one each
	Fix      *Fix     // the mend as an edit, nil where no edit is known
}

// Fix is a mend: Text in the place of a stretch of one line. A safe one can't
// mean anything else; the others are guesses.
type Fix struct {
	Span
	Text string
	Safe bool
}

// words says a mend as a hint.
func (f *Fix) words() string {
	if f.Text == "" {
		return "take it out"
	}
	return "write " + f.Text
}

// fix adds a mend, in words too where no hint says it.
func (d *Diagnostic) fix(at Span, text string, safe bool) {
	d.Fix = &Fix{at, text, safe}
	if len(d.Hints) == 0 {
		d.Hints = []string{clip(d.Fix.words())}
	}
}

// fixNear adds the mend that a hint guesses: a word nearby.
func (d *Diagnostic) fixNear(at Span, near string) {
	if near != "" {
		d.fix(at, near, false)
	}
}

// HasErrors reports whether one of the diagnostics stops the run.
func HasErrors(ds []Diagnostic) bool {
	return slices.ContainsFunc(ds, func(d Diagnostic) bool { return d.Severity == Error })
}

// Sort brings diagnostics into the order of the file; at one place errors come
// first, then the order is that of codes and texts, so that it is total.
func Sort(ds []Diagnostic) {
	slices.SortStableFunc(ds, func(a, b Diagnostic) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Span.Line, b.Span.Line), cmp.Compare(a.Span.Col, b.Span.Col),
			cmp.Compare(a.Severity, b.Severity), cmp.Compare(a.Code, b.Code), cmp.Compare(a.Summary, b.Summary))
	})
}

// jsonDiagnostic is the form that scripts read. Names stay for good.
type jsonDiagnostic struct {
	Severity  string   `json:"severity"`
	Code      string   `json:"code"`
	File      string   `json:"file"`
	Line      int      `json:"line"`
	Column    int      `json:"column"`
	EndLine   int      `json:"end-line"`
	EndColumn int      `json:"end-column"`
	Summary   string   `json:"summary"`
	Detail    string   `json:"detail,omitempty"`
	Hints     []string `json:"hints,omitempty"`
}

// JSON returns the diagnostics as a JSON array, one object each, "[]" for
// none. Lines and columns count from 1, columns in characters; end-column
// is the column after the last one. No character is written as an escape that
// needn't be.
func JSON(ds []Diagnostic) ([]byte, error) {
	out := make([]jsonDiagnostic, len(ds))
	for i, d := range ds {
		out[i] = jsonDiagnostic{
			d.Severity.String(), d.Code, d.File, d.Span.Line, d.Span.Col,
			d.Span.EndLine, d.Span.EndCol, d.Summary, d.Detail, d.Hints,
		}
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	err := e.Encode(out)
	return bytes.TrimRight(b.Bytes(), "\n"), err
}
